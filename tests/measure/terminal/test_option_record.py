"""Records of options. Truth: the two records below, as they are written here."""

from __future__ import annotations

from dataclasses import dataclass, field

import click
import pytest
from click.testing import CliRunner

from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class Air:
    """A record inside another."""

    temperature_c: float = 20.0
    wind_m_s: float = 0.0
    note: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Whole:
    """A record with one inside."""

    name: str
    loud: bool = False
    tags: tuple[str, ...] = ()
    air: Air = field(default_factory=Air)


SEEN: list[Whole] = []


@defaults_from(Whole)
@click.command("whole")
@click.argument("name")
@click.option("--loud", is_flag=True)
@click.option("--tag", "tags", multiple=True)
@click.option("--temperature", "temperature_c", type=float, show_default=True, help="Of the air.")
@click.option("--wind", "wind_m_s", type=float)
@click.option("--note")
def command(**given: object) -> None:
    SEEN.append(options_from(Whole, given))


def test_nothing_given_is_the_record_of_defaults() -> None:
    assert CliRunner().invoke(command, ["a"]).exit_code == 0
    assert SEEN.pop() == Whole(name="a")


def test_what_must_be_given_is_asked_for() -> None:
    done = CliRunner().invoke(command, [])
    assert (done.exit_code, SEEN) == (2, [])
    assert "Missing argument 'NAME'" in done.output


def test_what_is_given_reaches_the_record_inside() -> None:
    arguments = ["a", "--loud", "--tag", "x", "--tag", "y", "--temperature", "3", "--note", "n"]
    assert CliRunner().invoke(command, arguments).exit_code == 0
    air = Air(temperature_c=3.0, note="n")
    assert SEEN.pop() == Whole(name="a", loud=True, tags=("x", "y"), air=air)


def test_the_help_shows_the_default_of_the_record() -> None:
    assert "Of the air.  [default: 20.0]" in CliRunner().invoke(command, ["--help"]).output


@pytest.mark.parametrize("given", [{"name": "a", "nam": "b"}, {"loud": True}])
def test_a_name_too_many_or_too_few_is_an_error(given: dict[str, object]) -> None:
    with pytest.raises(TypeError, match="nam"):
        options_from(Whole, given)
