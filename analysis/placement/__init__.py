"""Where to stand the pair and the seat for even bass, and which places to measure to know it.

The order: `places` that are free, `response` at each, a `fit` to what was measured, rooms as they
may be by `monte_carlo`, the terms of an `objective` (evenness alone for the evenest, its cost
for the balanced), the `choice`. `band_levels` says what a place is judged by.
"""
