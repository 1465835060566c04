"""What differs between left and right at the seat: arrival, level, polarity.

`gated_pair` is what arrival (`arrival`, by `excess_phase`) is taken from, `direct_gate` how
long the direct sound stays alone for its `level`; `wired_reference` gives absolute distances;
`sameness` asks whether they are two sounds at all.
Conventions: difference = left − right, positive where left is later, farther or louder.
"""
