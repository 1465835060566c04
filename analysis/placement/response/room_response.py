r"""The steady bass of loudspeakers at a seat, over many places at once.

Conventions: those of `analysis.room.modes`. Pressure is that of a monopole of constant
volume acceleration, scaled so that a free field has :math:`e^{-jkr}/(4 \pi r)`; places run
along the last axis, frequencies along the one before it. Damping is in 1/s, a mode's pressure
decays as :math:`e^{-\delta t}`.

.. math:: p(f) = \frac{1}{V} \sum_n \frac{\psi_n(s) \psi_n(r)}
                 {k_n^2 - k^2 + 2 j k \delta_n / c}, \qquad
          \delta_n = \frac{c}{2} \sum_S \beta_S w_{S,n}.

Where a room has a section (`analysis.room.section`) the sum along its line has a closed form;
so only the modes of the section are summed, each as one guided wave
(`analysis.placement.response.guided_waves`): exact along the line, so that waves which don't
travel (the near field, what a truncated sum leaves out) are there.

References
----------
H. Kuttruff, "Room Acoustics", 5th ed., secs. 3.1 and 3.3 (from memory).
P. M. Morse, K. U. Ingard, "Theoretical Acoustics", 1968, sec. 9.4: the loss of a mode to a
surface's admittance (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Complex, Float, Mask
from analysis.placement.response.guided_sum import sum_guided
from analysis.placement.response.guided_waves import (
    GuidedWaves,
    ModeAxis,
    frequency_band,
    guided_waves,
)
from analysis.placement.response.size_perturbation import perturb_size
from analysis.room.modes import Modes, room_modes
from analysis.room.plan_modes import PlanModes, plan_modes
from analysis.room.room import Room
from analysis.room.section import Section, section_of

SUM_TO: Final = 1.3
"""Modes of the plan up to so many times the highest frequency are summed: against the
converged sum about 0.1 dB rms is left (`benchmarks/room_response.py`)."""

SUM_TO_CLOSED: Final = 2.0
"""The same for a rectangle, whose modes have a closed form and cost nothing to find: 0.02 to
0.03 dB rms are left."""

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
        Of each surface, in the order of `Room.surfaces`.
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


def losses_of(room: Room) -> Losses:
    """Return the losses that the absorption of a room's surfaces means."""
    return Losses(admittance=tuple(float(value) for value in room.admittances()))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class RoomModel:
    """What is needed to compute the pressure anywhere in a room.

    Attributes
    ----------
    flat : PlanModes or None
        Modes of the section, where the room has one.
    whole : Modes or None
        All modes, where it has none.
    """

    room: Room
    speed_of_sound_m_s: float
    flat: PlanModes | None
    whole: Modes | None

    @property
    def section(self) -> Section | None:
        """What the room is the same of along a line: `analysis.room.section`."""
        return section_of(self.room)


