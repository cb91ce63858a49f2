"""The documents armcarry reads: one file a format, each a frozen pydantic model with its JSON Schema."""
