"""What differs between left and right at the seat: arrival, level, polarity.

Conventions: difference = left − right, positive where left is later, farther or louder.
"""