def room_model(room: Room, highest_hz: float, *, speed_of_sound_m_s: float) -> RoomModel:
    """Return the modes that the pressure up to a frequency needs.

    Parameters
    ----------
    highest_hz : float
        Above 0.
    """
    c = speed_of_sound_m_s
    section = section_of(room)
    if section is not None:
        sum_to = SUM_TO_CLOSED if section.outline.is_rectangle else SUM_TO
        flat = plan_modes(section.outline, 2 * math.pi * sum_to * highest_hz / c)
        return RoomModel(room=room, speed_of_sound_m_s=c, flat=flat, whole=None)
    top_hz = min(SLOPED_SUM_TO * highest_hz, SLOPED_TOP_HZ)
    whole = room_modes(room, top_hz, speed_of_sound_m_s=c, error_percent=0.5)
    return RoomModel(room=room, speed_of_sound_m_s=c, flat=None, whole=whole)


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
    sources_m : ndarray, shape (m, 3) or (n_sources, m, 3)
        Source `i` is heard at seat `i`; several sources play the same signal.
    seats_m : ndarray, shape (m, 3)
    frequency_hz : ndarray, shape (f,)
        Above 0.
    scale : tuple of float
        By how much width, length and height (x, y, z) are larger than the model's; places
        keep their share. A room without a section is stretched by their geometric mean.

    Returns
    -------
    ndarray of complex, shape (f, m)
        The curve of a place lies together in memory.

    Raises
    ------
    ValueError
        If the shapes don't match, or a scale is far from 1
        (`analysis.placement.response.size_perturbation`).
    """
    sources = np.asarray(sources_m, dtype=np.float64)
    sources = sources.reshape(-1, *np.atleast_2d(sources).shape[-2:])
    seats = np.atleast_2d(np.asarray(seats_m, dtype=np.float64))
    if sources.shape[1:] != seats.shape or seats.shape[1] != 3:
        msg = f"sources_m {sources.shape[1:]} and seats_m {seats.shape} must both be (m, 3)"
        raise ValueError(msg)
    if model.flat is None:
        return _pressure_by_modal_sum(model, sources, seats, frequency_hz, losses, scale)
    return _pressure_by_section(model, sources, seats, frequency_hz, losses, scale)


def _pressure_by_section(
    model: RoomModel,
    sources: Float,
    seats: Float,
    frequency_hz: Float,
    losses: Losses,
    scale: tuple[float, float, float],
) -> Complex:
    """Return the sum of guided waves over the modes of the section."""
    section = model.section
    assert section is not None
    assert model.flat is not None
    c = model.speed_of_sound_m_s
    x, y, along = (scale[axis] for axis in (*section.across, section.along))
    flat = perturb_size(model.flat, x, y)
    length_m = section.length_m * along
    dampings = _wave_dampings_per_s(section, flat, losses, length_m, speed_of_sound_m_s=c)
    band = frequency_band(frequency_hz, loss_slope=losses.slope, speed_of_sound_m_s=c)
    volume_m3 = section.outline.area_m2 * x * y * length_m

    def between(source_m: float, seat_m: float, wanted: Mask) -> GuidedWaves:
        line = ModeAxis(length_m=length_m, source_m=source_m * along, seat_m=seat_m * along)
        chosen = (dampings[0][wanted], dampings[1][wanted])
        section_rad_m = flat.wavenumber_rad_m[wanted]
        return guided_waves(section_rad_m, chosen, line, band, factor=1 / volume_m3)

    return sum_guided(flat, section, sources, seats, waves_between=between, band=band).T


def _wave_dampings_per_s(
    section: Section,
    flat: PlanModes,
    losses: Losses,
    length_m: float,
    *,
    speed_of_sound_m_s: float,
) -> tuple[Float, Float]:
    """Return the dampings of waves that are alike all along the line, and of the others."""
    weights = np.empty((len(losses.admittance), flat.wavenumber_rad_m.size))
    weights[list(section.sides)] = flat.wall_weight_per_m
    found = []
    for factor in (1.0, 2.0):
        weights[list(section.ends)] = factor / length_m
        found.append(losses.damping_per_s(weights, speed_of_sound_m_s=speed_of_sound_m_s))
    return found[0], found[1]


def _pressure_by_modal_sum(
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
    # Without a section the three are stretched together.
    stretch = math.prod(scale) ** (1 / 3)
    wavenumber = model.whole.wavenumber_rad_m / stretch
    weights = model.whole.surface_weight_per_m / stretch
    damping = losses.damping_per_s(weights, speed_of_sound_m_s=c)
    k = (2 * np.pi * frequency_hz / c)[:, np.newaxis]
    growth = (frequency_hz / 100.0)[:, np.newaxis] ** losses.slope
    each = 1 / (wavenumber**2 - k**2 + 2j * k * growth * damping / c)
    drive = sum(model.whole.shapes_at(one) for one in sources)
    product = (drive * model.whole.shapes_at(seats)).T
    volume_m3 = model.room.volume_m3 * stretch**3
    return np.asarray((each.real @ product + 1j * (each.imag @ product)) / volume_m3)
