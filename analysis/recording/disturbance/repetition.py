"""Which passes of a programme are worth playing again.

Conventions: passes are counted from 0, in the order in which they were played.
"""

from __future__ import annotations

from typing import Final

from analysis.basics.arrays import Float
from analysis.recording.alignment import align_passes
from analysis.recording.extraction import NoPassError
from analysis.signals.programme import Programme

LEAST_DISTURBED_S: Final = 0.15
"""A shorter stretch of foreign sound leaves its third octave to the side's other pass, and
costs nothing that a reading would show."""


def passes_to_repeat(recorded: Float, programme: Programme) -> tuple[int, ...]:
    """Return the passes that a noise or a gap has disturbed.

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
        Empty where all passes are clean, and where all are disturbed or a loudspeaker isn't
        heard at all: then it isn't a passing noise, and playing again would not help.
    """
    try:
        aligned = align_passes(recorded, programme)
    except NoPassError:
        return ()
    heard = {extracted.side for extracted in aligned.passes if extracted.found}
    if heard != set(programme.order):
        # A loudspeaker that isn't heard at all won't be the next time.
        return ()
    disturbed = set()
    for at, extracted in enumerate(aligned.passes):
        foreign_sound_s = sum(end - begin for begin, end in aligned.disturbance.foreign_sound_s[at])
        gap = any(
            extracted.first <= block.at < extracted.first + extracted.samples.size
            for block in aligned.blocks
        )
        if not extracted.found or gap or foreign_sound_s > LEAST_DISTURBED_S:
            disturbed.add(extracted.index)
    disturbed |= set(range(len(programme.order))) - {
        extracted.index for extracted in aligned.passes
    }
    return () if len(disturbed) == len(programme.order) else tuple(sorted(disturbed))
