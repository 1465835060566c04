"""From one recording to the mean response of each loudspeaker, and whether it can be trusted.

The order: `passes` finds the sweeps, `extraction` cuts them out, `alignment` repairs their time
line by `dropouts`, `disturbance` and `clock`, `responses` takes the mean, and `checks` say what
can be trusted. Conventions: left is row 0; times count from the recording's first sample unless
a name says otherwise.
"""
