"""Array types shared by the annotations of the package."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike

__all__ = ["ArrayLike", "BoolArray", "FloatArray"]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
