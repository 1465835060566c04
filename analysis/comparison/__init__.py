"""What changed between two readings, or between two groups of them.

`compare` is two readings: the knob (`common_gain`), what moved (`moved`), each peak and dip
(`feature_changes`), what a move promised (`move_promise`). `groups` are repeats on both sides,
`history` one pair's takes. Conventions: change = after − before.
"""
