"""Playing and recording at once: what every sound path offers, real or simulated.

Conventions: a frame is one sample of every channel. Output has two channels, left and
right; frame *n* of the output is counted from the run's first, and so is frame *n* of the
input, with a latency between the two that is unknown but constant. What was never
delivered is NaN in `Run.recorded`. Two devices with clocks of their own are fine: output
and input frames are then counted apart, each by its own clock.

A run never ends by itself: whoever started it watches `n_recorded`, and closes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from measure.safety.limits import SafeSignal

Float32 = NDArray[np.float32]

STOP_WITHIN_S = 0.05
"""From `Run.stop` to silence, at most."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Xrun:
    """A gap that the driver reported: neither proof of damage nor its only sign.

    Attributes
    ----------
    frame : int
        Of the side that it befell, about.
    kind : str
        ``input overflow``, ``input underflow``, ``output overflow`` or ``output underflow``.
    """

    frame: int
    kind: str


class Run(Protocol):
    """One stretch of playing and recording."""

    @property
    def recorded(self) -> Float32:
        """Input, shape (n_inputs, n_frames), NaN where nothing was delivered (yet)."""

    @property
    def n_recorded(self) -> int:
        """How many frames were delivered from the start."""

    @property
    def n_played(self) -> int:
        """How many output frames the device took."""

    @property
    def xruns(self) -> tuple[Xrun, ...]:
        """What the driver reported so far."""

    def append(self, signal: SafeSignal, at_frame: int) -> bool:
        """Add output after what is there; False if that moment is too near or past."""

    def stop(self) -> None:
        """Fade out and be silent within `STOP_WITHIN_S`; recording goes on until closed."""

    def close(self) -> None:
        """End playing and recording; what was recorded stays. May be called twice."""


class SoundPath(Protocol):
    """A way to two loudspeakers and back from a microphone."""

    @property
    def name(self) -> str:
        """What to call it in a sentence."""

    @property
    def audible(self) -> bool:
        """Whether it makes real sound; a simulation makes none."""

    @property
    def sample_rate_hz(self) -> int:
        """Nominal, of output and input."""

    @property
    def n_inputs(self) -> int:
        """Recorded channels: the microphone, then the wired reference if there is one."""

    def start(self, signal: SafeSignal, *, n_frames: int, repeat: bool = False) -> Run:
        """Start a run.

        Parameters
        ----------
        signal : SafeSignal
            Played from frame 0; silence follows.
        n_frames : int
            Room for so many frames of input, and of output with what is appended.
        repeat : bool
            Play `signal` again and again instead.

        Returns
        -------
        Run

        Raises
        ------
        SoundDeviceError
            If the device is missing, busy, or refuses the format.
        """

    def wait(self, duration_s: float) -> None:
        """Let time pass: the person's, or the simulation's.

        Raises
        ------
        DeviceLostError
            If the device stopped delivering.
        """
