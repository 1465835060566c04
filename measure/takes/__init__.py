"""From the first quiet noise to a folder that keeps the take."""
