"""Can the reading be trusted? One module a kind of check; `check` says what a check is.

`clipping`, `hum` and `automatic_gain` (and `noise`, in `analysis.recording.signal_to_noise`)
have their name's check; `passes` those of played, heard, disturbed and timed passes;
`recording` those of level, rate, distortion and the room file; `channels` which channel was
taken; `loop_back` whether a room is heard (`same_sound` is `analysis.pair.sameness`'s).
A new check is a function that returns a `check.Check`; its name goes into `check.NAMES`, its call
into `analysis.reading` (which says beside each number what failed check withholds it), its words
into docs/checks.md; one that only the person can answer is named in
`analysis.report.reading.checks`.
"""
