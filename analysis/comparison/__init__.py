"""What changed between two readings, or between two groups of them.

Conventions: change = after − before.
"""
