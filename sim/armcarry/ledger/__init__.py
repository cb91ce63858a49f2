"""The ledger: who and what is where, in whose hands, hooked to what, at every instant; and what must be true of it."""
