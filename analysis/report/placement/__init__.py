"""Where to stand, in words."""
