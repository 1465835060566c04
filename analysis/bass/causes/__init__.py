"""What is behind a peak or dip of the bass: which room mode, or which wall."""
