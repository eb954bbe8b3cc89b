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
with a plus, but on a zero."""

# Of the last place: as in `units.show_number`.
_NEAR_A_HALF = 1e-5
_LARGEST = 1e15  # of a whole number of last places; beyond it a float has no digit to tell
_POWERS = np.array([10.0**k for k in range(16)])
_WHOLES = np.array([10**k for k in range(17)], dtype=np.int64)
"""Powers of ten, exact; no whole number of last places has more digits."""
_TWO = np.frombuffer("".join(f"{k:02}" for k in range(100)).encode(), dtype=np.uint8)
_END, _SOURCE, _DECIMALS, _WAY, _STANDS, _WAS, _ENDED = range(7)
"""Of a piece of the letters and the figure behind it: where the piece ends among the letters; the figure's number,
decimals and way; where the piece stands in the text since the last call, what the figure was in steps of its last place,
and where it ended. Figures seldom change their width."""
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
    """Letters (UTF-8) with places for figures. `letters` is one more than `figures`, and stand before, between and after
    them. A plate is for one thread: it keeps its last text."""

    def __init__(self, letters: Sequence[bytes], figures: Sequence[Figure]) -> None:
        if len(letters) != len(figures) + 1:
            raise ValueError(
                f"expected {len(figures) + 1} pieces around {len(figures)} figures, found {len(letters)}"
            )
        self._letters = np.frombuffer(b"".join(letters), dtype=np.uint8)
        self._scales = np.array([each.scale for each in figures], dtype=np.float64)
        self._places = np.zeros((len(letters), _ENDED + 1), dtype=np.int64)
        self._places[:, _END] = np.cumsum([len(each) for each in letters])
        self._places[:, _STANDS] = -1
        for i, each in enumerate(figures):
            self._places[i, [_SOURCE, _DECIMALS, _WAY]] = each.source, each.decimals, each.way
        self._out = np.empty(len(self._letters) + _WIDEST * len(figures), dtype=np.uint8)
        self._view = self._out.data

    def fill(self, numbers: NDArray[np.float64]) -> str | None:
        """The text with these numbers in it; None where one is not finite, too large, or too near a half to be rounded
        here."""
        end = _fill(self._letters, self._scales, self._places, numbers, self._out)
        return str(self._view[:end], "utf-8") if end >= 0 else None


@compiled
def _fill(
    letters: NDArray[np.uint8], scales: NDArray[np.float64], places: NDArray[np.int64], numbers: NDArray[np.float64],
    out: NDArray[np.uint8],
) -> int:  # fmt: skip
    """Write all; where the text ends, or -1 where a figure cannot be written. `places`: a row a piece.

    A piece that stands where it stood after the last call is left there, and with it the same figure behind it: nothing
    was written beyond its beginning.
    """
    at = 0
    start = 0
    for i in range(len(places)):
        end = places[i, _END]
        moved = places[i, _STANDS] != at
        if moved:
            for k in range(end - start):
                out[at + k] = letters[start + k]
            places[i, _STANDS] = at
        at += end - start
        start = end
        if i == len(scales):
            break
        value = numbers[places[i, _SOURCE]] * scales[i]
        decimals, way = places[i, _DECIMALS], places[i, _WAY]
        steps = abs(value) * _POWERS[decimals]
        whole = int(steps) if steps < _LARGEST else 0  # of NaN too
        rest = steps - whole
        if not steps < _LARGEST or (way != PLAIN and abs(rest - 0.5) < _NEAR_A_HALF):
            places[:, _STANDS] = -1  # what was written so far may reach into pieces to come
            return -1
        if rest >= 0.5:
            whole += 1
        below = value < 0.0 and whole > 0 and way != UNSIGNED
        told = -whole if below else whole
        if not moved and told == places[i, _WAS]:
            at = places[i, _ENDED]
            continue
        if below or (way == SIGNED and whole > 0):
            out[at] = _MINUS if below else _PLUS
            at += 1
        at = _digits(whole, decimals, out, at)
        places[i, _WAS] = told
        places[i, _ENDED] = at
    return at


@compiled
def _digits(whole: int, decimals: int, out: NDArray[np.uint8], at: int) -> int:
    """`whole` with a point before its last `decimals` digits, from `at` on; where it ends."""
    # Twice as fast as a division of whole numbers, and at most one too many.
    before = int(whole / _POWERS[decimals])
    after = whole - before * _WHOLES[decimals]
    if after < 0:
        before -= 1
        after += _WHOLES[decimals]
    count = 1
    while count < len(_WHOLES) and _WHOLES[count] <= before:
        count += 1
    point = at + count
    _run(before, at, point, out)
    if decimals == 0:
        return point
    out[point] = _POINT
    _run(after, point + 1, point + 1 + decimals, out)
    return point + 1 + decimals


@compiled
def _run(whole: int, first: int, end: int, out: NDArray[np.uint8]) -> None:
    """The last digits of `whole`, two at a time, into `out` from `first` to before `end`."""
    left = np.uint64(whole)  # without a sign a division by a hundred is a product
    k = end
    while k - 1 > first:
        hundredth = left // np.uint64(100)
        two = 2 * int(left - hundredth * np.uint64(100))
        out[k - 1] = _TWO[two + 1]
        out[k - 2] = _TWO[two]
        left = hundredth
        k -= 2
    if k > first:
        out[first] = _ZERO + int(left % np.uint64(10))
