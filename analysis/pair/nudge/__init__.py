"""How much is left to move, several times a second, from a short pattern that repeats."""
