"""Names for the kinds of arrays that signatures speak of; the docstring beside each says shape and unit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]
Vector = tuple[float, float, float]
