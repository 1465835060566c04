"""The survey as files: what is typed, what is printed, what goes into a room file."""
