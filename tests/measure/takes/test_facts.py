"""The text of ``take.toml``."""

from __future__ import annotations

import itertools
import re
import tomllib
from datetime import datetime, timedelta, timezone
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.takes.facts import (
    AirFacts,
    Distances,
    Driver,
    DriverXrun,
    ExposureFacts,
    Level,
    MicrophoneFacts,
    Occasion,
    Played,
    Recorded,
    RepeatedPass,
    Sound,
    TakeDocument,
    TakeFacts,
    field_comment,
    take_document,
    take_text,
)

RECORDED = Recorded(
    file="recording.wav",
    sha256="0" * 64,
    n_frames=480_000,
    n_channels=2,
    sample_rate_hz=48_000,
    n_never_delivered=512,
    never_delivered=((1024, 512),),
)

FULL = TakeFacts(
    take=Occasion(
        name="before",
        started=datetime(2026, 3, 1, 20, 15, 7, tzinfo=timezone(timedelta(hours=1))),
        pair="the small ones",
        room="attic",
        place="seat",
    ),
    device=Sound(
        path="a test",
        sample_rate_hz=48_000,
        simulated=True,
        host="none",
        output="out",
        input="in",
        output_channels=(3, 4),
        input_channel=1,
        reference_channel=2,
    ),
    level=Level(level_dbfs=-24.5, noise_dbfs=-70.25, snr_db=41.0, sides_confirmed=True),
    programme=Played(
        planned_order="LRRL",
        played_order="LRRLR",
        repeated=(RepeatedPass(number=2, side="R", at_frame=1_500_000, reason="a cough"),),
    ),
    driver=Driver(n_xruns=1, xruns=(DriverXrun(frame=4096, kind="input overflow"),)),
    exposure=ExposureFacts(duration_s=24.0, level_dba=65.0, day_share=1e-5),
    air=AirFacts(temperature_c=21.5, measured=True, relative_humidity_percent=45.0),
    microphone=MicrophoneFacts(
        name="the omni",
        correction_file="omni.txt",
        kept_as="microphone.txt",
        sha256="1" * 64,
        file_is="response",
        angle_deg=90.0,
    ),
)

BARE = TakeFacts(
    take=Occasion(name="x", started=FULL.take.started),
    device=Sound(path="a test", sample_rate_hz=48_000),
    level=Level(level_dbfs=-20.0),
    programme=Played(planned_order="LR", played_order="LR"),
    driver=Driver(n_xruns=0),
)


@pytest.mark.parametrize("facts", [FULL, BARE])
def test_the_text_says_everything(facts: TakeFacts) -> None:
    # Known input, read by the standard library.
    content = take_document(facts, RECORDED, version="1.2.3")
    table = tomllib.loads(take_text(content))
    assert table["schema"] == 1
    assert table["made_by"] == "apexline 1.2.3"
    assert table["take"]["started"] == FULL.take.started
    back = msgspec.convert(table, TakeDocument)
    assert back == content
    assert back.facts == facts
    assert back.recording == RECORDED


def test_what_is_not_known_is_left_out() -> None:
    table = tomllib.loads(take_text(take_document(BARE, RECORDED, version="1")))
    assert set(table) == {
        *("schema", "made_by", "take", "device", "level", "programme", "recording", "driver")
    }
    assert set(table["level"]) == {"level_dbfs"}


@settings(max_examples=50, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1))
def test_any_text_comes_back(text: str) -> None:
    # Invariant.
    named = msgspec.structs.replace(BARE.take, name=text, pair=text)
    facts = msgspec.structs.replace(BARE, take=named)
    back = tomllib.loads(take_text(take_document(facts, RECORDED, version="1")))
    assert (back["take"]["name"], back["take"]["pair"]) == (text, text)


def test_every_key_has_its_comment() -> None:
    lines = take_text(take_document(FULL, RECORDED, version="1")).splitlines()
    for before, line in itertools.pairwise(lines):
        if re.match(r"\w+ = ", line):
            assert before.startswith("# "), line


def tables() -> dict[str, type[msgspec.Struct]]:
    """Return the file's tables by their names."""
    plain = {
        "take": Occasion,
        "device": Sound,
        "level": Level,
        "programme": Played,
        "recording": Recorded,
        "driver": Driver,
        "exposure": ExposureFacts,
        "distances": Distances,
        "air": AirFacts,
        "microphone": MicrophoneFacts,
    }
    return plain | {"programme.repeated[]": RepeatedPass, "driver.xruns[]": DriverXrun}


def test_every_key_is_documented_and_every_documented_one_there() -> None:
    # Truth: the program; docs/take.md must keep up with it.
    page = (Path(__file__).parents[3] / "docs" / "take.md").read_text(encoding="utf-8")
    section = page.split("## take.toml")[1].split("\n## ")[0]
    documented = set(re.findall(r"^\| `([^`]+)` \|", section, re.MULTILINE))
    keys = {"schema", "made_by"}
    for name, table in tables().items():
        keys |= {f"{name}.{key}" for key in table.__struct_fields__}
    nested = {"programme.repeated", "driver.xruns"}
    assert documented == keys - nested
    assert field_comment(Played, "repeated")
