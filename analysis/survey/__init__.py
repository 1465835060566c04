"""The triangle from tape and laser: where everything stands, how surely, and what to move.

It knows no sound. The order: a `survey` of observations (their usual sigmas stand there; one typed
with its own has it from `measure.survey.file`), `solution` by `adjustment`, then `triangle`,
`walls`, `moves`, all of it in `result`. Conventions: metres and radians inside, one standard
deviation in every name with ``std``. Where a person meets an observation, in files and texts,
it is called a reading.
"""
