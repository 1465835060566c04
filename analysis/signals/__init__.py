"""What was played and what a room answers: sweeps, impulse responses, bands, levels.

A `programme` of `sweep`s is played; `deconvolution` gives an `impulse_response`; `onset` its first
arrival, `delay` how much later one is than another, `harmonics` its distortion. Conventions:
time or frequency on the last axis; an impulse response carries its noise and the time of its
first sample; frequencies in Hz, levels in dB.
"""
