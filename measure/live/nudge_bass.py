"""The bass before and after a nudge: one longer sweep of each side, read as any recording.

Conventions: those of `measure.takes.run` and `analysis.comparison.compare`. Nothing is kept on
disk.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from analysis.basics.air import Air
from analysis.comparison.compare import Snapshot
from analysis.reading import Reading, read_recording
from analysis.recording.extraction import NoPassError
from measure.errors import NotHeardError
from measure.sound.stimulus import default_stop_hz, make_programme
from measure.takes.run import play_and_record

if TYPE_CHECKING:
    from collections.abc import Callable

    from analysis.bass.bass import BassSide
    from analysis.room.prediction import Curve
    from measure.safety.treble_ledger import Ledger
    from measure.sound.keys import Keys
    from measure.sound.path import SoundPath
    from measure.takes.run import Progress

SECONDS: Final = 2.0
"""Of each pass: 35 cycles at the lowest mode that matters, and done within 15 s."""

START_HZ: Final = 15.0
TAIL_S: Final = 1.0
ORDER: Final = "LRRL"


def bass_snapshot(
    path: SoundPath,
    *,
    level_dbfs: float,
    air: Air,
    ledger: Ledger,
    keys: Keys,
    show: Callable[[Progress], None],
) -> Snapshot:
    """Play one longer sweep of each side twice, and return what is compared.

    Parameters
    ----------
    path : SoundPath
    level_dbfs : float
        Peak of the sweep.
    air : Air
    ledger : Ledger
    keys : Keys
        Any key stops it.
    show : callable
        Is given how far it is.

    Returns
    -------
    Snapshot

    Raises
    ------
    MeasureError
        If it wasn't heard, was stopped, or the device failed.
    """
    rate_hz = path.sample_rate_hz
    programme = make_programme(
        start_hz=START_HZ,
        stop_hz=default_stop_hz(rate_hz),
        duration_s=SECONDS,
        level_dbfs=level_dbfs,
        rate_hz=rate_hz,
        order=ORDER,
        tail_s=TAIL_S,
    )
    recorded = play_and_record(
        path,
        programme,
        ledger=ledger,
        keys=keys,
        write=lambda _: None,
        show=show,
        most_repeats=0,
    )
    samples = np.nan_to_num(recorded.samples[0]).astype(np.float64)
    try:
        reading = read_recording(
            samples, recorded_hz=rate_hz, programme=recorded.programme, air=air
        )
    except NoPassError as problem:
        msg = "the longer sweep wasn't heard, so the bass can't be compared: turn the volume up"
        raise NotHeardError(msg) from problem
    return snapshot_of(reading)


def snapshot_of(reading: Reading) -> Snapshot:
    """Return what of a reading is compared.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    Snapshot
    """
    arrival, level = reading.arrival, reading.level
    curves: dict[Curve, BassSide | None] = {
        "left": reading.bass.left,
        "right": reading.bass.right,
        "both": reading.bass.both,
    }
    return Snapshot(
        left=None if reading.left is None else reading.left.response,
        right=None if reading.right is None else reading.right.response,
        arrival_m=None if arrival is None else arrival.difference_m,
        arrival_std_m=None if arrival is None else arrival.std_m,
        arrival_in_room_std_m=None if arrival is None else arrival.in_room_std_m,
        direct_db=None if level is None else level.direct.left_minus_right_db,
        direct_std_db=None if level is None else level.direct.noise_std_db,
        seat_db=None if level is None else level.seat.left_minus_right_db,
        seat_std_db=None if level is None else level.seat.std_db,
        features={
            name: tuple(one.feature for one in side.features)
            for name, side in curves.items()
            if side is not None
        },
        speed_of_sound_m_s=reading.air.speed_of_sound_m_s,
    )
