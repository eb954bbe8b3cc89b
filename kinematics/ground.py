"""Ground in the arm's plane that an edge cuts, and how near to a target it comes: a drawing of digging, not soil.

The ground is a height at each of many reaches, its columns; an edge that passes over a column lower than it stands takes
it down to there. Nothing falls in, nothing is pushed, nothing comes back.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import Fault, Refused, refuse
from .given import columns

Floats = NDArray[np.float64]

CLEAR_M = 0.1
"""An edge this far over the ground has left it, as when a bucket is lifted to go back. Common practice, no source."""
_AT_END_M = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Columns of ground: `first` the reach (m) of the nearest, `step` (m) from one to the next, `heights` (m over the
    body origin), shape (n,), read-only.

    Each stands for a strip as wide as `step`: 1 m high over 100 columns of 0.02 m is 2 m2 (m3 for each metre of width).
    Raises `Refused` with every fault: "not-finite", "not-a-number", "ragged", "not-positive", "too-few".
    """

    first: float
    step: float
    heights: Floats

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        kept = columns({"heights": self.heights}, faults, np.size(self.heights)).get("heights")
        for name, value in (("first", self.first), ("step", self.step)):
            if not math.isfinite(value):
                faults.append(Fault("not-finite", name, str(value), "a finite number"))
        if self.step <= 0.0:
            faults.append(Fault("not-positive", "step", f"{self.step} m", "a spacing above zero"))
        if kept is not None and kept.size < 2:
            faults.append(Fault("too-few", "heights", f"{kept.size} columns", "two columns or more"))
        refuse(faults)
        assert kept is not None  # noqa: S101  # else there is a fault
        object.__setattr__(self, "heights", _frozen(kept))

    @property
    def reaches(self) -> Floats:
        """Reach (m) of each column, shape (n,)."""
        reaches: Floats = self.first + self.step * np.arange(self.heights.size, dtype=np.float64)
        return reaches


class Dug(NamedTuple):
    """What one way of the edge did: the `ground` after it, `removed` (m2), how many passes were `begun` on it, and
    whether it ends `in_pass`."""

    ground: Ground
    removed: float
    begun: int
    in_pass: bool


@dataclass(frozen=True, slots=True)
class Score:
    """How a ground compares with its target between two reaches.

    `columns`: so many were looked at; `within`: so many of them stand no further from the target than the tolerance;
    `overcut`: deepest below the target (m), 0 where none is; `left`: highest above it (m), 0 where none is; `mean` (m) of
    height less target, positive with ground left.
    """

    columns: int
    within: int
    overcut: float
    left: float
    mean: float

    @property
    def share(self) -> float:
        """Share of the columns within tolerance, 0 to 1."""
        return self.within / self.columns


def dig(ground: Ground, xs: ArrayLike, zs: ArrayLike, *, in_pass: bool = False) -> Dug:
    """Let the edge go straight from place to place: reaches `xs` and heights `zs` (m), shape (n,), at least one place.

    A column is passed where the way crosses its reach, and cut down to the lowest height of the way there, if it stands
    higher: ground at 0, the edge from (0, 0.1) to (2, -0.1), a column at 1.5 comes down to -0.05. Where there is no
    column there is nothing to cut. Ground is only ever removed.

    Passes: one begins where the edge takes ground away and none is on; it lasts until a place of the way lies `CLEAR_M`
    over the ground (straight from column to column) or where there is no ground. `in_pass`: whether one was on before.
    Raises `Refused`: "not-finite", "not-a-number", "ragged", "too-few".
    """
    x, z = _way(xs, zs)
    reaches, heights = ground.reaches.tolist(), ground.heights.tolist()
    begun, on = 0, in_pass
    for x0, z0, x1, z1 in zip(x, z, x[1:], z[1:], strict=False):
        took = False
        near, far = min(x0, x1), max(x0, x1)
        for i in range(bisect_left(reaches, near), bisect_right(reaches, far)):
            lowest = _lowest_at(reaches[i], x0, z0, x1, z1)
            if lowest < heights[i]:
                heights[i] = lowest
                took = True
        if took and not on:
            begun, on = begun + 1, True
        if on and _clear(reaches, heights, x1, z1):
            on = False
    after = Ground(ground.first, ground.step, np.array(heights))
    return Dug(after, ground.step * float(np.sum(ground.heights - after.heights)), begun, on)


