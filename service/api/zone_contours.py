"""Bands and lines of equal value over a grid of numbers with gaps: polygons and polylines in the grid's own axes."""

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Place = tuple[float, float]
_Corner = tuple[float, float, float]
_ROUND = 9


def above(x: Floats, y: Floats, z: Floats, level: float) -> list[list[Place]]:
    """Polygons that together cover where z (rows of y, columns of x; NaN a gap) is at least `level`, linear in between.

    Cells that are wholly above are joined along their row. A grid of 0 and 1 m, z 0 and 1 along x: above 0.5 lies
    x from 0.5 to 1.
    """
    found: list[list[Place]] = []
    corners = np.stack([z[:-1, :-1], z[:-1, 1:], z[1:, 1:], z[1:, :-1]])
    known = np.logical_and.reduce(np.isfinite(corners))
    with np.errstate(invalid="ignore"):
        over = np.count_nonzero(corners >= level, axis=0)
    for i in range(len(y) - 1):
        whole = known[i] & (over[i] == 4)
        for first, stop in _runs(whole):
            found.append([(x[first], y[i]), (x[stop], y[i]), (x[stop], y[i + 1]), (x[first], y[i + 1])])
        for j in np.flatnonzero(known[i] & (over[i] > 0) & (over[i] < 4)).tolist():
            found.append([*_cut(_quad(x, y, z, i, j), level)])
    return found


def lines(x: Floats, y: Floats, z: Floats, level: float) -> list[list[Place]]:
    """The lines along which z is `level`, each from end to end, longest first."""
    pieces: list[tuple[Place, Place]] = []
    corners = np.stack([z[:-1, :-1], z[:-1, 1:], z[1:, 1:], z[1:, :-1]])
    known = np.logical_and.reduce(np.isfinite(corners))
    with np.errstate(invalid="ignore"):
        over = np.count_nonzero(corners >= level, axis=0)
    for i, j in np.argwhere(known & (over > 0) & (over < 4)).tolist():
        quad = _quad(x, y, z, i, j)
        crossed = [_between(a, b, level) for a, b in zip(quad, [*quad[1:], quad[0]], strict=True)
                   if (a[2] >= level) != (b[2] >= level)]  # fmt: skip
        ends = zip(crossed[::2], crossed[1::2], strict=True)
        pieces += [(a, b) for a, b in ends if a != b]  # alike where a corner itself is at the level
    return sorted(_joined(pieces), key=length_of, reverse=True)


def length_of(line: list[Place]) -> float:
    """How long a polyline is."""
    return sum(math.dist(a, b) for a, b in pairwise(line))


def _quad(x: Floats, y: Floats, z: Floats, i: int, j: int) -> list[_Corner]:
    return [
        (float(x[j + b]), float(y[i + a]), float(z[i + a, j + b])) for a, b in ((0, 0), (0, 1), (1, 1), (1, 0))
    ]  # fmt: skip


def _between(a: _Corner, b: _Corner, level: float) -> Place:
    share = (level - a[2]) / (b[2] - a[2])
    return round(a[0] + share * (b[0] - a[0]), _ROUND), round(a[1] + share * (b[1] - a[1]), _ROUND)


def _cut(quad: list[_Corner], level: float) -> Iterator[Place]:
    """The part of a cell that is at least `level`, corner by corner."""
    for a, b in zip(quad, [*quad[1:], quad[0]], strict=True):
        if a[2] >= level:
            yield a[0], a[1]
        if (a[2] >= level) != (b[2] >= level):
            yield _between(a, b, level)


def _joined(pieces: list[tuple[Place, Place]]) -> list[list[Place]]:
    """Pieces that share an end, one after another."""
    at: dict[Place, list[int]] = {}
    for k, piece in enumerate(pieces):
        for end in piece:
            at.setdefault(end, []).append(k)
    left = set(range(len(pieces)))
    found: list[list[Place]] = []
    while left:
        line = list(pieces[left.pop()])
        for _ in range(2):
            while True:
                here = line[-1]
                following = next((k for k in at[here] if k in left), None)
                if following is None:
                    break
                left.discard(following)
                a, b = pieces[following]
                line.append(b if a == here else a)
            line.reverse()
        found.append(line)
    return found


def _runs(row: NDArray[np.bool_]) -> list[tuple[int, int]]:
    padded = np.zeros(len(row) + 2, dtype=np.int8)
    padded[1:-1] = row
    turns = np.flatnonzero(np.diff(padded))
    return [(int(first), int(stop)) for first, stop in turns.reshape(-1, 2)]
