"""``apexline nudge``: slide a loudspeaker, and see at once how much is left."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from measure.commands.options import FILE
from measure.commands.options.cautions import show_cautions
from measure.commands.options.conditions import ConditionOptions, read_conditions
from measure.commands.options.programme import ProgrammeOptions, asked_programme
from measure.commands.options.sound import SoundOptions, sound_options, sound_path
from measure.terminal.number_type import CelsiusRange, NumberRange
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import print_lines

if TYPE_CHECKING:
    from analysis.basics.air import Air
    from analysis.comparison.compare import Snapshot
    from analysis.pair.nudge.track import NudgeTrack
    from measure.live.nudge_run import Stretch
    from measure.safety.treble_ledger import Ledger
    from measure.sound.keys import Keys
    from measure.sound.path import SoundPath
    from measure.sound.simulation.person import SimulatedPerson
    from measure.takes.conditions import Conditions
    from measure.terminal.screen import NudgeScreen

BASS_KEY = "b"

STEP_ASIDE_S = 8
"""From the loudspeaker to a place out of the sound's way."""

WANTED_DB = 25.0
"""Sweep above the room's noise: an answer's random part is then below 0.1 mm, and it is quieter
than a take."""

SAVED_PROGRAMME = ProgrammeOptions()
"""The take that --save makes is what ``apexline take`` makes unless told otherwise."""


@dataclass(frozen=True, kw_only=True, slots=True)
class NudgeOptions:
    """What is slid, how it is shown, and what is made at the end."""

    move: Literal["left", "right"] = "left"
    tolerance_mm: float = 2.0
    sound: SoundOptions = field(default_factory=SoundOptions)
    level_dbfs: float | None = None
    temperature_c: float | None = None
    cue: bool = False
    bass: bool = False
    save: str | None = None
    folder: Path = Path()
    as_json: bool = False
    plain: bool = False
    accept_cautions: bool = False


@defaults_from(NudgeOptions)
@click.command("nudge", short_help="Slide a loudspeaker, and see at once how far to go.")
@click.option(
    "--move",
    type=click.Choice(("left", "right")),
    show_default=True,
    help="The loudspeaker that you slide.",
)
@click.option(
    "--tolerance",
    "tolerance_mm",
    type=NumberRange(min=0.5, max=100),
    show_default=True,
    help="Difference that counts as equal, mm.",
)
@sound_options
@click.option(
    "--level",
    "level_dbfs",
    type=NumberRange(-80, -20),
    help="Peak of the sweeps, dBFS, without a level check.",
)
@click.option(
    "--temperature",
    "temperature_c",
    type=CelsiusRange(),
    help="Of the air, °C.  [default: 20 ± 3]",
)
@click.option("--cue", is_flag=True, help="Two soft tones when the difference is small enough.")
@click.option("--bass", is_flag=True, help="A longer sweep first and last: what the bass did.")
@click.option("--save", metavar="NAME", help="When it is done, make a full take of this name.")
@click.option(
    "--log",
    "folder",
    type=FILE,
    help="Folder for that take.  [default: here]",
)
@click.option("--json", "as_json", is_flag=True, help="Print each answer as a line of JSON.")
@click.option("--plain", is_flag=True, help="ASCII characters alone.")
@click.option(
    "--accept-cautions", is_flag=True, help="Accept the cautions without being asked; read them."
)
def command(**given: object) -> None:
    """Play short quiet sweeps, left and right in turn, and show after each what is left.

    Slide the loudspeaker along the line from the seat, watch the figures, let go and step
    aside. It is done when three readings in a row lie within the tolerance. The key b plays
    a longer sweep for the bass; any other key ends it. After three minutes it pauses.
    """
    run(options_from(NudgeOptions, given))


