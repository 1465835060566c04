"""How much is left to move, several times a second, from a short pattern that repeats.

The order: `search` finds the `pattern` in what was recorded, `sweep` reads one sweep of it,
`repeat` what changed between two of one side, `answer` left minus right (and `level`) from the
last three; `track` looks over the answers and says what to do and when it is done. `listening`
drives them.
"""
