"""What a room of given shape does by itself: its modes, and what its walls reflect.

Conventions: metres from the front left corner of the floor, x to the right along the front wall,
y into the room, z up; walls are rigid where modes are computed, and lossy in a response.
"""
