"""Playing and recording at once: the one seam to devices, real or simulated."""
