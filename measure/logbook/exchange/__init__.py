"""What leaves a logbook and comes into it: archives, exports, recordings made elsewhere."""
