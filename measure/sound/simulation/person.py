"""Somebody in the simulated room who slides a loudspeaker as told, a little clumsily.

Conventions: those of `measure.sound.simulation.room` and `analysis.pair.nudge.track`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from analysis.pair.nudge.track import NudgeTrack, move_advice

if TYPE_CHECKING:
    from measure.sound.simulation.room import Side, SimulatedRoom

REACTION_S: Final = 1.2
"""From one push to the next: to look at the screen, and to get a grip."""

SHARE: Final = (0.6, 1.15)
"""A push is so much of what was asked for."""


class SimulatedPerson:
    """Reads the answers and pushes the loudspeaker.

    Parameters
    ----------
    room : SimulatedRoom
    seed : int
        Of the clumsiness.
    """

    def __init__(self, room: SimulatedRoom, *, seed: int = 1) -> None:
        self._room = room
        self._rng = np.random.default_rng(seed)
        self._ready_s = room.time_s() + REACTION_S

    def see(self, track: NudgeTrack) -> None:
        """Look at an answer and act on it, unless it is unsure, or a push is under way.

        Parameters
        ----------
        track : NudgeTrack
        """
        latest = track.latest
        if latest is None or latest.doubt is not None or latest.difference_m is None:
            return
        if track.mover is not None or self._room.time_s() < self._ready_s:
            return
        todo = move_advice(latest.difference_m, move=track.move, tolerance_m=track.tolerance_m)
        if not todo.needed:
            return
        push_m = todo.distance_m * float(self._rng.uniform(*SHARE))
        side: Side = "left" if todo.side == "left" else "right"
        self._room.move(side, -push_m if todo.toward_seat else push_m)
        self._ready_s = self._room.time_s() + REACTION_S
