"""The bass at the seat, 15 to 300 Hz: its curve, peaks and dips, how they ring, and their causes.

The order: `curve`, its `features`, how they ring (`decay`, by `damped_modes`), what is left over
several microphone `positions`, their `causes`, the `balance`; `bass` joins them. Conventions:
levels in dB against the reference band of the same reading.
"""
