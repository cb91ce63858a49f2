"""Routes, restraint settings and base positions."""
