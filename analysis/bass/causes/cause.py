"""What the causes of a bass peak or dip are made of: the record, the limits, the frequency fit.

Conventions: those of `analysis.room.room`, `analysis.room.modes` and
`analysis.room.prediction`. All thresholds of the attribution stand here, each with its reason.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Complex, Float
from analysis.room.prediction import Curve, Prediction, resonances
from analysis.room.room import ROOM_SIZE_STD

NODE: Final = 0.1
"""A mode whose shape at the seat, or whose drive, is weaker than this has a node there. It
is 20 dB below its antinode, and at 60 Hz 10 cm, the size of a woofer and the error of its
acoustic centre, change a shape by as much."""

WINDOW_SIGMAS: Final = 2.0
"""Causes farther than this from a feature aren't considered."""

DAMPING_SHARE: Final = 0.5
"""One sigma of the distance between a peak and its mode, as a share of the mode's
half-power width: neighbours pull a peak about within its own width."""

LEAST_QUALITY: Final = 2.0
"""A resonance whose frequency is less than so many half-power widths makes no peak of its
own: it stands 6 dB above its own static response, which the neighbours hide."""

REFLECTIONS_STD: Final = 0.03
"""One sigma of a boundary dip's frequency, relative: other reflections move it, as
image-source rooms with one strong surface among absorbing ones show."""

LEAST_SCORE: Final = 0.005
"""Causes below aren't listed."""

MOST_CAUSES: Final = 5
"""So many are listed for one feature."""

NEIGHBOUR_OCTAVES: Final = 1.0
"""Peaks within this distance are the neighbours whose ringing is compared."""

Mask = NDArray[np.bool_]

CauseKind = Literal["mode", "boundary", "unexplained"]


class FeatureLike(Protocol):
    """What is needed of a feature; `analysis.bass.features.Feature` has it."""

    @property
    def kind(self) -> Literal["peak", "dip"]:
        """Peak or dip."""

    @property
    def frequency_hz(self) -> float:
        """Where it stands, in Hz."""

    @property
    def frequency_std_hz(self) -> float:
        """One sigma of it, in Hz."""

    @property
    def decay_s(self) -> float | None:
        """Decay time of a peak, in seconds, where known."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Cause:
    """One likely cause of a feature.

    Attributes
    ----------
    cause : {"mode", "boundary", "unexplained"}
    frequency_hz : float
        Of the mode, of the cancellation, or of the feature itself where unexplained.
    indices : tuple of int or None
        Of the mode, in the order of `analysis.room.modes`; of a dip's two modes the nearer.
    partner_indices : tuple of int or None
        Of the other mode of a dip; (0, 0, 0) is the uniform pressure.
    number, partner_number : int or None
        In place of both where the room is no box: of the modes by rising frequency; 0 is
        the uniform pressure.
    kind : str or None
        Of such a mode, as in `analysis.room.modes`.
    direction_shares : tuple of float or None
        Of such a mode, the shares of length, width and height (`analysis.room.mode_direction`).
    loudest_wall : str or None
        Of such a mode, the wall along which it is loudest.
    surface : str or None
        Of a boundary.
    score : float
        0 to 1.
    parts : mapping of str to float
        What the score was made of, with the unit in the name.
    """

    cause: CauseKind
    frequency_hz: float
    score: float
    parts: Mapping[str, float]
    indices: tuple[int, int, int] | None = None
    partner_indices: tuple[int, int, int] | None = None
    number: int | None = None
    partner_number: int | None = None
    kind: str | None = None
    direction_shares: tuple[float, float, float] | None = None
    loudest_wall: str | None = None
    surface: str | None = None


def relative_std(prediction: Prediction) -> float:
    """Return one sigma of a mode's frequency, relative: room size, speed of sound, mesh."""
    air, modes = prediction.air, prediction.modes
    of_air = air.speed_of_sound_std_m_s / air.speed_of_sound_m_s
    return math.hypot(ROOM_SIZE_STD, of_air, modes.relative_error)


def mode_std_hz(feature: FeatureLike, prediction: Prediction) -> float:
    """Return one sigma of the distance between a feature and the modes behind it, in Hz."""
    return math.hypot(
        feature.frequency_std_hz,
        relative_std(prediction) * feature.frequency_hz,
        DAMPING_SHARE * prediction.width_hz,
    )


def frequency_fit(distance_hz: float, std_hz: float) -> float:
    """Return 1 where two frequencies agree, 1/e at the edge of the window, 0 beyond it.

    Examples
    --------
    >>> [round(frequency_fit(sigmas, 1.0), 4) for sigmas in (0.0, WINDOW_SIGMAS, 3.0)]
    [1.0, 0.3679, 0.0]
    """
    sigmas = abs(distance_hz) / std_hz
    return 0.0 if sigmas > WINDOW_SIGMAS else math.exp(-((sigmas / WINDOW_SIGMAS) ** 2))


def modal_terms(prediction: Prediction, curve: Curve, frequency_hz: Float) -> Complex:
    """Return the terms of the modal sum at some frequencies.

    Resonances are widened by the uncertainty of their frequencies.

    Parameters
    ----------
    curve : {"left", "right", "both"}
    frequency_hz : ndarray, shape (m,)

    Returns
    -------
    ndarray of complex, shape (m, n_modes + 1)
        The first column is the uniform pressure.
    """
    width_hz = np.hypot(prediction.width_hz, 2 * relative_std(prediction) * frequency_hz)
    each = resonances(prediction.modes.frequency_hz, frequency_hz, width_hz=width_hz)
    return np.asarray(each * prediction.strengths[curve])


def candidate_modes(prediction: Prediction, curve: Curve) -> Mask:
    """Return which modes can be a cause: no node at either end, and sharp enough."""
    weakest = np.minimum(np.abs(prediction.drives[curve]), np.abs(prediction.seat_shape))
    sharp = prediction.modes.frequency_hz >= LEAST_QUALITY * prediction.width_hz
    return np.asarray((weakest >= NODE) & sharp)


def mode_cause(
    prediction: Prediction,
    k: int,
    *,
    score: float,
    parts: Mapping[str, float],
    partner: int | None = None,
) -> Cause:
    """Return the `k`-th mode of a prediction as a cause; -1 as partner: the uniform pressure."""
    modes = prediction.modes
    known: dict[str, Any] = {
        "cause": "mode",
        "frequency_hz": float(modes.frequency_hz[k]),
        "score": score,
        "parts": parts,
    }
    if modes.indices is None:
        other = None if partner is None else partner + 1
        length, width, height = modes.direction_shares[k].tolist()
        known |= {
            "direction_shares": (length, width, height),
            "loudest_wall": modes.loudest_walls[k],
        }
        return Cause(number=k + 1, partner_number=other, kind=modes.kinds[k], **known)
    partner_indices = None if partner is None else _mode_indices(modes.indices, partner)
    return Cause(indices=_mode_indices(modes.indices, k), partner_indices=partner_indices, **known)


def _mode_indices(indices: NDArray[np.int64], k: int) -> tuple[int, int, int]:
    """Return the indices of the `k`-th mode; -1 is the uniform pressure."""
    length, width, height = (0, 0, 0) if k < 0 else indices[k].tolist()
    return length, width, height
