"""What the simulated room does to sound."""

from __future__ import annotations

import math

import numpy as np
import pyroomacoustics as pra
import pytest

from analysis.room.reverberation import reverberation_time_s
from analysis.room.room import Room, rectangular_room
from measure.sound.simulation.acoustics import (
    EARLY_S,
    SimulatedAcoustics,
    SimulatedLoudspeaker,
    image_sources,
)
from measure.sound.simulation.room import PAIR, POSITIONS, ROOM

SPEED_M_S = 343.2
RATE_HZ = 48_000
SEAT, LEFT = POSITIONS.seat, POSITIONS.left.tweeter


def acoustics(*, rate_hz: int = RATE_HZ, room: Room = ROOM, seed: int = 1) -> SimulatedAcoustics:
    return SimulatedAcoustics(
        room,
        SimulatedLoudspeaker(),
        at=LEFT,
        seat=SEAT,
        sample_rate_hz=rate_hz,
        speed_of_sound_m_s=SPEED_M_S,
        rng=np.random.default_rng(seed),
    )


def test_the_image_sources_are_those_of_another_library() -> None:
    # Second method: pyroomacoustics' images and their dampings, to the tenth order; it keeps
    # its coordinates in 32 bits.
    names: dict[str, str] = {
        "left": "west",
        "right": "east",
        "front": "south",
        "rear": "north",
        "floor": "floor",
        "ceiling": "ceiling",
    }
    box = pra.ShoeBox(
        ROOM.size_m,
        materials={other: pra.Material(ROOM.absorption_of(name)) for name, other in names.items()},
        max_order=10,
    )
    box.add_source(LEFT.array)
    box.add_microphone(SEAT.array)
    box.image_source_model()
    source = box.sources[0]
    truth_m = np.linalg.norm(source.images - SEAT.array[:, np.newaxis], axis=0)
    truth = source.damping[0] / truth_m
    order = np.lexsort((truth, truth_m))
    longest_m = 15.0  # Any order above the tenth lies farther.
    distance_m, gain = image_sources(ROOM, LEFT, SEAT, longest_m=longest_m)
    ours = np.lexsort((gain, distance_m))
    distance_m, gain = distance_m[ours], gain[ours]
    near = truth_m[order] <= longest_m
    assert distance_m.size == near.sum() > 200
    assert np.allclose(distance_m, truth_m[order][near], atol=1e-5)
    # Images at the same distance may come in another order.
    assert np.allclose(np.cumsum(gain), np.cumsum(truth[order][near]), atol=0.02)
    assert gain.sum() == pytest.approx(truth[order][near].sum(), rel=1e-5)


def test_the_first_image_is_the_loudspeaker_itself() -> None:
    # Closed form.
    distance_m, gain = image_sources(ROOM, LEFT, SEAT, longest_m=5.0)
    assert distance_m[0] == pytest.approx(LEFT.distance_m(SEAT))
    assert gain[0] == pytest.approx(1 / LEFT.distance_m(SEAT))


@pytest.mark.parametrize("rate_hz", [44_100, 192_000])
def test_the_direct_sound_comes_when_and_as_strong_as_geometry_says(rate_hz: int) -> None:
    # Closed form, in a room that reflects nothing: 1/d, and the loudspeaker's filter.
    dead = rectangular_room(
        length_m=5.4, width_m=4.2, height_m=2.5, absorption=dict.fromkeys(ROOM.absorption, 1.0)
    )
    path = acoustics(rate_hz=rate_hz, room=dead)
    for away_m in (0.0, 0.0123, -0.4):
        response = path.response(away_m=away_m)
        frequency_hz = np.fft.rfftfreq(response.size, 1 / rate_hz)
        distance_m = LEFT.distance_m(SEAT) + away_m
        truth = SimulatedLoudspeaker().transfer(frequency_hz) / distance_m
        truth = truth * np.exp(-2j * np.pi * frequency_hz * distance_m / SPEED_M_S)
        heard = (frequency_hz > 100) & (frequency_hz < 20_000 * rate_hz / 48_000)
        assert np.abs(np.fft.rfft(response) - truth)[heard].max() < 2e-3 / distance_m


def test_the_late_decay_is_eyrings_and_continues_the_early_part() -> None:
    # Closed form: the slope of the noise part, and the same energy on both sides of the seam,
    # in the octaves where the loudspeaker is flat; the mean over several draws.
    decay_s = reverberation_time_s(ROOM, speed_of_sound_m_s=SPEED_M_S)
    energy = 0.0
    for seed in range(8):
        spectrum = np.fft.rfft(acoustics(seed=seed).response())
        frequency_hz = np.fft.rfftfreq(acoustics().n_samples, 1 / RATE_HZ)
        spectrum[(frequency_hz < 500) | (frequency_hz > 8000)] = 0
        energy = energy + np.fft.irfft(spectrum) ** 2
    step = round(0.02 * RATE_HZ)
    level_db = 10 * np.log10([energy[at : at + step].mean() for at in range(0, 16 * step, step)])
    slope_db = np.polyfit(np.arange(4, 14) * 0.02, level_db[4:14], 1)[0]
    assert slope_db == pytest.approx(-60 / decay_s, rel=0.03)
    seam = round(EARLY_S / 0.02)
    assert level_db[seam] - level_db[seam - 1] == pytest.approx(-60 * 0.02 / decay_s, abs=2.0)


def test_the_bass_rings_at_the_rooms_modes() -> None:
    # Closed form: the first axial modes lie at c / 2L, within their own width.
    path = acoustics()
    response = path.response()
    padded = np.abs(np.fft.rfft(response, 1 << 17))
    frequency_hz = np.fft.rfftfreq(1 << 17, 1 / RATE_HZ)
    for mode_hz in (SPEED_M_S / 2 / ROOM.length_m, SPEED_M_S / ROOM.length_m):
        near = np.abs(frequency_hz - mode_hz) < 12
        peak_hz = frequency_hz[near][np.argmax(padded[near])]
        assert peak_hz == pytest.approx(mode_hz, abs=3)


def test_the_loudspeakers_filter_is_made_of_its_parts() -> None:
    # Closed form: a bell's gain at its centre, a corner's gain of Q, 6 dB, a sign.
    at = np.array([1000.0])
    bell = SimulatedLoudspeaker(bells=((1000.0, 3.0, 2.0),))
    ratio = np.abs(bell.transfer(at) / SimulatedLoudspeaker().transfer(at))
    assert 20 * math.log10(ratio.item()) == pytest.approx(3.0)
    low = SimulatedLoudspeaker(low_corner_hz=60.0, low_q=0.8, top_hz=1e9)
    assert np.abs(low.transfer(np.array([60.0]))).item() == pytest.approx(0.8)
    turned = SimulatedLoudspeaker(gain_db=-6.0206, inverted=True)
    assert np.allclose(turned.transfer(at), -0.5 * SimulatedLoudspeaker().transfer(at), rtol=1e-5)


def test_the_pairs_loudspeakers_have_no_delay_of_their_own() -> None:
    # Closed form: far above the audible range only the second-order roll-off is left, -180
    # degrees; a nanosecond of delay would add 0.06 radians.
    for box in PAIR:
        at_hz = np.array([1e7])
        left_over = box.transfer(at_hz) / -((box.top_hz / at_hz) ** 2)
        assert np.abs(np.angle(left_over)).item() < 0.005
