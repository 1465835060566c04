"""Pure functions from arrays to frozen records: no files, no devices, no printing.

The packages, in the order in which a recording passes through them; each says its question:

``basics``
    what all else counts with: decibels, air, uncertainty
``signals``, ``recording``
    what was played, and from the recording to one impulse response a loudspeaker
``pair``
    how the two loudspeakers match at the seat
``room``, ``bass``
    the room's modes and boundaries, and the bass curve that they explain
``reading``
    all that one recording says
``placement``, ``survey``, ``comparison``
    where a pair would stand best, where it stands, and what changed between readings
``plots``, ``report``
    drawing and wording; nothing that computes imports them

Conventions: SI units with the unit in the name; time or frequency on the last
axis; a difference is left minus right, positive where left is later, farther or
louder.
"""
