"""Which passes of a programme are worth playing again.

Conventions: passes are counted from 0, in the order in which they were played.
"""

from __future__ import annotations

from typing import Final

from analysis.basics.arrays import Float
from analysis.recording.alignment import align
from analysis.recording.extraction import NoPassError
from analysis.signals.programme import Programme

WORTH_S: Final = 0.15
"""A shorter stretch of foreign sound leaves its third octave to the side's other pass, and
costs nothing that a reading would show."""


def spoilt_passes(recorded: Float, programme: Programme) -> tuple[int, ...]:
    """Return the passes that a noise or a gap has spoilt.

    Parameters
    ----------
    recorded : ndarray, shape (n,)
        The microphone from the run's start, at the programme's sampling frequency; what
        is still to come may be missing.
    programme : Programme
        What was played so far.

    Returns
    -------
    tuple of int
        Empty where all passes are clean, and where all are spoilt or a loudspeaker isn't
        heard at all: then it isn't a passing noise, and playing again would not help.
    """
    try:
        aligned = align(recorded, programme)
    except NoPassError:
        return ()
    heard = {used.side for used in aligned.passes if used.found}
    if heard != set(programme.order):
        # A loudspeaker that isn't heard at all won't be the next time.
        return ()
    spoilt = set()
    for at, used in enumerate(aligned.passes):
        foreign_s = sum(end - begin for begin, end in aligned.harm.foreign_s[at])
        gap = any(
            used.first <= block.at < used.first + used.samples.size for block in aligned.blocks
        )
        if not used.found or gap or foreign_s > WORTH_S:
            spoilt.add(used.index)
    spoilt |= set(range(len(programme.order))) - {used.index for used in aligned.passes}
    return () if len(spoilt) == len(programme.order) else tuple(sorted(spoilt))
