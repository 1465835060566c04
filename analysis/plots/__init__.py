"""Figures: one module a subject, one function a figure, each returning a matplotlib Figure.

Conventions: nothing here computes a result or opens a file; `style` holds sizes, greys,
line styles and the options that make a saved figure the same byte for byte. Left and right
differ by lightness and line style, so that a grey print and any eye can tell them.
matplotlib is imported nowhere else in the project.
"""
