"""The lowest level line of which an unbroken length is reached.

A level line leaves what is reached at pieces of its border. At the lowest line with a run of the wanted length, the run
ends on two pieces that far apart, or a corner or a crest of the border stands in the way of going lower: finitely many
heights, each tried.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from .joint_arcs import Row
from .outline import Loop, Piece

Crossing = tuple[float, Piece, float]
# Tangent arcs meet to the root of a rounding.
_ALIKE_M = 1e-7


def deepest_floor(row: Row, loops: Sequence[Loop], length: float) -> tuple[Crossing, Crossing] | None:
    """Both ends, near and far, of the run on the lowest level line of which at least `length` (m) is reached unbroken:
    (reach m, piece of the border, direction rad from its arc's centre) each; None where there is none.

    A square metre of ground from 3 to 4 m of reach has no floor of 2 m.
    """
    pieces = [piece for loop in loops for piece in loop]
    heights = sorted({*_corners(pieces), *_apart(pieces, length)})
    lines = [crossings(pieces, height) for height in heights]
    middles = [0.5 * (a[0] + b[0]) + 1j * z for z, line in zip(heights, lines, strict=True)
               for a, b in pairwise(line)]  # fmt: skip
    if not middles:
        return None
    reached = iter(row.contains(np.array(middles)).tolist())
    for line in lines:
        start: Crossing | None = None
        best: tuple[Crossing, Crossing] | None = None
        for a, b in pairwise(line):
            within = next(reached) or b[0] - a[0] <= _ALIKE_M
            start = (start or a) if within else None
            if start is None or b[0] - start[0] < length - _ALIKE_M:
                continue
            if best is None or b[0] - start[0] > best[1][0] - best[0][0]:
                best = start, b
        if best is not None:
            return best
    return None


def crossings(pieces: Sequence[Piece], height: float) -> list[Crossing]:
    """Where pieces meet the level line at a height (m): (reach m, piece, direction rad), by reach."""
    found = []
    for piece in pieces:
        sine = (height - piece.arc.centre.imag) / piece.arc.radius
        if abs(sine) > 1.0 + _ALIKE_M * _ALIKE_M:
            continue
        up = math.asin(max(-1.0, min(1.0, sine)))
        for angle in (up, math.pi - up):
            if piece.holds_angle(angle):
                found.append((piece.arc.at(angle).real, piece, angle))
    return sorted(found, key=lambda each: each[0])


def _corners(pieces: Sequence[Piece]) -> list[float]:
    """Heights of pieces' ends, and of their lowest and highest places."""
    found = []
    for piece in pieces:
        found.append(piece.ends[0].imag)
        found += [piece.arc.at(up).imag for up in (0.5 * math.pi, -0.5 * math.pi) if piece.holds_angle(up)]
    return found


def _apart(pieces: Sequence[Piece], length: float) -> list[float]:
    """Heights at which two pieces stand `length` (m) apart, level."""
    found = []
    for near in pieces:
        a, r = near.arc.centre, near.arc.radius
        for far in pieces:
            between = far.arc.centre - length - a
            apart, s = abs(between), far.arc.radius
            if not abs(r - s) <= apart <= r + s or apart <= _ALIKE_M:
                continue
            along = (apart * apart + r * r - s * s) / (2.0 * apart)
            up = math.sqrt(max(r * r - along * along, 0.0))
            for side in (1j, -1j):
                at = a + between / apart * (along + side * up)
                if near.holds_angle(_heading(at - a)) and far.holds_angle(
                    _heading(at + length - far.arc.centre)
                ):
                    found.append(at.imag)
    return found


def _heading(way: complex) -> float:
    return math.atan2(way.imag, way.real)
