"""Which of many quantities changed between two groups of repeats."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.basics.repeat_statistics import Repeats, _apply_holm, _inverse_trigamma, judge_changes

N_QUANTITIES = 23


def draw(
    rng: np.random.Generator, scale: np.ndarray, *, n: int, shift: float = 0.0
) -> list[Repeats]:
    """Return a comparison: every sigma is `scale` times the stated one; the first is shifted."""
    stated = rng.uniform(0.1, 2.0, N_QUANTITIES)
    found = []
    for k in range(N_QUANTITIES):
        sigma = stated[k] * scale[k]
        before, after = rng.normal(0, sigma, (2, n))
        if k == 0:
            after = after + shift * sigma * np.sqrt(2 / n)
        found.append(
            Repeats(
                name=str(k),
                unit="dB",
                before=tuple(before),
                after=tuple(after),
                stated_std=stated[k],
            )
        )
    return found


@pytest.mark.parametrize(("n", "factor"), [(2, 1.0), (3, 0.4), (3, 2.5), (5, 1.0)])
def test_without_a_change_few_comparisons_claim_any(n: int, factor: float) -> None:
    # Known input: 250 comparisons of 23 quantities without a change, stated sigmas wrong by one
    # factor. At most 5 % may claim any; 2.6 sigma of 250 draws are allowed on top.
    rng = np.random.default_rng(4)
    scale = np.full(N_QUANTITIES, factor)
    claims = sum(
        any(one.beyond_uncertainty for one in judge_changes(draw(rng, scale, n=n)))
        for _ in range(250)
    )
    assert claims / 250 <= 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / 250)


def test_sigmas_wrong_each_in_its_way_claim_no_more() -> None:
    # Known input: true sigmas from half to double the stated, each its own.
    rng = np.random.default_rng(5)
    claims = 0
    for _ in range(250):
        scale = np.exp(rng.uniform(-np.log(2), np.log(2), N_QUANTITIES))
        claims += any(one.beyond_uncertainty for one in judge_changes(draw(rng, scale, n=3)))
    assert claims / 250 <= 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / 250)


@pytest.mark.parametrize("n", [1, 3, 5])
def test_a_change_of_five_sigma_is_seen(n: int) -> None:
    # Known input: one quantity of 23 changed by five sigma of its change.
    rng = np.random.default_rng(6)
    scale = np.full(N_QUANTITIES, 1.0)
    seen = sum(
        judge_changes(draw(rng, scale, n=n, shift=5.0))[0].beyond_uncertainty for _ in range(150)
    )
    assert seen / 150 >= 0.90


def test_one_quantity_alone_is_a_plain_t_test() -> None:
    # Second method: scipy's two-sample t test.
    rng = np.random.default_rng(7)
    before, after = rng.normal(0, 1, 4), rng.normal(1, 1, 3)
    one = Repeats(name="a", unit="m", before=tuple(before), after=tuple(after), stated_std=0.3)
    (found,) = judge_changes([one])
    assert found.chance == pytest.approx(float(stats.ttest_ind(before, after).pvalue))
    assert found.freedom == 5


def test_holm_takes_the_smallest_first() -> None:
    # Closed form: thresholds 0.05/3, 0.05/2, 0.05; the second fails and ends it.
    assert _apply_holm([0.03, 0.001, 0.04], 0.05) == [False, True, False]
    assert _apply_holm([0.02, 0.001, 0.04], 0.05) == [True, True, True]


def test_inverse_trigamma() -> None:
    # Closed form: trigamma(1) is pi squared over six.
    assert _inverse_trigamma(np.pi**2 / 6) == pytest.approx(1.0)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="stated_std"):
        Repeats(name="a", unit="m", before=(1.0,), after=(1.0,), stated_std=0.0)
    with pytest.raises(ValueError, match="before and after"):
        Repeats(name="a", unit="m", before=(), after=(1.0,), stated_std=1.0)
    with pytest.raises(ValueError, match="chance"):
        judge_changes([], chance=1.0)
