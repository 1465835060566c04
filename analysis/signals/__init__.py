"""What was played and what a room answers: sweeps, impulse responses, bands, levels.

Conventions: time or frequency on the last axis; an impulse response carries its noise and the
time of its first sample; frequencies in Hz, levels in dB.
"""
