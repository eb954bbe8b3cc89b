"""Ground that an edge cuts: against exact fractions and the definition, and what must hold whatever the way."""

import math
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from kinematics.errors import Refused
from kinematics.ground import CLEAR_M, Ground, dig, height_under, score

# Of heights of some metres, after a division: a picometre is far below anything drawn.
EXACT_M = 1e-12
Way = list[tuple[int, int]]
EIGHTHS = 8
"""Places and heights are whole eighths of a metre, which doubles hold exactly."""

heights = st.lists(st.integers(-16, 16), min_size=2, max_size=9)
ways = st.lists(st.tuples(st.integers(-30, 60), st.integers(-40, 40)), min_size=1, max_size=8)


def ground_of(eighths: list[int], first: float = 0.0) -> Ground:
    """Columns half a metre apart."""
    return Ground(first, 0.5, np.array(eighths) / EIGHTHS)


def places(way: Way) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x, z = np.array(way, dtype=float).T / EIGHTHS
    return x, z


def cut(ground: Ground, xs: ArrayLike, zs: ArrayLike) -> tuple[Ground, float]:
    """(the ground afterwards, m2 removed)."""
    dug = dig(ground, xs, zs)
    return dug.ground, dug.removed


def done(eighths: list[int], way: Way) -> NDArray[np.float64]:
    return cut(ground_of(eighths), *places(way))[0].heights


def swept(eighths: list[int], way: Way) -> list[Fraction]:
    """By the definition, in exact fractions: the lowest height of all that the way has over each column.

    A way over a column is where it meets the plumb line there: for each piece, both ends where they stand on that line,
    and the one place between them where they lie on either side of it.
    """
    found = []
    pieces = list(pairwise(way)) or [(way[0], way[0])]
    for i, height in enumerate(eighths):
        column = 4 * i  # eighths of a metre
        met = [Fraction(height)]
        for (x0, z0), (x1, z1) in pieces:
            met += [Fraction(z) for x, z in ((x0, z0), (x1, z1)) if x == column]
            if (x0 - column) * (x1 - column) < 0:
                met.append(z0 + Fraction(column - x0, x1 - x0) * (z1 - z0))
        found.append(min(met) / EIGHTHS)
    return found


@given(heights, ways)
def test_the_definition_in_exact_fractions(eighths: list[int], way: Way) -> None:
    wanted = swept(eighths, way)
    found = done(eighths, way)
    assert np.isfinite(found).all()
    assert found == pytest.approx([float(each) for each in wanted], abs=EXACT_M)


@given(heights, ways)
def test_ground_is_only_removed(eighths: list[int], way: Way) -> None:
    before = ground_of(eighths)
    after, removed = cut(before, *places(way))
    assert (after.heights <= before.heights).all()
    assert removed == pytest.approx(before.step * (before.heights - after.heights).sum(), abs=EXACT_M)
    assert removed >= 0.0


@given(heights, ways)
def test_cut_twice_is_cut_once(eighths: list[int], way: Way) -> None:
    once, _ = cut(ground_of(eighths), *places(way))
    twice, removed = cut(once, *places(way))
    assert removed == 0.0
    assert (twice.heights == once.heights).all()


@given(heights, ways)
def test_halved_pieces_cut_the_same(eighths: list[int], way: Way) -> None:
    x, z = places(way)
    halves = [0.5 * (each[:-1] + each[1:]) for each in (x, z)]
    between = [
        np.insert(each, np.arange(1, len(each)), half) for each, half in zip((x, z), halves, strict=True)
    ]
    found, removed = cut(ground_of(eighths), *between)
    assert found.heights == pytest.approx(done(eighths, way), abs=EXACT_M)
    assert math.isfinite(removed)


@given(heights, ways)
def test_steps_one_after_another_cut_the_same(eighths: list[int], way: Way) -> None:
    x, z = places(way)
    ground, on, begun, removed = ground_of(eighths), False, 0, 0.0
    for i in range(len(way) - 1):
        ground, taken, more, on = dig(ground, x[i : i + 2], z[i : i + 2], in_pass=on)
        begun, removed = begun + more, removed + taken
    if len(way) > 1:
        whole = dig(ground_of(eighths), x, z)
        assert (ground.heights == whole.ground.heights).all()
        assert (begun, on) == (whole.begun, whole.in_pass)
        assert removed == pytest.approx(whole.removed, abs=EXACT_M)


@given(heights, ways)
def test_there_and_back_and_mirrored(eighths: list[int], way: Way) -> None:
    wanted = done(eighths, way)
    assert (done(eighths, way[::-1]) == wanted).all()
    x, z = places(way)
    mirror = ground_of(eighths[::-1], first=-0.5 * (len(eighths) - 1))
    assert (cut(mirror, -x, z)[0].heights[::-1] == wanted).all()


