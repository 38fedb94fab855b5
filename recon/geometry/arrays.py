"""Names for the kinds of arrays that signatures speak of; the docstring beside each says shape and unit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]
Vector = tuple[float, float, float]


def row_dots(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N,) products of rows (N, K) of two arrays, for few columns K.

    The same numbers as sums along the last dimension, which take several times as long for rows of two or
    three.

    Examples
    --------
    >>> row_dots(np.array([[1.0, 2, 3]]), np.array([[4.0, 5, 6]])).tolist()
    [32.0]
    """
    out: FloatArray = a[:, 0] * b[:, 0]
    for k in range(1, a.shape[1]):
        out = out + a[:, k] * b[:, k]
    return out


def row_lengths(a: FloatArray) -> FloatArray:
    """(N,) lengths of rows (N, K), for few columns K; as :func:`row_dots`."""
    return np.asarray(np.sqrt(row_dots(a, a)), float)
