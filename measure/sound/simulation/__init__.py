"""An invented room with a pair, a microphone and a person, as one more sound path.

``room``, ``run``
    the sound path and one stretch of playing and recording on it
``acoustics``, ``noise``, ``faults``, ``person``
    what is heard there, what disturbs, what goes wrong, who pushes a loudspeaker
``block_convolver``, ``fractional_delay``
    its arithmetic
"""