def test_by_hand() -> None:
    """Columns at 0, 1, 2, 3 m: an edge from (0, 0.1) to (2, -0.1) meets them at 0.1, 0 and -0.1."""
    flat = Ground(0.0, 1.0, np.zeros(4))
    after, removed = cut(flat, [0.0, 2.0], [0.1, -0.1])
    assert after.heights.tolist() == pytest.approx([0.0, 0.0, -0.1, 0.0], abs=EXACT_M)
    assert removed == pytest.approx(0.1, abs=EXACT_M)
    # Plumb down into a column, and between two of them, where nothing stands.
    assert cut(flat, [1.0, 1.0], [0.5, -0.25])[0].heights.tolist() == [0.0, -0.25, 0.0, 0.0]
    assert cut(flat, [1.5, 1.5], [0.5, -0.25])[1] == 0.0
    assert cut(flat, [1.2, 1.8], [-1.0, -1.0])[1] == 0.0
    # One place alone; short of and beyond the ground.
    assert cut(flat, [2.0], [-0.5])[0].heights.tolist() == [0.0, 0.0, -0.5, 0.0]
    assert cut(flat, [-3.0, -1.0], [-1.0, -1.0])[1] == 0.0
    assert cut(flat, [3.5, 2.5], [-1.0, -1.0])[0].heights.tolist() == [0.0, 0.0, 0.0, -1.0]


def test_passes() -> None:
    """Two pulls with the edge lifted between them are two; lifted by too little, one; along what is cut, none."""
    flat = Ground(0.0, 0.1, np.zeros(101))
    lifted = [(8.0, -0.1), (3.0, -0.1), (3.0, 0.2), (8.0, 0.2), (8.0, -0.2), (3.0, -0.2), (3.0, 0.2)]
    told = dig(flat, *np.array(lifted).T)
    assert (told.begun, told.in_pass) == (2, False)
    low = [(x, min(z, -0.1 + 0.9 * CLEAR_M)) for x, z in lifted]
    told = dig(flat, *np.array(low).T)
    # At its end it is twice as far over what the second pull cut.
    assert (told.begun, told.in_pass) == (1, False)
    assert dig(flat, *np.array(low[:-1]).T).in_pass
    assert dig(told.ground, *np.array(low).T, in_pass=False).begun == 0
    # Drawn out over the end of the ground: that is clear, too.
    assert not dig(flat, [2.0, -1.0], [-0.1, -0.1]).in_pass
    assert dig(flat, [2.0, 0.5], [-0.1, -0.1], in_pass=True)[2:] == (0, True)


def test_score_by_hand() -> None:
    """Over the target by 20, 10, -40 and 0 mm between the marks, and by a metre outside them."""
    ground = Ground(1.0, 0.5, np.array([0.0, -0.98, -0.99, -1.04, -1.0, 0.0]))
    told = score(ground, -1.0, near=1.5, far=3.0, tolerance=0.015)
    assert (told.columns, told.within, told.share) == (4, 2, 0.5)
    assert (told.overcut, told.left, told.mean) == pytest.approx((0.04, 0.02, -0.0025), abs=EXACT_M)
    slope = score(ground, np.array([0.0, -0.98, -0.99, -1.04, -1.0, 0.0]), near=1.0, far=3.5, tolerance=0.0)
    assert (slope.within, slope.overcut, slope.left, slope.mean) == (6, 0.0, 0.0, 0.0)
    assert height_under(ground, 1.25) == pytest.approx(-0.49, abs=EXACT_M)
    assert height_under(ground, 3.5) == 0.0
    assert height_under(ground, 3.6) is None


def test_ground_cannot_be_written_to() -> None:
    given_heights = np.zeros(3)
    ground = Ground(0.0, 1.0, given_heights)
    given_heights[0] = 5.0
    assert ground.heights.tolist() == [0.0, 0.0, 0.0]
    with pytest.raises(ValueError, match="read-only"):
        ground.heights[0] = 1.0


@pytest.mark.parametrize(
    ("make", "faults"),
    [
        (lambda: Ground(math.nan, 0.0, np.array([math.inf, 0.0])),
         {("not-finite", "heights.0"), ("not-finite", "first"), ("not-positive", "step")}),
        (lambda: Ground(0.0, 1.0, np.array([0.0])), {("too-few", "heights")}),
        (lambda: cut(Ground(0.0, 1.0, np.zeros(3)), [0.0, math.nan], [0.0, math.inf]),
         {("not-finite", "xs.1"), ("not-finite", "zs.1")}),
        (lambda: cut(Ground(0.0, 1.0, np.zeros(3)), [0.0, 1.0], [0.0]), {("ragged", "zs")}),
        (lambda: cut(Ground(0.0, 1.0, np.zeros(3)), [], []), {("too-few", "xs")}),
        (lambda: score(Ground(0.0, 1.0, np.zeros(3)), [0.0, 1.0], near=2.0, far=1.0, tolerance=-0.1),
         {("ragged", "target"), ("range-swapped", "near"), ("not-positive", "tolerance")}),
        (lambda: score(Ground(0.0, 1.0, np.zeros(3)), 0.0, near=1.2, far=1.8, tolerance=0.1), {("too-few", "near")}),
    ],
    ids=["ground", "one column", "way", "ragged", "no place", "score", "no column"],
)  # fmt: skip
def test_refusals(make: Any, faults: set[tuple[str, str]]) -> None:
    with pytest.raises(Refused) as refused:
        make()
    assert {(each.code, each.where) for each in refused.value.faults} == faults
