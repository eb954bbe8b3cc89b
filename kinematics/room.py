"""Memory that is used again: to get fresh memory takes as long as to compute what goes into it."""

import math
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray


class Room:
    """Arrays by name, for one thread: what was in an array is gone once its name is asked for again."""

    def __init__(self) -> None:
        self._kept: dict[str, NDArray[Any]] = {}

    def array(self, name: str, shape: tuple[int, ...], dtype: DTypeLike = np.float64) -> NDArray[Any]:
        """An array of this shape, of any content."""
        size = math.prod(shape)
        kept = self._kept.get(name)
        if kept is None or kept.size < size or kept.dtype != np.dtype(dtype):
            kept = self._kept[name] = np.empty(size, dtype=dtype)
        return kept[:size].reshape(shape)
