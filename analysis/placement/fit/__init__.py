"""Which room explains the readings that were made in it."""
