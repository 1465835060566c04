"""Wording: what a person reads of a result, as strings and simple structures.

Conventions: plain English, millimetres and dB at this edge only, at most 80 columns where
lines are laid out; ``±`` is one standard deviation. Nothing here prints or computes.
"""
