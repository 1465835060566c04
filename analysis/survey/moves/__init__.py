"""Where a pair should stand and how it gets there: targets, moves, the way back."""
