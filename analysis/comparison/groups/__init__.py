"""Two groups of repeated readings: which changes are larger than the repeats' own scatter."""
