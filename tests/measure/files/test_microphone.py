"""Microphone files in the shapes in which they are found. Truth: known input throughout."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.errors import MicrophoneFileError
from measure.files.microphone import read_microphone

FREQUENCY_HZ = [20.5, 1000.0, 20_000.0]
LEVEL_DB = [-1.5, 0.0, 2.25]


def stored(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "mic.txt"
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.parametrize(
    "text",
    [
        "20.5 -1.5\n1000 0\n20000 2.25\n",
        "20.5\t-1.5\r\n1000\t0\r\n20000\t2.25\r\n",
        "20.5,-1.5\n1000,0\n20000,2.25",
        "20.5, -1.5\n1000, 0\n20000, 2.25",
        "20.5 , -1.5\n1000 , 0\n20000 , 2.25",
        "20.5;-1.5;\n1000;0;\n20000;2.25;",
        "20,5;-1,5\n1000;0\n20000;2,25",
        "20,5 -1,5\n1000,0 0,0\n20000,0 2,25",
        "20,5\t-1,5\n1000\t0\n20000\t2,25",
        "20,5, -1,5\n1000, 0\n20000, 2,25",
        "20,5 -1.5\n1000 0\n20000 2.25",
        "20.5 -1.5 30\n1000 0 -10\n20000 2.25 -90.5",
        "20.5,-1.5,30\n1000,0,-10\n20000,2.25,-90.5",
        "2.05e1 -15e-1\n1E3 0\n2e4 +2.25",
        '"20.5","-1.5"\n"1000","0"\n"20000","2.25"',
        "# made up\n* so is this\n; and this\n\n20.5 -1.5 # low\n1000 0\n\n20000 2.25\n# end",
        '"Sens. -37.1 dB, number 1"\n20.5 -1.5\n1000 0\n20000 2.25',
        "-37.1\n20.5 -1.5\n1000 0\n20000 2.25",
        "Frequency (Hz)  Level (dB)\n20.5 -1.5\n1000 0\n20000 2.25",
        "\ufeff20.5 -1.5\n1000 0\n20000 2.25",
        "20.5\u00a0-1.5\n1000\u00a00\n20000\u00a02.25",
    ],
)
def test_every_shape_reads_alike(tmp_path: Path, text: str) -> None:
    microphone = read_microphone(stored(tmp_path, text), holds="correction")
    np.testing.assert_array_equal(microphone.frequency_hz, FREQUENCY_HZ)
    np.testing.assert_array_equal(microphone.correction_db, LEVEL_DB)


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1", "utf-16"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    path = stored(tmp_path, "# 0° für Mikrofon\n20.5 -1.5\n1000 0\n20000 2.25", encoding)
    np.testing.assert_array_equal(read_microphone(path, holds="correction").correction_db, LEVEL_DB)


def test_a_response_is_subtracted_and_a_correction_added(tmp_path: Path) -> None:
    path = stored(tmp_path, "100 3\n10000 -2")
    response = read_microphone(path, holds="response", incidence_deg=90)
    correction = read_microphone(path, holds="correction")
    assert (response.at_db(100), response.at_db(10_000)) == (-3, 2)
    assert (correction.at_db(100), correction.at_db(10_000)) == (3, -2)
    assert (response.incidence_deg, correction.incidence_deg) == (90, None)


def test_between_and_beyond_the_rows(tmp_path: Path) -> None:
    # Closed form: half the octaves, half the level; flat beyond the ends.
    microphone = read_microphone(stored(tmp_path, "100 0\n400 6"), holds="correction")
    assert microphone.at_db(200) == pytest.approx(3, abs=1e-12)
    np.testing.assert_allclose(microphone.curve_db([20, 100, 400, 20_000]), [0, 0, 6, 6])


@settings(max_examples=50, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(10, 200_000), st.integers(-400, 400)),
        min_size=2,
        max_size=40,
        unique_by=lambda row: row[0],
    ),
    st.sampled_from(["{} {}", "{};{}", "{}\t{}", "{}, {}"]),
    st.booleans(),
)
def test_written_tables_are_read_back(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[tuple[int, int]],
    shape: str,
    decimal_comma: bool,
) -> None:
    # Invariant: tenths written with either decimal sign come back.
    rows.sort()
    lines = []
    for frequency, level in rows:
        fields = [f"{frequency / 10:.1f}", f"{level / 10:.1f}"]
        if decimal_comma:
            fields = [field.replace(".", ",") for field in fields]
        lines.append(shape.format(*fields))
    path = stored(tmp_path_factory.mktemp("mic"), "\n".join(lines))
    microphone = read_microphone(path, holds="correction")
    np.testing.assert_allclose(microphone.frequency_hz, [row[0] / 10 for row in rows])
    np.testing.assert_allclose(microphone.correction_db, [row[1] / 10 for row in rows])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "holds 0 lines"),
        ("20 1", "holds 1 lines"),
        ("# only\n# comments", "holds 0 lines"),
        ("30 1\n20 1", "line 2: 20 Hz follows 30 Hz"),
        ("20 1\n20 1", "line 2: 20 Hz follows 20 Hz"),
        ("999 1\n1,000 1", "thousands without a comma"),
        ("0 1\n10 1", "line 1: 0 Hz must lie"),
        ("-20 1\n10 1", "line 1: -20 Hz must lie"),
        ("20 nan\n30 1", "line 1: nan dB"),
        ("20 1\n30 inf", "line 2: inf dB"),
        ("20 94\n30 94", "line 1: 94 dB is no microphone's deviation"),
        ("20 1\nmiddle\n30 1", "line 2: 'middle'"),
        ("20 1\n-37\n30 1", "line 2: '-37'"),
        ("20,0,-1,5\n30,0,-1,5", "line 1: '20,0,-1,5'"),
        ("20 1\n30 1 2", "line 2: has 3 columns"),
        ("RIFF\0\0\0\0WAVE", "isn't text"),
    ],
)
def test_what_is_no_correction_is_refused(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(MicrophoneFileError, match=message):
        read_microphone(stored(tmp_path, text), holds="response")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(MicrophoneFileError, match="No such file"):
        read_microphone(tmp_path / "none.txt", holds="response")
    with pytest.raises(MicrophoneFileError, match="check name and rights"):
        read_microphone(tmp_path, holds="response")


def test_arguments_are_checked(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="'response' or 'correction'"):
        read_microphone(tmp_path, holds="inverse")
    with pytest.raises(ValueError, match="0, 90 or None"):
        read_microphone(tmp_path, holds="response", incidence_deg=45)
