"""What everybody does and says, step by step: one set of facts for procedures, cards, script and pictures."""
