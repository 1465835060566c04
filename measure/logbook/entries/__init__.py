"""Entries of the logbook: rooms, pairs, places, surveys, moves and measurement plans."""
