"""Convolving block by block."""

from __future__ import annotations

import numpy as np
import pytest

from measure.sound.simulation.block_convolver import BlockConvolver, partition_spectra

N_BLOCK = 64


@pytest.mark.parametrize("n_response", [1, 64, 65, 1000])
def test_it_is_the_convolution(n_response: int) -> None:
    # Second method: numpy's direct convolution of the whole.
    rng = np.random.default_rng(n_response)
    samples = rng.standard_normal((2, 30 * N_BLOCK))
    responses = rng.standard_normal((2, n_response))
    parts = [partition_spectra(one, N_BLOCK) for one in responses]
    convolver = BlockConvolver(N_BLOCK, len(parts[0]))
    out = np.concatenate(
        [
            convolver.convolve(zip(block, parts, strict=True))
            for block in np.split(samples, 30, axis=1)
        ]
    )
    truth = sum(np.convolve(*pair) for pair in zip(samples, responses, strict=True))
    assert np.abs(out - truth[: out.size]).max() < 1e-5 * np.abs(truth).max()


def test_a_new_response_is_met_by_what_is_fed_with_it() -> None:
    # Second method: each half of the input through its own response, and the sum.
    rng = np.random.default_rng(7)
    samples = rng.standard_normal(20 * N_BLOCK)
    before, after = rng.standard_normal((2, 300))
    convolver = BlockConvolver(N_BLOCK, len(partition_spectra(before, N_BLOCK)))
    out = np.concatenate(
        [
            convolver.convolve(
                [(block, partition_spectra(before if number < 10 else after, N_BLOCK))]
            )
            for number, block in enumerate(np.split(samples, 20))
        ]
    )
    first, second = samples.copy(), samples.copy()
    first[10 * N_BLOCK :] = 0
    second[: 10 * N_BLOCK] = 0
    truth = np.convolve(first, before) + np.convolve(second, after)
    assert np.abs(out - truth[: out.size]).max() < 1e-5 * np.abs(truth).max()


def test_silence_after_the_response_is_silence() -> None:
    # Invariant: nothing goes round the ring twice.
    parts = partition_spectra(np.ones(150), N_BLOCK)
    convolver = BlockConvolver(N_BLOCK, len(parts))
    convolver.convolve([(np.ones(N_BLOCK), parts)])
    silence = np.zeros(N_BLOCK)
    later = [convolver.convolve([(silence, parts)]) for _ in range(12)]
    assert np.abs(later[0]).max() > 1
    assert np.abs(later[4:]).max() < 1e-4
