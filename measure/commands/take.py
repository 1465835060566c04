"""``apexline take``: play, record, judge and keep a take."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.commands.options import FILE
from measure.commands.options.cautions import show_cautions
from measure.commands.options.conditions import (
    ConditionOptions,
    condition_options,
    read_conditions,
)
from measure.commands.options.programme import ProgrammeOptions, asked_programme
from measure.commands.options.sound import SoundOptions, sound_options, sound_path
from measure.terminal.number_type import Number, NumberRange
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import print_lines

if TYPE_CHECKING:
    from collections.abc import Callable

    from analysis.signals.programme import Programme
    from analysis.signals.sound_level import RecordedLevel
    from measure.safety.treble_ledger import Ledger
    from measure.sound.keys import Keys
    from measure.sound.path import SoundPath
    from measure.takes.conditions import Conditions
    from measure.takes.description import Labels
    from measure.takes.level_check import LevelFound, Side
    from measure.takes.run import Progress
    from measure.takes.take import Calibrate, Take
    from measure.terminal.progress_line import LiveLine

WIDTH = 78


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeOptions:
    """What is played, where it is kept, and what is known around it."""

    name: str
    pair: str | None = None
    room: str | None = None
    place: str | None = None
    folder: Path = Path()
    sound: SoundOptions = field(default_factory=SoundOptions)
    level_dbfs: float | None = None
    wanted_db: float = 30.0
    louder: bool = False
    programme: ProgrammeOptions = field(default_factory=ProgrammeOptions)
    countdown_s: int = 5
    full_scale_dba: float | None = None
    ask_meter: bool = False
    yes: bool = False
    accept_cautions: bool = False
    conditions: ConditionOptions = field(default_factory=ConditionOptions)
    tolerance_mm: float = 2.0
    details: bool = False


@defaults_from(TakeOptions)
@click.command("take", short_help="Play a sweep, record it, and keep what it says.")
@click.argument("name")
@click.option("--pair", help="Which loudspeakers stand there, in your words.")
@click.option("--room", help="Room file (`apexline starter`), or the room's name.")
@click.option("--place", help="Where the loudspeakers stand, in your words.")
@click.option(
    "--log",
    "folder",
    type=FILE,
    help="Logbook, or folder for takes.  [default: here]",
)
@sound_options
@click.option(
    "--level",
    "level_dbfs",
    type=NumberRange(-80, 0),
    help="Peak of the sweep, dBFS, without a level check.",
)
@click.option(
    "--wanted",
    "wanted_db",
    type=NumberRange(15, 60),
    show_default=True,
    help="Sweep above the room's noise that the level check looks for, dB.",
)
@click.option(
    "--louder-than-safe",
    "louder",
    is_flag=True,
    help="Let the level check go up to -12 dBFS, not only to -20: ears and tweeters!",
)
@click.option(
    "--seconds",
    "duration_s",
    type=Number(),
    show_default=True,
    help="Length of a pass.",
)
@click.option(
    "--start",
    "start_hz",
    type=Number(),
    show_default=True,
    help="First frequency, Hz.",
)
@click.option("--end", "stop_hz", type=Number(), help="Last frequency, Hz; lower spares tweeters.")
@click.option("--order", show_default=True, help="Order of the passes.")
@click.option(
    "--countdown",
    "countdown_s",
    type=click.IntRange(0, 120),
    show_default=True,
    help="Seconds to walk away before the sweep.",
)
@click.option(
    "--full-scale-dba",
    type=NumberRange(60, 200),
    help="Sound level, dB(A), that reads as full scale, where it is known: tells the dose.",
)
@click.option(
    "--ask-meter", is_flag=True, help="Ask afterwards what a sound level meter showed at most."
)
@click.option("--yes", is_flag=True, help="Don't ask which loudspeaker sounded.")
@click.option(
    "--accept-cautions", is_flag=True, help="Accept the cautions without being asked; read them."
)
@condition_options
@click.option(
    "--tolerance",
    "tolerance_mm",
    type=NumberRange(min=0.1),
    show_default=True,
    help="Difference that counts as equal, mm.",
)
@click.option("--details", is_flag=True, help="After the verdict, what it rests on.")
def command(**given: object) -> None:
    """Play a sweep, record it at the seat, and keep it as the take NAME.

    First a quiet noise finds the level and shows that left is left. Any key stops the
    sound at once.
    """
    run(options_from(TakeOptions, given))


def run(options: TakeOptions) -> None:
    """Make a take, and say what it says."""
    from analysis.report.comparison.move_promise import answer_text
    from analysis.report.reading.lines import reading_lines
    from measure.files.microphone import correction_lines
    from measure.logbook.entries.moves import answer_move_in
    from measure.logbook.folder import takes_folder
    from measure.takes.description import Labels
    from measure.takes.names import check_free

    folder = takes_folder(options.folder)
    around, room_name = _conditions(options)
    labels = Labels(name=options.name, pair=options.pair, room=room_name, place=options.place)
    _refuse_unasked(options)
    path = sound_path(options.sound)
    show_cautions(path, accepted=options.accept_cautions)
    check_free(folder, labels.name)
    take = _play_and_keep(path, labels, around, folder, options)
    click.echo()
    lines = reading_lines(
        take.reading.reading,
        source=take.reading.source_lines,
        microphone=correction_lines(around.microphone),
        tolerance_m=options.tolerance_mm * 1e-3,
        brief=not options.details,
    )
    print_lines(lines, to_error=False)
    answer = answer_move_in(folder, options.name)
    answers = [] if answer is None else [answer_text(answer)]
    for line in [*_events(take), *answers]:
        click.echo(textwrap.fill(line, WIDTH, subsequent_indent="  "))


def _conditions(options: TakeOptions) -> tuple[Conditions, str | None]:
    """Return air, room and microphone, and the room's name."""
    room = options.room
    file = Path(room) if room is not None and room.lower().endswith(".toml") else None
    return read_conditions(file, options.conditions), room if file is None else file.stem


