"""``apexline sweep``: write a sweep programme and its sheet."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.commands.options import FILE
from measure.commands.options.programme import TAIL_S, ProgrammeOptions, asked_programme
from measure.terminal.number_type import Number
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import print_lines

if TYPE_CHECKING:
    from analysis.signals.programme import Programme
    from measure.files.output import JsonObject


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepOptions:
    """What is played, and where it is written."""

    out: Path
    programme: ProgrammeOptions = field(default_factory=ProgrammeOptions)
    level_dbfs: float = -20.0
    rate_hz: int = 48_000
    tail_s: float = TAIL_S
    louder: bool = False
    force: bool = False
    json_target: str | None = None


@defaults_from(SweepOptions)
@click.command("sweep")
@click.argument("out", type=FILE, metavar="OUT.wav")
@click.option(
    "--start",
    "start_hz",
    type=Number(),
    show_default=True,
    help="First frequency, Hz.",
)
@click.option(
    "--end",
    "stop_hz",
    type=Number(),
    help="Last frequency, Hz; lower for fragile tweeters.  "
    "[default: 22000, or 0.46 of the rate where that is lower]",
)
@click.option(
    "--seconds",
    "duration_s",
    type=Number(),
    show_default=True,
    help="Length of a pass, s.",
)
@click.option(
    "--level",
    "level_dbfs",
    type=Number(),
    show_default=True,
    help="Peak, dB re full scale.",
)
@click.option("--rate", "rate_hz", type=int, show_default=True, help="Sampling frequency, Hz.")
@click.option(
    "--order",
    show_default=True,
    help="Which loudspeaker plays each pass; L R R L cancels a clock difference.",
)
@click.option(
    "--tail",
    "tail_s",
    type=Number(),
    show_default=True,
    help="Silence after a pass, s.",
)
@click.option(
    "--louder-than-safe",
    "louder",
    is_flag=True,
    help="Allow a --level above -20, which can hurt ears and tweeters.",
)
@click.option("--force", is_flag=True, help="Replace an existing sweep and its sheet.")
@click.option("--json", "json_target", metavar="FILE", help="Write the facts as JSON; - to print.")
def command(**given: object) -> None:
    """Write a stereo sweep programme to OUT.wav, and its sheet beside it.

    Play it by anything: channel 1 is the left loudspeaker. Record the whole of it with
    one microphone at the seat, then use `apexline read`.
    """
    run(options_from(SweepOptions, given))


def run(options: SweepOptions) -> None:
    """Write the sweep and its sheet, and say how to play it safely."""
    from measure.files.output import check_json_target, check_writable, refuse_existing, write_json
    from measure.safety.limits import cautions, require_safe_level
    from measure.takes.sheet import sheet_path

    out = options.out
    require_safe_level(options.level_dbfs, louder=options.louder)
    programme = asked_programme(
        options.programme,
        level_dbfs=options.level_dbfs,
        rate_hz=options.rate_hz,
        tail_s=options.tail_s,
    )
    if out.suffix.lower() != ".wav":
        msg = f"{out} must end in .wav"
        raise click.UsageError(msg)
    sheet = sheet_path(out)
    for target in (out, sheet):
        check_writable(str(target))
        refuse_existing(target, force=options.force)
    check_json_target(options.json_target)
    sha256 = _write(out, sheet, programme)
    lines = [
        f"Wrote {out} ({programme.duration_s:.1f} s, passes {' '.join(programme.order)})",
        f"and {sheet}: keep it, recordings are read by it.\n",
        cautions(),
    ]
    print_lines(lines, to_error=options.json_target == "-")
    if options.json_target is not None:
        document = _document(programme, out=out, sheet=sheet, sha256=sha256)
        write_json(document, options.json_target)


def _write(out: Path, sheet: Path, programme: Programme) -> str:
    """Write the sweep and its sheet, both or none, and return the checksum."""
    from importlib.metadata import version

    from measure.files.audio_files import encode_wav
    from measure.files.output import text_writer, write_together
    from measure.sound.stimulus import checksum, programme_samples
    from measure.takes.sheet import sheet_text
    from measure.terminal.progress_line import show_progress

    with show_progress("Making the sweep"):
        samples = programme_samples(programme)
        sha256 = checksum(samples)
        text = sheet_text(programme, sha256=sha256, version=version("apexline"))
        rate_hz = programme.sample_rate_hz

        def write_wav(path: Path) -> None:
            encode_wav(path, samples, rate_hz, encoding="PCM_24")

        write_together({out: write_wav, sheet: text_writer(text)})
    return sha256


def _document(programme: Programme, *, out: Path, sheet: Path, sha256: str) -> JsonObject:
    """Return the facts as JSON knows them."""
    sweep = programme.sweep
    return {
        "schema": 1,
        "command": "sweep",
        "sweep_file": str(out),
        "sheet_file": str(sheet),
        "sha256": sha256,
        "start_hz": sweep.start_hz,
        "stop_hz": sweep.stop_hz,
        "duration_s": sweep.duration_s,
        "level_dbfs": sweep.level_dbfs,
        "top_taper_db": sweep.top_taper_db,
        "order": programme.order,
        "sample_rate_hz": programme.sample_rate_hz,
        "lead_in_s": programme.lead_in_s,
        "tail_s": programme.tail_s,
        "starts_s": programme.starts_s,
        "total_s": programme.duration_s,
    }
