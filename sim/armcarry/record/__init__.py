"""The run: what was computed from which inputs, kept so that it reloads bit for bit."""
