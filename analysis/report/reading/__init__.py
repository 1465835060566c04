"""A reading in words: the verdict first, then everything behind it."""
