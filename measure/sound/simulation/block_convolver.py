"""Convolving sources with long responses that may change, block by block.

Conventions: time on the last axis. A response is cut into parts as long as a block; each
part delays its share by as many blocks as stand before it. What a block of input will give
later is added up in frequency, so a response belongs to the input that was fed with it:
that is what a source that moves does.

References
----------
T. G. Stockham, "High-speed convolution and correlation", AFIPS Spring Joint Computer
Conference, 229-233, 1966 (from memory): overlap and add, here over uniform parts.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from analysis.basics.arrays import Float

Float32 = NDArray[np.float32]
Complex64 = NDArray[np.complex64]


def partition_spectra(response: Float, n_block: int) -> Complex64:
    """Return the spectra of a response's parts.

    Parameters
    ----------
    response : ndarray, shape (n,)
    n_block : int

    Returns
    -------
    ndarray of complex64, shape (n_parts, n_block + 1)
    """
    n_parts = -(-response.size // n_block)
    padded = np.zeros(n_parts * n_block, dtype=np.float32)
    padded[: response.size] = response
    return np.asarray(fft.rfft(padded.reshape(n_parts, n_block), 2 * n_block))


class BlockConvolver:
    """The sum of sources, each through its response.

    Parameters
    ----------
    n_block, n_parts : int
        Length of a block, and how many a response has at most.
    """

    def __init__(self, n_block: int, n_parts: int) -> None:
        self._n_block = n_block
        self._coming = np.zeros((n_parts, n_block + 1), dtype=np.complex64)
        self._first = 0
        self._overlap = np.zeros(n_block, dtype=np.float32)

    def convolve(self, sources: Iterable[tuple[Float, Complex64]]) -> Float32:
        """Feed a block of each source, and return the block that comes out.

        Parameters
        ----------
        sources : iterable of (ndarray, ndarray)
            A block of samples and the response that it meets, as `partition_spectra` returns it.

        Returns
        -------
        ndarray of float32, shape (n_block,)
        """
        for samples, response in sources:
            if not samples.any():
                continue
            spectrum = fft.rfft(samples.astype(np.float32), 2 * self._n_block)
            n_until_end = min(len(self._coming) - self._first, len(response))
            self._coming[self._first : self._first + n_until_end] += (
                spectrum * response[:n_until_end]
            )
            self._coming[: len(response) - n_until_end] += spectrum * response[n_until_end:]
        result = fft.irfft(self._coming[self._first], 2 * self._n_block)
        self._coming[self._first] = 0
        self._first = (self._first + 1) % len(self._coming)
        out = result[: self._n_block] + self._overlap
        self._overlap = result[self._n_block :]
        return np.asarray(out)
