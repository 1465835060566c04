"""The survey as files: what is typed, what is printed, what goes into a room file.

`file` reads one, by its `tables`, `observation_lines` and `lengths`; `evaluation` gives its result;
`document`, `card`, `room` write; `places` stands the pair in a room file's room.
"""
