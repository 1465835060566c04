"""Figures of the bass: curves with causes, decay, and modes."""