def run(options: NudgeOptions) -> None:
    """Play and show until it is done or ended; make the take where one is asked for."""
    from analysis.pair.nudge.track import NudgeTrack
    from measure.logbook.folder import takes_folder
    from measure.safety.limits import require_safe_level
    from measure.takes.names import check_free

    if options.level_dbfs is not None:
        require_safe_level(options.level_dbfs, louder=False)
    save = options.save
    if save is not None:
        options = replace(options, folder=takes_folder(options.folder))
        check_free(options.folder, save)
    path = sound_path(options.sound)
    show_cautions(path, accepted=options.accept_cautions)
    around = read_conditions(None, ConditionOptions(temperature_c=options.temperature_c))
    track = NudgeTrack(
        tolerance_m=1e-3 * options.tolerance_mm,
        move=options.move,
        speed_of_sound_m_s=around.air.speed_of_sound_m_s,
    )
    track, level_dbfs = _nudge_until_done(path, track, around, options)
    print_lines(_farewell(track, save), to_error=options.as_json)
    if save is not None and track.done:
        _save(path, save, level_dbfs, around, options)


def _nudge_until_done(
    path: SoundPath, track: NudgeTrack, around: Conditions, options: NudgeOptions
) -> tuple[NudgeTrack, float]:
    """Go on until it is done, or the person has enough; return the last state and the level."""
    import sys

    from measure.sound.keys import Keys
    from measure.sound.selection import treble_ledger
    from measure.terminal.screen import NudgeScreen

    screen = NudgeScreen(sys.stderr if options.as_json else sys.stdout, plain=options.plain)
    ledger = treble_ledger(path)
    with Keys() as keys:
        level_dbfs = options.level_dbfs
        if level_dbfs is None:
            level_dbfs = _level_dbfs(path, ledger, keys)
        loop = _Loop(path, around.air, screen, keys, ledger, level_dbfs, options)
        track = loop.go_on(track)
    screen.leave()
    return track, level_dbfs


def _level_dbfs(path: SoundPath, ledger: Ledger, keys: Keys) -> float:
    """Find the level by a quiet noise from low up, and say what to change on the amplifier."""
    from measure.safety.limits import SAFE_LEVEL_DBFS
    from measure.takes.level_check import check_level

    found = check_level(
        path,
        ledger=ledger,
        keys=keys,
        cap_dbfs=SAFE_LEVEL_DBFS,
        ask=None,
        tell=lambda text: click.echo(text, err=True),
        wanted_db=WANTED_DB,
    )
    if found.advice:
        click.echo(found.advice, err=True)
    return found.peak_dbfs


class _Loop:
    """The stretches of one nudge, and what comes between them."""

    def __init__(
        self,
        path: SoundPath,
        air: Air,
        screen: NudgeScreen,
        keys: Keys,
        ledger: Ledger,
        level_dbfs: float,
        options: NudgeOptions,
    ) -> None:
        self._path, self._air, self._screen = path, air, screen
        self._keys, self._ledger = keys, ledger
        self._level_dbfs, self._options = level_dbfs, options
        self._person = _person(path)
        self._bass: Snapshot | None = None

    def go_on(self, track: NudgeTrack) -> NudgeTrack:
        """Play stretch after stretch."""
        from measure.live.nudge_run import Ended, play_cue

        if self._options.bass:
            self._longer_sweep(track.move)
        while True:
            stretch = self._stretch(track)
            track = stretch.track
            if self._options.cue and stretch.ended in {Ended.INSIDE, Ended.DONE}:
                play_cue(self._path, ledger=self._ledger, keys=self._keys)
            if stretch.ended is Ended.INSIDE:
                continue
            if stretch.ended is Ended.KEY and stretch.key.lower() == BASS_KEY:
                self._longer_sweep(track.move)
                continue
            if stretch.ended is Ended.PAUSE and self._wants_more():
                continue
            break
        if self._bass is not None and track.done:
            self._longer_sweep(track.move)
        return track

    def _stretch(self, track: NudgeTrack) -> Stretch:
        """Play one stretch."""
        from analysis.pair.nudge.pattern import nudge_pattern
        from measure.live.nudge_run import nudge

        pattern = nudge_pattern(
            sample_rate_hz=self._path.sample_rate_hz, level_dbfs=self._level_dbfs
        )
        return nudge(
            self._path,
            pattern,
            track,
            ledger=self._ledger,
            keys=self._keys,
            show=self._show,
            stop_inside=self._options.cue,
        )

    def _show(self, track: NudgeTrack) -> None:
        """Show an answer, print it where asked for, and let the simulated person act."""
        from analysis.report.pair.nudge import nudge_lines, nudge_summary
        from measure.live.nudge_run import answer_json

        screen = self._screen
        lines = nudge_lines(track, columns=screen.columns, plain=screen.plain)
        screen.show(
            [*lines, "", "b: bass   any other key: end"], nudge_summary(track, plain=screen.plain)
        )
        if self._options.as_json:
            click.echo(answer_json(track))
        if self._person is not None:
            self._person.see(track)

    def _wants_more(self) -> bool:
        """Ask whether to go on after the pause; no where nobody can answer."""
        self._screen.leave()
        text = "Three minutes are over, and the sweeps have stopped."
        if not self._keys.live:
            click.echo(f"{text} Start again to go on.", err=True)
            return False
        with self._keys.lent():
            return click.confirm(f"{text} Go on?", default=True, err=True)

    def _longer_sweep(self, moved: str) -> None:
        """Play a longer sweep, and say what the bass did since the one before."""
        from analysis.comparison.compare import compare
        from analysis.report.comparison.compare import bass_text, gain_texts
        from analysis.report.format import wrapped
        from measure.live.nudge_bass import bass_snapshot

        self._screen.leave()
        _stand_clear(self._path, self._keys, "a longer sweep for the bass")
        after = bass_snapshot(
            self._path,
            level_dbfs=self._level_dbfs,
            air=self._air,
            ledger=self._ledger,
            keys=self._keys,
            show=lambda _: None,
        )
        before, self._bass = self._bass, self._bass or after
        if before is None:
            return
        comparison = compare(before, after, moved="left" if moved == "left" else "right")
        for text in (*gain_texts(comparison), bass_text(comparison.features)):
            for line in wrapped(text, hanging=2):
                click.echo(line, err=self._options.as_json)


