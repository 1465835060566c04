"""``apexline sweep``: write a sweep programme and its sheet."""

from __future__ import annotations

from pathlib import Path

import click

RATES_HZ = ("44100", "48000", "88200", "96000", "176400", "192000")
LONGEST_S = 60.0
MOST_PASSES = 16


@click.command("sweep", short_help="Write a sweep programme to play.")
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--start", "start_hz", default=15.0, show_default=True, help="First frequency, Hz.")
@click.option(
    "--end",
    "stop_hz",
    type=float,
    help="Last frequency, Hz; earlier for fragile tweeters.  [default: 22000, or 0.46 of the rate]",
)
@click.option(
    "--seconds", "duration_s", default=6.0, show_default=True, help="Length of a pass."
)
@click.option(
    "--level", "level_dbfs", default=-20.0, show_default=True, help="Peak, dB re full scale."
)
@click.option(
    "--rate",
    "rate_hz",
    type=click.Choice(RATES_HZ),
    default="48000",
    show_default=True,
    help="Sampling frequency, Hz.",
)
@click.option(
    "--order",
    default="LRRL",
    show_default=True,
    help="Which loudspeaker plays each pass; L R R L cancels a clock difference.",
)
@click.option(
    "--tail", "tail_s", default=1.5, show_default=True, help="Silence after a pass, seconds."
)
@click.option(
    "--louder-than-safe",
    "louder",
    is_flag=True,
    help="Allow a --level above -20, which can hurt ears and tweeters.",
)
@click.option("--force", is_flag=True, help="Replace an existing sweep and its sheet.")
@click.option("--json", "json_target", metavar="FILE", help="Write the facts as JSON; - to print.")
def command(
    out: Path,
    start_hz: float,
    stop_hz: float | None,
    duration_s: float,
    level_dbfs: float,
    rate_hz: str,
    order: str,
    tail_s: float,
    louder: bool,
    force: bool,
    json_target: str | None,
) -> None:
    """Write a stereo sweep programme to OUT.wav, and its sheet beside it.

    Play it by anything: channel 1 is the left loudspeaker. Record the whole of it with
    one microphone at the seat, then use `apexline read`.
    """
    from importlib.metadata import version

    from measure.audio_files import write_sound
    from measure.output import check_writable, refuse_existing, write_json
    from measure.safety import cautions, check_level
    from measure.sheet import sheet_path, sheet_text, write_sheet
    from measure.stimulus import checksum, programme_samples

    check_level(level_dbfs, louder=louder)
    programme = _programme(
        start_hz, stop_hz, duration_s, level_dbfs, int(rate_hz), order.upper(), tail_s
    )
    if out.suffix.lower() != ".wav":
        msg = f"{out} must end in .wav"
        raise click.UsageError(msg)
    sheet = sheet_path(out)
    for target in (out, sheet):
        check_writable(str(target))
        refuse_existing(target, force=force)
    check_writable(json_target)
    samples = programme_samples(programme)
    sha256 = checksum(samples)
    write_sound(out, samples, programme.sample_rate_hz, encoding="PCM_24")
    write_sheet(sheet, sheet_text(programme, sha256=sha256, version=version("apexline")))
    quiet = json_target == "-"
    click.echo(
        f"Wrote {out} ({programme.duration_s:.1f} s, passes {' '.join(programme.order)}) and "
        f"{sheet}.",
        err=quiet,
    )
    click.echo("\n" + cautions(), err=quiet)
    if json_target is not None:
        write_json(_document(programme, out, sheet, sha256), json_target)


def _programme(  # noqa: ANN202
    start_hz: float,
    stop_hz: float | None,
    duration_s: float,
    level_dbfs: float,
    rate_hz: int,
    order: str,
    tail_s: float,
):
    """Return the programme, or refuse what can't be one."""
    from analysis.programme import Programme
    from analysis.sweep import Sweep
    from measure.safety import TOP_TAPER_DB

    end_hz = min(22_000.0, 0.46 * rate_hz) if stop_hz is None else stop_hz
    if end_hz >= rate_hz / 2:
        msg = f"--end {end_hz:g} Hz must lie below half the rate, {rate_hz / 2:g} Hz"
        raise click.UsageError(msg)
    if not start_hz > 0 or start_hz >= end_hz:
        msg = f"--start {start_hz:g} Hz must lie above 0 and below --end {end_hz:g} Hz"
        raise click.UsageError(msg)
    if end_hz < 4 * start_hz:
        msg = f"--end {end_hz:g} Hz must lie two octaves or more above --start {start_hz:g} Hz"
        raise click.UsageError(msg)
    if not 0.1 <= duration_s <= LONGEST_S:
        msg = f"--seconds {duration_s:g} must lie from 0.1 to {LONGEST_S:g}"
        raise click.UsageError(msg)
    if not 0.2 <= tail_s <= 10:
        msg = f"--tail {tail_s:g} must lie from 0.2 to 10 seconds"
        raise click.UsageError(msg)
    if not order or set(order) - {"L", "R"} or len(order) > MOST_PASSES:
        msg = f"--order {order!r} must be up to {MOST_PASSES} letters L and R, such as LRRL"
        raise click.UsageError(msg)
    return Programme(
        sweep=Sweep(
            start_hz=start_hz,
            stop_hz=end_hz,
            duration_s=duration_s,
            level_dbfs=level_dbfs,
            top_taper_db=TOP_TAPER_DB,
        ),
        order=order,
        sample_rate_hz=rate_hz,
        lead_in_s=1.0,
        tail_s=tail_s,
    )


def _document(programme, out: Path, sheet: Path, sha256: str) -> dict[str, object]:  # noqa: ANN001
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
        "order": programme.order,
        "sample_rate_hz": programme.sample_rate_hz,
        "starts_s": programme.starts_s,
        "total_s": programme.duration_s,
    }
