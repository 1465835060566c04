"""A room to try things out in, without loudspeakers or a microphone.

Conventions: those of `measure.sound.path`, of which this is a whole sound path, and of
`analysis.room.room`. The room, the pair and the seat are invented. Time passes only in `wait`,
and the same waits, moves and faults give the same recording, sample by sample.

What is simulated: reflections from six walls and the room's modes, a diffuse decay, two boxes
that differ a little, noise and hum, a recorder's clock that is a little off, a latency, a
converter that clips, and a person who moves a loudspeaker. What isn't: furniture, air that
moves, loudspeakers that distort or radiate by an angle; docs/simulated_room.md tells more.
"""

from __future__ import annotations

import math
import time
from typing import Final, Literal

import numpy as np

from analysis.basics.air import air_at
from analysis.room.room import Loudspeaker, Point, Positions, Room, rectangular_room, require_inside
from measure.errors import SoundDeviceError
from measure.safety.limits import SafeSignal
from measure.sound.emitter import Emitter
from measure.sound.simulation.acoustics import SimulatedAcoustics, SimulatedLoudspeaker
from measure.sound.simulation.block_convolver import Complex64, partition_spectra
from measure.sound.simulation.faults import Fault, PlantedFaults
from measure.sound.simulation.fractional_delay import TAPS
from measure.sound.simulation.noise import SimulatedNoise
from measure.sound.simulation.run import SimulatedRun, block_frames

Side = Literal["left", "right"]

SIDES: Final[tuple[Side, Side]] = ("left", "right")

RATE_RANGE_HZ: Final = (44_100, 192_000)

MOVE_S: Final = 0.3
"""How long the simulated person takes to move a loudspeaker."""

ROOM: Final = rectangular_room(
    length_m=5.40,
    width_m=4.20,
    height_m=2.50,
    absorption={
        "left": 0.25,
        "right": 0.20,
        "front": 0.20,
        "rear": 0.30,
        "floor": 0.30,
        "ceiling": 0.15,
    },
)

POSITIONS: Final = Positions(
    left=Loudspeaker(tweeter=Point(x_m=0.95, y_m=0.92, z_m=1.0)),
    right=Loudspeaker(tweeter=Point(x_m=3.15, y_m=0.90, z_m=1.0)),
    seat=Point(x_m=2.05, y_m=3.30, z_m=1.05),
)

PAIR: Final = (
    SimulatedLoudspeaker(
        bells=((180.0, 0.5, 1.2), (950.0, -0.6, 1.5), (5200.0, 0.7, 2.0)), gain_db=0.4
    ),
    SimulatedLoudspeaker(
        low_corner_hz=50.0,
        low_q=0.7,
        top_hz=25_500.0,
        bells=((210.0, -0.4, 1.2), (1000.0, -0.3, 1.5), (4800.0, 0.2, 2.0), (9000.0, -0.5, 1.5)),
        gain_db=-0.4,
    ),
)
"""Left and right: two boxes of one kind, as alike as boxes are. Common practice, no source."""


class _Stand:
    """A loudspeaker that somebody may push to and fro along the line to the seat."""

    def __init__(self, acoustics: SimulatedAcoustics, n_block: int, volume_db: float) -> None:
        self._acoustics, self._n_block = acoustics, n_block
        self._gain = 10 ** (volume_db / 20)
        self._from_m = self._to_m = 0.0
        self._since_s = -math.inf
        self._known_m = math.nan
        self._parts: Complex64 = np.zeros((0, 0), dtype=np.complex64)

    @property
    def distance_m(self) -> float:
        """To the seat, once it stands still."""
        return self._acoustics.distance_m + self._to_m

    def move(self, away_m: float, time_s: float) -> None:
        """Begin a move; one under way goes on from where it is."""
        self._from_m = self._away_m(time_s)
        self._to_m += away_m
        self._since_s = time_s

    def parts(self, time_s: float) -> Complex64:
        """Return the response at a time; the same object as long as nothing moves."""
        away_m = self._away_m(time_s)
        if away_m != self._known_m:
            response = self._gain * self._acoustics.response(away_m=away_m)
            self._parts, self._known_m = partition_spectra(response, self._n_block), away_m
        return self._parts

    def _away_m(self, time_s: float) -> float:
        """Return how far it stands from its first place: a raised cosine in time."""
        done = min(max((time_s - self._since_s) / MOVE_S, 0.0), 1.0)
        if done == 1:
            return self._to_m
        share = 0.5 - 0.5 * math.cos(math.pi * done)
        return self._from_m + share * (self._to_m - self._from_m)