def _stand_clear(path: SoundPath, keys: Keys, what: str) -> None:
    """Give the person at the loudspeaker time to step aside."""
    from measure.sound.watch import wait_unless_stopped

    click.echo(
        f"In {STEP_ASIDE_S} s comes {what}: stand clear and be quiet. Any key stops it.", err=True
    )
    wait_unless_stopped(path, keys, STEP_ASIDE_S)


def _person(path: SoundPath) -> SimulatedPerson | None:
    """Return somebody who slides the loudspeaker, in the simulated room."""
    from measure.sound.simulation.person import SimulatedPerson
    from measure.sound.simulation.room import SimulatedRoom

    return SimulatedPerson(path) if isinstance(path, SimulatedRoom) else None


def _save(
    path: SoundPath, name: str, level_dbfs: float, around: Conditions, options: NudgeOptions
) -> None:
    """Make a full take, and print its verdict."""
    from analysis.report.reading.lines import reading_lines
    from measure.sound.keys import Keys
    from measure.sound.selection import treble_ledger
    from measure.takes.description import Labels, sound_facts
    from measure.takes.take import make_take

    programme = asked_programme(SAVED_PROGRAMME, level_dbfs=level_dbfs, rate_hz=path.sample_rate_hz)
    with Keys() as keys:
        _stand_clear(path, keys, "the full take")
        take = make_take(
            path,
            programme,
            folder=options.folder,
            labels=Labels(name=name, pair=None, room=None, place=None),
            conditions=around,
            level=None,
            confirmed=None,
            sound=sound_facts(path),
            ledger=treble_ledger(path),
            keys=keys,
            show=lambda _: None,
            step=lambda _: None,
        )
    tolerance_m = options.tolerance_mm * 1e-3
    lines = reading_lines(take.reading.reading, tolerance_m=tolerance_m, brief=True)
    print_lines([*lines, f"Kept in {take.folder}."], to_error=options.as_json)


def _farewell(track: NudgeTrack, save: str | None) -> list[str]:
    """Return what to say at the end."""
    from analysis.report.pair.nudge import nudge_summary

    lines = [nudge_summary(track)]
    if save is not None and not track.done:
        lines.append(f"It isn't done, so no take {save} was made.")
    return lines
