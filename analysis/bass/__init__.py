"""The bass at the seat, 15 to 300 Hz: its curve, peaks and dips, how they ring, and their causes.

Conventions: levels in dB against the reference band of the same reading.
"""