def _require(sample_rate_hz: int, *, pace: float, clock_ppm: float, latency_s: float) -> None:
    """Refuse a room that can't be."""
    if not RATE_RANGE_HZ[0] <= sample_rate_hz <= RATE_RANGE_HZ[1]:
        msg = f"sample_rate_hz {sample_rate_hz} must lie from {RATE_RANGE_HZ[0]} to "
        msg += f"{RATE_RANGE_HZ[1]}"
        raise ValueError(msg)
    if not (pace > 0 and abs(clock_ppm) <= 1000 and TAPS / sample_rate_hz <= latency_s <= 1):
        msg = f"pace {pace} must lie above 0, clock_ppm {clock_ppm} within 1000 and latency_s "
        msg += f"{latency_s} from {TAPS / sample_rate_hz:.4f} to 1"
        raise ValueError(msg)


class SimulatedRoom:
    """A sound path through an invented room.

    Parameters
    ----------
    sample_rate_hz : int
        44 100 to 192 000.
    pace : float
        Simulated seconds in a second of real time; infinite for "as fast as can be".
    seed : int
        Of the noise and the diffuse decay.
    clock_ppm : float
        How much faster than the player's the recorder's clock runs, in 1e-6; up to 1000.
    latency_s : float
        From output to wired input.
    volume_db : float
        The amplifier's. At 0 dB a loudspeaker 1 m away is recorded as loud as it is played.
    noise_dbfs, hum_dbfs : float
        RMS of the room's noise and of the hum in the recording, re full scale.
    mains_hz : float
    temperature_c : float
        Of the air, for the speed of sound.
    reference : bool
        With a second input, wired to the sum of both outputs.
    faults : tuple of Fault
    room, positions : Room, Positions
    pair : tuple of SimulatedLoudspeaker
        Left, right; they radiate from the tweeters' places.

    Raises
    ------
    ValueError
        If an argument lies outside its range.
    """

    def __init__(
        self,
        sample_rate_hz: int = 48_000,
        *,
        pace: float = 1.0,
        seed: int = 1,
        clock_ppm: float = 23.0,
        latency_s: float = 0.03,
        volume_db: float = 0.0,
        noise_dbfs: float = -72.0,
        hum_dbfs: float = -100.0,
        mains_hz: float = 50.0,
        temperature_c: float = 20.0,
        reference: bool = False,
        faults: tuple[Fault, ...] = (),
        room: Room = ROOM,
        positions: Positions = POSITIONS,
        pair: tuple[SimulatedLoudspeaker, SimulatedLoudspeaker] = PAIR,
    ) -> None:
        _require(sample_rate_hz, pace=pace, clock_ppm=clock_ppm, latency_s=latency_s)
        require_inside(room, positions)
        self._rate_hz, self._pace, self._seed = sample_rate_hz, pace, seed
        self._clock_ratio, self._latency_s = 1 + clock_ppm * 1e-6, latency_s
        self._noise = {"noise_dbfs": noise_dbfs, "hum_dbfs": hum_dbfs, "mains_hz": mains_hz}
        self._n_inputs = 2 if reference else 1
        self._faults = faults
        self._now_s = 0.0
        self._n_runs = 0
        self._run: SimulatedRun | None = None
        self._stands: dict[Side, _Stand] = {}
        speed_m_s = air_at(temperature_c).speed_of_sound_m_s
        places = (positions.left, positions.right)
        for number, (side, box, place) in enumerate(zip(SIDES, pair, places, strict=True)):
            acoustics = SimulatedAcoustics(
                room,
                box,
                at=place.tweeter,
                seat=positions.seat,
                sample_rate_hz=sample_rate_hz,
                speed_of_sound_m_s=speed_m_s,
                rng=np.random.default_rng([seed, 0, number]),
            )
            self._stands[side] = _Stand(acoustics, block_frames(sample_rate_hz), volume_db)

    @property
    def name(self) -> str:
        """What to call it in a sentence."""
        return "the simulated room"

    @property
    def audible(self) -> bool:
        """Whether it makes real sound."""
        return False

    @property
    def sample_rate_hz(self) -> int:
        """Nominal, of output and input."""
        return self._rate_hz

    @property
    def n_inputs(self) -> int:
        """Recorded channels: the microphone, then the wired reference if there is one."""
        return self._n_inputs

    @property
    def path_difference_m(self) -> float:
        """The truth: left minus right distance to the seat, once nothing moves any more."""
        return self._stands["left"].distance_m - self._stands["right"].distance_m

    def distance_m(self, side: Side) -> float:
        """Return the truth about one loudspeaker: its distance to the seat."""
        return self._stands[side].distance_m

    def time_s(self) -> float:
        """Return how much time has passed in the room: a clock for what counts in it."""
        return self._now_s

    def move(self, side: Side, away_m: float) -> None:
        """Push a loudspeaker along the line from the seat, over the next `MOVE_S`.

        Parameters
        ----------
        side : {"left", "right"}
        away_m : float
            From where it stands or is being pushed to; positive away from the seat.

        Raises
        ------
        ValueError
            If it would come nearer than 0.1 m to the seat.
        """
        stand = self._stands[side]
        if not stand.distance_m + away_m >= 0.1:
            msg = f"away_m {away_m} would bring the {side} loudspeaker to the seat"
            raise ValueError(msg)
        stand.move(away_m, self._now_s)

    def start(self, signal: SafeSignal, *, n_frames: int, repeat: bool = False) -> SimulatedRun:
        """Start a run, as `measure.sound.path.SoundPath.start` says."""
        if self._run is not None and not self._run.closed:
            msg = "the simulated room is playing already: close that run first"
            raise SoundDeviceError(msg)
        if signal.sample_rate_hz != self._rate_hz:
            msg = f"the simulated room runs at {self._rate_hz} Hz and can't play "
            msg += f"{signal.sample_rate_hz} Hz: choose its sampling frequency"
            raise SoundDeviceError(msg)
        self._n_runs += 1
        faults = tuple(one for one in self._faults if one.in_run in (None, self._n_runs))
        self._run = SimulatedRun(
            emitter=Emitter(signal, repeat=repeat),
            sources=tuple(self._stands.values()),
            noise=SimulatedNoise(
                self._rate_hz,
                rng=np.random.default_rng([self._seed, self._n_runs]),
                **self._noise,
            ),
            faults=PlantedFaults(faults=faults, sample_rate_hz=self._rate_hz),
            sample_rate_hz=self._rate_hz,
            n_frames=n_frames,
            n_inputs=self._n_inputs,
            start_s=self._now_s,
            clock_ratio=self._clock_ratio,
            latency_s=self._latency_s,
        )
        return self._run

    def wait(self, duration_s: float) -> None:
        """Let time pass in the room, and as much in the world as the pace says.

        Raises
        ------
        DeviceLostError
            From a planted stall on, until the run is closed.
        """
        began_s = time.monotonic()
        self._now_s += duration_s
        if self._run is not None:
            self._run.advance_to(self._now_s)
        time.sleep(max(duration_s / self._pace - (time.monotonic() - began_s), 0.0))
