"""Text to frozen values, or an error with file, line, what was found and what is accepted."""
