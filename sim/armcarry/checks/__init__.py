"""The checks: each a pure function from a Record to Findings, one file a check."""
