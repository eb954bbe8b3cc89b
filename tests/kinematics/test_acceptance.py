"""Acceptance: the tolerance factor against published tables, coverage of the zone, and the rule."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kinematics.acceptance import CELLS, Point, Rule, accepted, missing, tolerance_factor
from kinematics.errors import Refused
from tests.amounts import several

RULE = Rule(0.03)
REACH = {"near": 0.4, "middle": 0.7, "far": 0.9}


@pytest.mark.parametrize(
    ("count", "at_90", "at_95", "at_99"),
    # P. M. Berthouex and L. C. Brown, Statistics for Environmental Engineers, table 21.1, 95 % confidence (read).
    [(4, 5.37, 6.34, 8.22), (5, 4.29, 5.08, 6.60), (8, 3.16, 3.75, 4.89), (10, 2.86, 3.39, 4.44), (12, 2.67, 3.17, 4.16),
     (20, 2.32, 2.76, 3.62), (25, 2.22, 2.64, 3.46), (30, 2.15, 2.55, 3.35), (40, 2.06, 2.45, 3.22),
     (60, 1.96, 2.34, 3.07)],
)  # fmt: skip
def test_the_factor_as_printed(count: int, at_90: float, at_95: float, at_99: float) -> None:
    """Half the last printed digit, and the table's own rounding: some of it is by approximation."""
    for share, printed in ((0.90, at_90), (0.95, at_95), (0.99, at_99)):
        assert abs(tolerance_factor(count, share) - printed) <= 0.011


