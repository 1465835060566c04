r"""The steady bass of loudspeakers at a seat, over many places at once.

Conventions: those of `analysis.space_modes`. Pressure is that of a monopole of constant
volume acceleration, scaled so that a free field has :math:`e^{-jkr}/(4 \pi r)`; places run
along the last axis, frequencies along the one before it. Damping is in 1/s, a mode's pressure
decays as :math:`e^{-\delta t}`.

.. math:: p(f) = \frac{1}{V} \sum_n \frac{\psi_n(s) \psi_n(r)}
                 {k_n^2 - k^2 + 2 j k \delta_n / c}, \qquad
          \delta_n = \frac{c}{2} \sum_S \beta_S w_{S,n}.

Under a level ceiling the sum over the vertical index has a closed form; so only the modes of
the plan are summed, each as one guided wave between floor and ceiling:

.. math:: \sum_n \varepsilon_n \frac{\cos(n\pi z/H) \cos(n\pi z'/H)}{(n\pi/H)^2 - q^2}
   = -\frac{H}{2 q \sin qH} \left[\cos q(H - |z - z'|) + \cos q(H - z - z')\right]

with :math:`q^2 = k^2 - 2jk\delta/c - \kappa^2`: exact in height, so that waves which don't
travel (the near field, what a truncated sum leaves out) are there.

References
----------
H. Kuttruff, "Room Acoustics", 5th ed., secs. 3.1 and 3.3 (from memory).
P. M. Morse, K. U. Ingard, "Theoretical Acoustics", 1968, sec. 9.4: the loss of a mode to a
surface's admittance (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis.arrays import Complex, Float
from analysis.plan_modes import PlanModes, plan_modes
from analysis.plan_stretch import stretched
from analysis.space import Space
from analysis.space_modes import SpaceModes, space_modes

SUM_TO: Final = 1.3
"""Modes of the plan up to so many times the highest frequency are summed: against the
converged sum about 0.1 dB rms is left (`benchmarks/room_response.py`)."""

SLOPED_SUM_TO: Final = 1.25
"""Under a sloped ceiling all modes are summed; finding them is slow, so fewer are."""


SLOPED_TOP_HZ: Final = 230.0
"""Nor are they sought beyond this."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Losses:
    r"""What takes energy out of a mode.

    Attributes
    ----------
    admittance : tuple of float
        Of each surface, in the order of `Space.surfaces`.
    slope : float
        The damping goes as the frequency over 100 Hz to this power.
    air_per_s : float
        The same damping for all modes, as of air or furniture.
    """

    admittance: tuple[float, ...]
    slope: float = 0.0
    air_per_s: float = 0.0

    def damping_per_s(self, weights: Float, *, speed_of_sound_m_s: float) -> Float:
        """Return the damping of modes at 100 Hz, shape (n,), from weights (n_surfaces, n)."""
        of_walls = 0.5 * speed_of_sound_m_s * np.asarray(self.admittance) @ weights
        return np.asarray(of_walls + self.air_per_s)


def losses_of(space: Space) -> Losses:
    """Return the losses that the absorption of a room's surfaces means."""
    return Losses(admittance=tuple(float(value) for value in space.admittances()))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class RoomModel:
    """What is needed to compute the pressure anywhere in a room.

    Attributes
    ----------
    space : Space
    speed_of_sound_m_s : float
    flat : PlanModes or None
        Modes of the plan, under a level ceiling.
    whole : SpaceModes or None
        All modes, under a sloped one.
    """

    space: Space
    speed_of_sound_m_s: float
    flat: PlanModes | None
    whole: SpaceModes | None


def room_model(space: Space, highest_hz: float, *, speed_of_sound_m_s: float) -> RoomModel:
    """Return the modes that the pressure up to a frequency needs.

    Parameters
    ----------
    space : Space
    highest_hz : float
        Above 0.
    speed_of_sound_m_s : float

    Returns
    -------
    RoomModel
    """
    c = speed_of_sound_m_s
    if space.is_level:
        flat = plan_modes(space.plan, 2 * math.pi * SUM_TO * highest_hz / c)
        return RoomModel(space=space, speed_of_sound_m_s=c, flat=flat, whole=None)
    top_hz = min(SLOPED_SUM_TO * highest_hz, SLOPED_TOP_HZ)
    whole = space_modes(space, top_hz, speed_of_sound_m_s=c, error_percent=0.5)
    return RoomModel(space=space, speed_of_sound_m_s=c, flat=None, whole=whole)


