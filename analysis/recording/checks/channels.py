"""Which channel of a recording is the microphone's, and which others it could be as well.

Conventions: channels count from 0 here, from 1 in sentences.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.recording.checks.check import Check
from analysis.recording.passes import Hit, find_hits
from analysis.signals.programme import Programme

RIVAL_DB: Final = 30.0
"""A channel whose passes are so much weaker than the chosen one's hears its crosstalk: common
practice, no source."""

COPY_DB: Final = -40.0
"""What is left of a channel less the chosen one, gain fitted, below which it is a copy: a
microphone 1 mm farther leaves -20 dB."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ChannelChoice:
    """The channel in which the programme stands out most, and its rivals.

    Attributes
    ----------
    index : int
    rivals : tuple of int
        Others that hear as many passes, about as strongly, and are no copies of it.
    """

    index: int
    rivals: tuple[int, ...]


def choose_channel(channels: Sequence[Float], programme: Programme) -> ChannelChoice:
    """Return the channel in which the programme stands out most, and its rivals.

    Parameters
    ----------
    channels : sequence of ndarray, shape (n,)
        At the programme's sampling frequency.
    """
    if len(channels) == 1:
        return ChannelChoice(index=0, rivals=())
    hits = [find_hits(channel, programme) for channel in channels]
    scores = [(len(heard), sum(hit.crest for hit in heard)) for heard in hits]
    index = max(range(len(scores)), key=lambda at: scores[at])
    chosen = channels[index]
    # A channel of noise has no pass, and no strength to compare.
    weakest = _strength(chosen, hits[index], programme) * 10 ** (-RIVAL_DB / 20)
    rivals = tuple(
        at
        for at, channel in enumerate(channels)
        if at != index
        and hits[at]
        and len(hits[at]) == len(hits[index])
        and _strength(channel, hits[at], programme) >= weakest
        and not _is_copy(channel, chosen)
    )
    return ChannelChoice(index=index, rivals=rivals)


def _strength(samples: Float, hits: tuple[Hit, ...], programme: Programme) -> float:
    """Return the RMS over the passes that a channel hears."""
    rate_hz = programme.sample_rate_hz
    n_pass = round(programme.sweep.duration_s * rate_hz)
    energy, n_samples = 0.0, 0
    for hit in hits:
        first = max(round(hit.start_s * rate_hz), 0)
        heard = samples[first : first + n_pass]
        energy += float(np.sum(heard**2))
        n_samples += heard.size
    return float(np.sqrt(energy / max(n_samples, 1)))


def _is_copy(one: Float, other: Float) -> bool:
    """Return whether a channel is another one with a gain."""
    one, other = one - np.mean(one), other - np.mean(other)
    gain = float(np.sum(one * other)) / (float(np.sum(other**2)) + 1e-300)
    left = float(np.sum((one - gain * other) ** 2))
    return left <= 10 ** (COPY_DB / 10) * float(np.sum(one**2))


def check_channel(
    taken: int, agreeing: Sequence[int] = (), disagreeing: Sequence[int] = ()
) -> Check:
    """Judge whether another channel could be the microphone's as well.

    Parameters
    ----------
    taken : int
        The channel that was read.
    agreeing, disagreeing : sequence of int
        Its rivals, by whether they give the same arrival.
    """
    if disagreeing:
        return Check(
            name="channel",
            verdict="fail",
            detail=f"{_name_channels((taken, *disagreeing))} hear the sweep and disagree on the "
            "arrival: say with --channel which is the microphone at the seat",
        )
    if agreeing:
        return Check(
            name="channel",
            verdict="warn",
            detail=f"{_name_channels((taken, *agreeing))} hear the sweep, and channel "
            f"{taken + 1} was taken; --channel takes another",
        )
    return Check(name="channel", verdict="pass", detail="no other channel hears the sweep")


def _name_channels(indices: Sequence[int]) -> str:
    """Return channels by number."""
    *first, last = (str(index + 1) for index in sorted(indices))
    return f"channels {', '.join(first)} and {last}"