def test_the_factor_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: 43 values, 90 %, 99 % confidence: 2.2173 by Howe's approximation (read in a
    spreadsheet made after it), which is good to a few parts in a thousand."""
    assert abs(tolerance_factor(43, 0.90, 0.99) / 2.2173159 - 1.0) <= 0.003


@pytest.mark.parametrize("count", [20, 50])
def test_the_factor_by_repetition(count: int) -> None:
    """Samples of a normal distribution: 95 in 100 intervals hold 95 % of it. 40 000 draws: standard 0.0011."""
    draws = np.random.default_rng(7).standard_normal((40_000, count))
    mean, spread = draws.mean(axis=1), draws.std(axis=1, ddof=1)
    half = tolerance_factor(count) * spread
    held = stats.norm.cdf(mean + half) - stats.norm.cdf(mean - half)
    assert abs((held >= 0.95).mean() - 0.95) <= 0.0045


def test_the_factor_falls_to_that_of_a_known_distribution() -> None:
    found = [tolerance_factor(n) for n in (2, 5, 20, 100, 2000)]
    assert found == sorted(found, reverse=True)
    assert 1.96 < found[-1] < 2.03


def points(tolerances: float = 0.004, per_cell: int = 2) -> list[Point]:
    """Two in every cell, on ground that rises 3 deg towards where swing is zero; differences of one size, either
    sign."""
    found = []
    for k, (distance, side, number) in enumerate(CELLS * per_cell):
        swing = (0.0, math.pi / 2)[number - 1]
        pitch, roll = (math.radians(3.0), 0.0) if number == 1 else (0.0, math.radians(-3.0))
        place = (
            7.0 * REACH[distance] * math.cos(swing),
            7.0 * REACH[distance] * math.sin(swing),
            -0.15 * (k // 18),
        )
        found.append(
            Point((-1) ** k * tolerances, REACH[distance], side, pitch, roll, swing, 1, place, f"point {k}")
        )
    return found


def test_good_points_pass() -> None:
    found = accepted(points(), RULE)
    assert found.passed
    assert found.count == 36
    assert found.bias == 0.0
    assert found.rms == pytest.approx(0.004)
    assert found.reached == pytest.approx(found.factor * found.spread)
    assert set(found.cells) == set(CELLS)


def test_one_point_beyond_fails_whatever_the_rest() -> None:
    some = points(0.0001)
    some[7] = replace(some[7], difference=-0.0301)
    found = accepted(some, RULE)
    assert not found.passed
    assert found.beyond == (7,)
    assert found.worst == 7
    assert found.reached < 0.03


def test_a_bias_fails_though_no_point_is_beyond() -> None:
    found = accepted([replace(each, difference=each.difference + 0.022) for each in points()], RULE)
    assert found.beyond == ()
    assert found.reached > 0.03
    assert not found.passed


def codes(some: list[Point], rule: Rule = RULE) -> set[str]:
    return {fault.code for fault in missing(some, rule)}


def test_every_empty_cell_is_named() -> None:
    some = [each for each in points() if not (each.side == "left" and each.reach > 0.8)]
    told = [fault.found for fault in missing(some, RULE)]
    assert told == ["no point far, left, at swing 1", "no point far, left, at swing 2"]


def test_too_few() -> None:
    assert codes(points(per_cell=1)) == {"too-few-checks"}


def test_flat_ground_proves_nothing() -> None:
    flat = [replace(each, pitch=0.0, roll=0.0) for each in points()]
    assert codes(flat) == {"lean-too-small"}


def test_one_swing_twice() -> None:
    same = [replace(each, swing=math.radians(10.0), pitch=math.radians(3.0), roll=0.0) for each in points()]
    told = missing(same, RULE)
    assert {fault.code for fault in told} == {"cell-empty"}
    assert len(told) == 9


def test_a_swing_that_the_lean_did_not_follow() -> None:
    """Swing entered, but the machine never swung: the body still leans forward."""
    stood = [replace(each, pitch=math.radians(3.0), roll=0.0) for each in points()]
    assert codes(stood) == {"swing-not-seen"}
    mirrored = [replace(each, roll=-each.roll) for each in points()]
    assert codes(mirrored) == {"swing-not-seen"}


def test_a_swing_nobody_said() -> None:
    some = points()
    some[3] = replace(some[3], swing=None)
    assert codes(some) == {"swing-unknown"}


def test_one_point_read_again_and_again() -> None:
    """A good point repeated would make the spread small: read again it is none."""
    some = points()
    again = [replace(some[4], place=(*some[4].place[:2], 0.03 * i), name=f"again {i}") for i in range(3)]
    told = missing([*some, *again], RULE)
    assert {each.code for each in told} == {"point-repeated"}
    assert [each.found for each in told] == [
        f"point 4 and again {i}, {0.03 * i:.3f} m apart" for i in range(3)
    ]
    far = [replace(some[4], place=(*some[4].place[:2], 0.101), name="another")]
    assert missing([*some, *far], RULE) == []


def test_moved_between_the_swings() -> None:
    """The lean would not have to turn with a swing that was only typed."""
    moved = [
        replace(each, setup=2, pitch=math.radians(3.0), roll=0.0) if each.swing else each for each in points()
    ]
    assert codes(moved) == {"moved-meanwhile"}


def test_all_faults_at_once() -> None:
    few = [replace(each, pitch=0.0, roll=0.0, swing=None) for each in points()[:5]]
    assert codes(few) == {"too-few-checks", "swing-unknown", "cell-empty", "lean-too-small"}


@pytest.mark.parametrize("bad", [0.0, -0.01, 1.1, math.nan, math.inf])
def test_an_absurd_tolerance(bad: float) -> None:
    with pytest.raises(Refused):
        Rule(bad)


def test_a_difference_that_is_none() -> None:
    some = points()
    some[0] = replace(some[0], difference=math.nan)
    with pytest.raises(Refused) as told:
        accepted(some, RULE)
    assert told.value.faults[0].where == "checks.0"


@settings(max_examples=several(25))
@given(st.integers(2, 200), st.floats(0.5, 0.99))
def test_more_confidence_costs(count: int, confidence: float) -> None:
    """Counts below 2 are refused; otherwise a surer factor is a larger one."""
    assert tolerance_factor(count, 0.95, confidence) < tolerance_factor(count, 0.95, 0.5 * (1.0 + confidence))


@given(st.floats(0.0, 6.28), st.floats(0.04, 0.2))
def test_the_ground_stays_at_every_swing(swing: float, lean: float) -> None:
    """A body on a slope that rises towards 0.7 rad, turned by any swing: plumb turned into the body, then read back."""
    way = 0.7 - swing
    n = (math.sin(lean) * math.cos(way), math.sin(lean) * math.sin(way), math.cos(lean))
    point = Point(0.0, 0.5, "left", math.asin(n[0]), math.atan2(n[1], n[2]), swing, 1, (1.0, 0.0, 0.0), "")
    assert math.remainder(point.ground - 0.7, 2 * math.pi) == pytest.approx(0.0, abs=1e-9)
    assert point.lean == pytest.approx(lean, rel=1e-9)