def _refuse_unasked(options: TakeOptions) -> None:
    """Refuse a question that nobody can answer, before anything sounds."""
    from measure.errors import TakeError
    from measure.sound.keys import Keys

    if Keys().live:
        return
    if options.level_dbfs is None and not options.yes:
        msg = (
            "there is no terminal in which to say which loudspeaker sounded: start this in a "
            "terminal, or add --yes to skip that question"
        )
        raise TakeError(msg)
    if options.ask_meter:
        msg = (
            "there is no terminal in which to say what the sound level meter showed: start this "
            "in a terminal, or leave --ask-meter out"
        )
        raise TakeError(msg)


def _play_and_keep(
    path: SoundPath, labels: Labels, around: Conditions, folder: Path, options: TakeOptions
) -> Take:
    """Check the level, count down, and make the take."""
    from measure.sound.keys import Keys
    from measure.sound.selection import treble_ledger
    from measure.takes.description import sound_facts
    from measure.takes.take import make_take
    from measure.terminal.progress_line import LiveLine

    # A sweep that can't be is told before a level check for it.
    programme, level = _programme(path, options.level_dbfs, options), None
    ledger = treble_ledger(path)
    with LiveLine() as line, Keys() as keys:
        if options.level_dbfs is None:
            level = _level(path, ledger, keys, options)
            programme = _programme(path, level.peak_dbfs, options)
        _count_down(path, keys, line, options.countdown_s)
        return make_take(
            path,
            programme,
            folder=folder,
            labels=labels,
            conditions=around,
            level=level,
            confirmed=None if level is None else not options.yes,
            sound=sound_facts(path),
            ledger=ledger,
            keys=keys,
            show=_progress_on(line),
            step=lambda text: line.show(f"{text} ..."),
            calibrate=_calibration(keys, options),
        )


def _calibration(keys: Keys, options: TakeOptions) -> Calibrate:
    """Return what tells what full scale means in the room."""
    from analysis.signals.sound_level import Calibration, calibration_by_meter

    def calibrate(level: RecordedLevel) -> Calibration | None:
        shown_dba = shown_by_meter(keys) if options.ask_meter else None
        if shown_dba is not None:
            found = calibration_by_meter(shown_dba, level.highest_db)
            click.echo(
                f"So full scale is {found.full_scale_dba:.0f} dB(A): give --full-scale-dba "
                f"{found.full_scale_dba:.0f} as long as the microphone's gain stays as it is.",
                err=True,
            )
            return found
        known = options.full_scale_dba
        return None if known is None else Calibration(full_scale_dba=known)

    return calibrate


