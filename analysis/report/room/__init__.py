"""What a room predicts, in words."""
