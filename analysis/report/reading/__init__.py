"""A reading in words: the verdict first, then everything behind it.

`verdict` orders its parts (`verdict_part`); `checks` words what failed or warns, which comes before
all else.
"""
