"""The triangle from tape and laser: where everything stands, how surely, and what to move.

It knows no sound. The order: a `survey` of observations, `solution` by `adjustment`, then
`triangle`, `walls`, `moves`, all of it in `result`. Conventions: metres and radians inside, one
standard deviation in every name with ``std``. Where a person meets an observation, in files and
texts, it is called a reading.
"""
