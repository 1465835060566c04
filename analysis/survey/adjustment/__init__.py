"""Least squares of a network of points: start, adjustment, and which observation is a blunder.

The adjustment is our own: scipy's general solvers, given the same derivatives, find the same
places to 0.01 µm, take several times as long, and don't say which directions the observations
leave open. `python -m benchmarks.survey` prints how far apart they end and how long they take.
"""
