"""A reading as JSON, written and read back."""
