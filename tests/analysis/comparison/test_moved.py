"""Which loudspeaker moved, by the early reflections."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import fft

from analysis.comparison.moved import SAME_DB, STAYED_DB, infer_moved, residual_db


def test_a_copy_leaves_nothing(before: Any) -> None:
    # Invariant: delay, gain and polarity of the recorder don't count as a move.
    same = before.left
    later = replace(same, samples=-0.5 * np.roll(same.samples, 7), noise=0.5 * same.noise)
    assert residual_db(same, replace(later, samples=-later.samples)) < SAME_DB


def test_a_part_of_a_sample_leaves_nothing(before: Any) -> None:
    # Known input: a delay of 0.37 samples by linear phase.
    samples = before.left.samples
    shift = np.exp(-2j * np.pi * fft.rfftfreq(samples.size) * 0.37)
    later = fft.irfft(fft.rfft(samples) * shift, samples.size)
    assert residual_db(before.left, replace(before.left, samples=later)) < SAME_DB


def noisy(response: Any, level: float, seed: int) -> Any:
    """Return the response with other noise, its RMS `level` of the response's peak."""
    rng = np.random.default_rng(seed)
    size = level * float(np.max(np.abs(response.samples)))
    return replace(
        response,
        samples=response.samples + size * rng.standard_normal(response.samples.size),
        noise=size * rng.standard_normal(response.noise.size),
    )


def test_noise_alone_is_no_move(before: Any) -> None:
    # Known input: the same response twice with fresh noise.
    residual = residual_db(noisy(before.left, 1e-3, 1), noisy(before.left, 1e-3, 2))
    assert residual is not None
    assert residual < STAYED_DB


def test_under_much_noise_nothing_is_said(before: Any) -> None:
    # Known input: noise as strong as what a move leaves.
    assert residual_db(noisy(before.left, 0.05, 1), noisy(before.left, 0.05, 2)) is None
    assert infer_moved(None, -60) == "unknown"


def test_a_moved_loudspeaker_leaves_more_than_one_that_stayed(before: Any, after: Any) -> None:
    # Known input: the right one moved by 12 mm.
    assert residual_db(before.left, after.left) < SAME_DB
    assert residual_db(before.right, after.right) > STAYED_DB


@pytest.mark.parametrize(
    ("left_db", "right_db", "moved"),
    [
        (-60, -60, "none"),
        (-45, -60, "none"),
        (-30, -28, "none"),
        (-10, -40, "left"),
        (-60, -36, "right"),
        (-24, -10, "right"),
        (-5, -8, "both"),
        (-20, -15, "unknown"),
    ],
)
def test_the_rule(left_db: float, right_db: float, moved: str) -> None:
    # Known input: each branch of the rule.
    assert infer_moved(left_db, right_db) == moved