def pressure(
    model: RoomModel,
    sources_m: Float,
    seats_m: Float,
    frequency_hz: Float,
    *,
    losses: Losses,
    scale: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> Complex:
    """Return the pressure at seats by sources, place by place.

    Parameters
    ----------
    model : RoomModel
    sources_m : ndarray, shape (m, 3) or (n_sources, m, 3)
        Source `i` is heard at seat `i`; several sources play the same signal.
    seats_m : ndarray, shape (m, 3)
    frequency_hz : ndarray, shape (f,)
        Above 0.
    losses : Losses
    scale : tuple of float
        By how much width, length and height (x, y, z) are larger than the model's; places
        keep their share. Under a sloped ceiling all three are stretched by their geometric mean.

    Returns
    -------
    ndarray of complex, shape (f, m)

    Raises
    ------
    ValueError
        If the shapes don't match, or a scale is far from 1 (`analysis.plan_stretch`).
    """
    sources = np.asarray(sources_m, dtype=np.float64)
    sources = sources.reshape(-1, *np.atleast_2d(sources).shape[-2:])
    seats = np.atleast_2d(np.asarray(seats_m, dtype=np.float64))
    if sources.shape[1:] != seats.shape or seats.shape[1] != 3:
        msg = f"sources_m {sources.shape[1:]} and seats_m {seats.shape} must both be (m, 3)"
        raise ValueError(msg)
    if model.flat is None:
        return _by_all_modes(model, sources, seats, frequency_hz, losses, scale)
    flat = stretched(model.flat, scale[0], scale[1])
    model = replace(model, flat=flat)
    real, imag = np.zeros((2, frequency_hz.size, seats.shape[0]))
    at_seat = _shapes(flat, seats[:, :2])
    shapes = [_shapes(flat, one[:, :2]) for one in sources]
    heights = np.stack([np.column_stack([one[:, 2], seats[:, 2]]) for one in np.round(sources, 6)])
    for pair in np.unique(heights.reshape(-1, 2), axis=0):
        of_pair = np.all(heights == pair, axis=2)
        chosen = np.flatnonzero(of_pair.any(axis=0))
        drive = sum(
            on[chosen, np.newaxis] * shape[chosen]
            for on, shape in zip(of_pair, shapes, strict=True)
        )
        guided = _guided(model, frequency_hz, float(pair[0]), float(pair[1]), losses, scale)
        part = np.ascontiguousarray((drive * at_seat[chosen]).T)
        # Two real products: a complex one would multiply by zero half of the time.
        if of_pair.all():  # the usual case, without copies
            real = np.ascontiguousarray(guided.real) @ part
            imag = np.ascontiguousarray(guided.imag) @ part
        else:
            real[:, chosen] += guided.real @ part
            imag[:, chosen] += guided.imag @ part
    result = np.empty(real.shape, dtype=np.complex128)
    result.real, result.imag = real, imag
    return result


def _shapes(flat: PlanModes, points_m: Float) -> Float:
    """Return the shapes at points of which many are the same, shape (m, n)."""
    points, which = np.unique(points_m, axis=0, return_inverse=True)
    return np.asarray(flat.shapes_at(points)[which.ravel()])


def _guided(
    model: RoomModel,
    frequency_hz: Float,
    source_z_m: float,
    seat_z_m: float,
    losses: Losses,
    scale: tuple[float, float, float],
) -> Complex:
    """Return each plan mode's part per unit of shape at both ends, shape (f, n)."""
    assert model.flat is not None
    c = model.speed_of_sound_m_s
    height_m = model.space.height_m * scale[2]
    z, z_seat = source_z_m * scale[2], seat_z_m * scale[2]
    flat, walls = model.flat.wavenumber_rad_m, model.flat.wall_weight_per_m  # stretched already
    upright = np.full((2, flat.size), 1.0 / height_m)
    dampings = [
        losses.damping_per_s(np.concatenate([walls, factor * upright]), speed_of_sound_m_s=c)
        for factor in (1.0, 2.0)  # alike at all heights, and not
    ]
    k = 2 * np.pi * frequency_hz / c
    growth = (frequency_hz / 100.0) ** losses.slope
    lossy = k[:, np.newaxis] ** 2 - flat**2 + 0j
    turn = 2j * (k * growth / c)[:, np.newaxis]
    flat_q2, q2 = (lossy - turn * damping for damping in dampings)
    q = np.sqrt(q2)
    q = np.where(q.imag > 0, -q, q)  # so that the exponentials below decay
    rise = abs(z - z_seat)
    there, both, round_trip = (_phase(q, path) for path in (rise, z + z_seat, 2 * height_m))
    waves = there + both + round_trip * (1 / there + 1 / both)
    upright_sum = -height_m * 0.5j * waves / (q * (1 - round_trip))
    # The wave that is alike at all heights has its own damping.
    total = upright_sum + 1 / q2 - 1 / flat_q2
    area_m2 = model.space.plan.area_m2 * scale[0] * scale[1]
    return np.asarray(total / (area_m2 * height_m))


def _phase(q: Complex, path_m: float) -> Complex:
    """Return the phase along a path, decaying."""
    return np.asarray(np.exp(-1j * q * path_m))


def _by_all_modes(
    model: RoomModel,
    sources: Float,
    seats: Float,
    frequency_hz: Float,
    losses: Losses,
    scale: tuple[float, float, float],
) -> Complex:
    """Return the plain sum over all modes."""
    assert model.whole is not None
    c = model.speed_of_sound_m_s
    # The three are stretched together under a slope.
    stretch = math.prod(scale) ** (1 / 3)
    wavenumber = model.whole.wavenumber_rad_m / stretch
    weights = model.whole.surface_weight_per_m / stretch
    damping = losses.damping_per_s(weights, speed_of_sound_m_s=c)
    k = (2 * np.pi * frequency_hz / c)[:, np.newaxis]
    growth = (frequency_hz / 100.0)[:, np.newaxis] ** losses.slope
    each = 1 / (wavenumber**2 - k**2 + 2j * k * growth * damping / c)
    drive = sum(model.whole.shapes_at(one) for one in sources)
    product = (drive * model.whole.shapes_at(seats)).T
    volume_m3 = model.space.volume_m3 * stretch**3
    return np.asarray((each.real @ product + 1j * (each.imag @ product)) / volume_m3)
