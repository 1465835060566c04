"""What is said of a fit: its numbers, its limits, and when nothing is advised."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.placement.fit.parameters import N_PARAMETERS, PRIOR_STD, offsets_with
from analysis.placement.fit.room_fit import RoomFit
from analysis.report.placement.room_fit import fit_lines, no_advice_lines


@pytest.fixture
def fit() -> RoomFit:
    return RoomFit(
        offsets=offsets_with(length_scale=0.008, side_loss=np.log(2), roll_off=np.log(40 / 30)),
        offsets_std=np.full(N_PARAMETERS, 0.1),
        covariance=np.diag(PRIOR_STD**2),
        n_readings=5,
        kept=True,
        timing=False,
        before_db=2.21,
        after_db=0.87,
        left_out_before_db=2.34,
        left_out_db=0.95,
        undecided=("height_scale",),
        inseparable=(("floor_loss", "ceiling_loss"),),
        band_error_db=np.ones(19),
        trusted=np.where(np.arange(19) == 3, 0.0, 1.0),
    )


def said(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


def test_what_was_fitted_and_what_wasn_t(fit: RoomFit) -> None:
    # Known input.
    text = said(fit_lines(fit))
    assert "5 readings: the unfitted room is off by 2.2 dB rms, the fitted one by 0.9 dB" in text
    assert "foretold to 0.9 dB (unfitted 2.3 dB), so the fit is kept" in text
    assert "the length +0.8 ± 10.0 %" in text
    assert "the losses of side walls × 2.00 (within a factor of 1.11)" in text
    assert "the loudspeakers' lower end 40 ± 4 Hz" in text
    assert "couldn't decide: the height." in text
    assert "Known only together, each alone is a guess: the floor's losses and the ceil" in text
    assert "timing" not in text
    assert "The timing between left and right was" in said(fit_lines(replace(fit, timing=True)))
    assert "part at 35 Hz: no choice by the fit rests on these bands" in text


def test_without_a_fit_no_parameter_is_told(fit: RoomFit) -> None:
    # Invariant.
    text = said(fit_lines(replace(fit, kept=False, left_out_db=2.9)))
    assert "so the unfitted room is kept" in text
    assert "Fitted" not in text
    alone = replace(fit, kept=False, n_readings=1, left_out_db=None, left_out_before_db=None)
    assert "1 reading:" in said(fit_lines(alone))
    assert "with one reading nothing can be foretold" in said(fit_lines(alone))


def test_why_nothing_is_advised(fit: RoomFit) -> None:
    # Known input: 12 bands of 19.
    wild = replace(fit, trusted=np.where(np.arange(19) < 12, 0.0, 1.0))
    assert wild.contradicted
    assert "in 12 of 19 bands" in said(no_advice_lines(wild))
    assert not fit.contradicted
