"""What changed, in words."""
