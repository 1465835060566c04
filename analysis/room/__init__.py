"""What a room of given shape does by itself: its modes, and what its walls reflect.

A `room` stands on a `floor_plan`; its `modes` are those of a `section` times cosines (`plan_modes`,
in closed form for a rectangle, else on a `mesh`), or solved in space under a slope
(`sloped_modes`). `prediction` is what is expected at a seat. Conventions: metres from the front
left corner of the floor, x to the right along the front wall, y into the room, z up; walls are
rigid where modes are computed, and lossy in a response.
"""