def shown_by_meter(keys: Keys) -> float | None:
    """Ask what a sound level meter showed; None where the question is broken off."""
    try:
        with keys.lent():
            shown = click.prompt(
                "What did the sound level meter show at most while it played, in dB(A)?",
                type=NumberRange(30, 140),
                err=True,
            )
    except click.Abort:
        click.echo("\nNo figure, so the sound level stays unknown.", err=True)
        return None
    return float(shown)


def _level(path: SoundPath, ledger: Ledger, keys: Keys, options: TakeOptions) -> LevelFound:
    """Find the level, and say what to change on the amplifier."""
    from measure.safety.limits import CAP_DBFS, SAFE_LEVEL_DBFS
    from measure.takes.level_check import check_level

    found = check_level(
        path,
        ledger=ledger,
        keys=keys,
        cap_dbfs=CAP_DBFS if options.louder else SAFE_LEVEL_DBFS,
        ask=None if options.yes else partial(_ask_side, keys, options.sound.simulate),
        tell=lambda text: click.echo(text, err=True),
        wanted_db=options.wanted_db,
    )
    click.echo(
        f"Level: sweep at {found.peak_dbfs:.0f} dBFS, {found.snr_db:.0f} dB above the room's "
        "noise.",
        err=True,
    )
    if found.advice:
        click.echo(textwrap.fill(found.advice, WIDTH), err=True)
    return found


def _ask_side(keys: Keys, simulated: bool, side: Side) -> str:
    """Ask which loudspeaker sounded."""
    from measure.takes.level_check import ANSWERS

    if simulated:
        click.echo(f"(In the invented room the {side} one sounded.)", err=True)
    with keys.lent():
        answer = click.prompt(
            f"That was meant to be the {side} one, seen from the seat. Which sounded?  "
            "l(eft), r(ight), b(oth), n(one)",
            type=click.Choice(tuple(ANSWERS), case_sensitive=False),
            show_choices=False,
            err=True,
        )
    return ANSWERS[str(answer).lower()]


def _programme(path: SoundPath, level_dbfs: float | None, options: TakeOptions) -> Programme:
    """Return the programme at its level; at the usual one where that isn't known yet."""
    from measure.safety.limits import SAFE_LEVEL_DBFS, require_safe_level

    level_dbfs = SAFE_LEVEL_DBFS if level_dbfs is None else level_dbfs
    require_safe_level(level_dbfs, louder=options.louder)
    return asked_programme(options.programme, level_dbfs=level_dbfs, rate_hz=path.sample_rate_hz)


def _count_down(path: SoundPath, keys: Keys, line: LiveLine, seconds: int) -> None:
    """Give the person time to walk away."""
    from measure.sound.watch import wait_unless_stopped

    for left in range(seconds, 0, -1):
        line.show(f"Any key stops. The sweep starts in {left} s: stand clear and be quiet.")
        wait_unless_stopped(path, keys, 1)


def _progress_on(line: LiveLine) -> Callable[[Progress], None]:
    """Return what shows the progress on a line."""
    from math import log10

    def show(progress: Progress) -> None:
        level = 20 * log10(max(progress.peak, 1e-6))
        what = f"{progress.sounding} loudspeaker" if progress.sounding else "quiet"
        line.show(
            f"any key stops  {progress.left_s:4.0f} s left   {what:18}  input {level:4.0f} dBFS"
        )

    return show


def _events(take: Take) -> list[str]:
    """Say what happened on the way that a reading doesn't tell, and where it is kept."""
    from analysis.report.take import take_lines

    recorded = take.recorded
    lines = take_lines(
        distances=take.distances,
        repeated=recorded.repeated,
        not_repeated=recorded.not_repeated,
        n_xruns=len(recorded.xruns),
        exposure=take.exposure,
    )
    return [*lines, f'Kept in the folder "{take.folder}".']
