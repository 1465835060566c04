"""A survey in words: verdict, moves, tables, and the way back."""
