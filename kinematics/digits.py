"""Many numbers into a text at once: a plate of fixed letters with places for figures, set and filled by compiled code.

Python writes a figure in 0.3 us; a readout has a hundred, told to every viewer many times a second. Filled, all of them
take a microsecond or two.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled

PLAIN, ROUNDED, UNSIGNED, SIGNED = range(4)
"""How a figure is written. PLAIN: as a number for programs, the last place however it falls. ROUNDED: for people; one so
near a half that its binary noise would decide is left to slower code. UNSIGNED: the same without a sign. SIGNED: the same
with a plus, on a zero too."""

# Of the last place: as in `units.show_number`.
_NEAR_A_HALF = 1e-5
_LARGEST = 1e15  # of a whole number of last places; beyond it a float has no digit to tell
_POWERS = np.array([10.0**k for k in range(16)])
_WHOLES = np.array([10**k for k in range(17)], dtype=np.int64)
"""Powers of ten, exact; no whole number of last places has more digits."""
_WIDEST = 24  # sign, sixteen digits, point and what goes with them
_MINUS, _PLUS, _POINT, _ZERO = (ord(each) for each in "-+.0")


@dataclass(frozen=True, slots=True)
class Figure:
    """A place for a number: `numbers[source] * scale` with so many decimals, in one of the four ways."""

    source: int
    scale: float
    decimals: int
    way: int


class Plate:
    """Letters with places for figures. `letters` is one more than `figures`, and stand before, between and after them."""

    def __init__(self, letters: Sequence[bytes], figures: Sequence[Figure]) -> None:
        if len(letters) != len(figures) + 1:
            raise ValueError(
                f"expected {len(figures) + 1} pieces around {len(figures)} figures, found {len(letters)}"
            )
        self._letters = np.frombuffer(b"".join(letters), dtype=np.uint8)
        self._ends = np.cumsum([len(each) for each in letters])
        self._sources = np.array([each.source for each in figures], dtype=np.int64)
        self._scales = np.array([each.scale for each in figures], dtype=np.float64)
        self._decimals = np.array([each.decimals for each in figures], dtype=np.int64)
        self._ways = np.array([each.way for each in figures], dtype=np.int64)
        self._out = np.empty(len(self._letters) + _WIDEST * len(figures), dtype=np.uint8)

    def fill(self, numbers: NDArray[np.float64]) -> bytes | None:
        """The text with these numbers in it; None where one is not finite, too large, or too near a half to be rounded
        here."""
        end = _fill(
            self._letters,
            self._ends,
            self._sources,
            self._scales,
            self._decimals,
            self._ways,
            numbers,
            self._out,
        )
        return self._out[:end].tobytes() if end >= 0 else None


@compiled
def _fill(
    letters: NDArray[np.uint8], ends: NDArray[np.int64], sources: NDArray[np.int64], scales: NDArray[np.float64],
    decimals: NDArray[np.int64], ways: NDArray[np.int64], numbers: NDArray[np.float64], out: NDArray[np.uint8],
) -> int:  # fmt: skip
    """Write all; where the text ends, or -1 where a figure cannot be written."""
    at = 0
    start = 0
    for i in range(len(sources)):
        end = ends[i]
        out[at : at + end - start] = letters[start:end]
        at += end - start
        start = end
        value = numbers[sources[i]] * scales[i]
        steps = abs(value) * _POWERS[decimals[i]]
        if not steps < _LARGEST:  # NaN too
            return -1
        whole = int(steps)
        rest = steps - whole
        if ways[i] != PLAIN and abs(rest - 0.5) < _NEAR_A_HALF:
            return -1
        if rest >= 0.5:
            whole += 1
        if ways[i] == SIGNED:
            out[at] = _MINUS if value < 0.0 and whole > 0 else _PLUS
            at += 1
        elif ways[i] != UNSIGNED and value < 0.0 and whole > 0:
            out[at] = _MINUS
            at += 1
        at = _digits(whole, decimals[i], out, at)
    rest_of_it = len(letters) - start
    out[at : at + rest_of_it] = letters[start:]
    return at + rest_of_it


@compiled
def _digits(whole: int, decimals: int, out: NDArray[np.uint8], at: int) -> int:
    """`whole` with a point before its last `decimals` digits, from `at` on; where it ends."""
    count = decimals + 1
    while count < len(_WHOLES) and _WHOLES[count] <= whole:
        count += 1
    end = at + count + (1 if decimals > 0 else 0)
    left = np.uint64(whole)  # without a sign a division by ten is a product
    k = end - 1
    for i in range(count):
        if decimals > 0 and i == decimals:
            out[k] = _POINT
            k -= 1
        tenth = left // np.uint64(10)
        out[k] = _ZERO + int(left - tenth * np.uint64(10))
        left = tenth
        k -= 1
    return end