def score(ground: Ground, target: ArrayLike, *, near: float, far: float, tolerance: float) -> Score:
    """How the columns from reach `near` to `far` (m) compare with `target`, a height (m) for each column,
    shape (n,), or one for all.

    Ground at -0.30 and -0.36 against a target of -0.32, 0.03 m allowed: one of two within, 0.04 m overcut, 0.02 m left.
    A column within a nanometre of either end is in. Raises `Refused` with every fault: "not-finite", "not-a-number",
    "ragged", "range-swapped", "not-positive" (a tolerance below zero), "too-few" (no column between the two).
    """
    faults: list[Fault] = []
    wanted = columns({"target": target}, faults, ground.heights.size).get("target")
    faults += _finite(near=near, far=far, tolerance=tolerance)
    if near > far:
        faults.append(Fault("range-swapped", "near", f"{near} m to {far} m", "near below far"))
    if tolerance < 0.0:
        faults.append(Fault("not-positive", "tolerance", f"{tolerance} m", "zero or more"))
    refuse(faults)
    assert wanted is not None  # noqa: S101  # else there is a fault
    reaches = ground.reaches
    looked = (reaches >= near - _AT_END_M) & (reaches <= far + _AT_END_M)
    over = (ground.heights - wanted)[looked]
    if not over.size:
        raise Refused([
            Fault("too-few", "near", f"no column from {near} to {far} m", "a stretch with ground in it")
        ])  # fmt: skip
    return Score(
        over.size, int(np.count_nonzero(np.abs(over) <= tolerance)), max(0.0, -float(over.min())),
        max(0.0, float(over.max())), float(over.mean()),
    )  # fmt: skip


def height_under(ground: Ground, reach: float) -> float | None:
    """Height (m) of the ground at a reach (m), straight from column to column; None where there is none."""
    return _under(ground.reaches.tolist(), ground.heights.tolist(), reach)


def _lowest_at(x: float, x0: float, z0: float, x1: float, z1: float) -> float:
    """The lowest height of a straight way over a column it crosses; the same whichever way it is gone."""
    if x0 == x1:
        return min(z0, z1)
    z = (z0 * (x1 - x) + z1 * (x - x0)) / (x1 - x0)
    return min(max(z, min(z0, z1)), max(z0, z1))  # a rounding must not lead past an end


def _under(reaches: list[float], heights: list[float], x: float) -> float | None:
    if not reaches[0] <= x <= reaches[-1]:
        return None
    i = min(bisect_right(reaches, x), len(reaches) - 1)
    share = (x - reaches[i - 1]) / (reaches[i] - reaches[i - 1])
    return heights[i - 1] + share * (heights[i] - heights[i - 1])


def _clear(reaches: list[float], heights: list[float], x: float, z: float) -> bool:
    under = _under(reaches, heights, x)
    return under is None or z >= under + CLEAR_M


def _way(xs: ArrayLike, zs: ArrayLike) -> tuple[list[float], list[float]]:
    """The places as lists; one place alone is a way from there to there."""
    faults: list[Fault] = []
    given = columns({"xs": xs, "zs": zs}, faults, np.size(xs))
    if not faults and not np.size(xs):
        faults.append(Fault("too-few", "xs", "no place", "one place of the edge or more"))
    elif not faults and np.size(zs) != np.size(xs):
        faults.append(Fault("ragged", "zs", f"{np.size(zs)} heights", f"{np.size(xs)}, one for each reach"))
    refuse(faults)
    x, z = given["xs"].tolist(), given["zs"].tolist()
    return (x, z) if len(x) > 1 else (2 * x, 2 * z)


def _finite(**values: float) -> Iterator[Fault]:
    for name, value in values.items():
        if not math.isfinite(value):
            yield Fault("not-finite", name, str(value), "a finite number")


def _frozen(values: Iterable[float]) -> Floats:
    kept = np.array(values, dtype=np.float64)
    kept.flags.writeable = False
    return kept
