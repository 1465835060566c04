"""What all else counts with: arrays, decibels, air, and the statistics of repeats.

It knows no sound, no room and no tape. Read-only arrays and their types are in `arrays`.
"""
