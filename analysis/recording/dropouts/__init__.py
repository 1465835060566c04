"""Blocks of samples that were lost, repeated or zeroed: found, and repaired by another pass."""
