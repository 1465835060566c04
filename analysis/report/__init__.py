"""Wording: what a person reads of a result, as strings and simple structures.

Conventions: plain English, millimetres and dB at this edge only; lines that are laid out
have at most 78 columns, 80 less an indent; ``±`` is one standard deviation. Nothing here
prints or computes.
"""
