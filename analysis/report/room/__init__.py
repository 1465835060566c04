"""What a room foretells, in words."""
