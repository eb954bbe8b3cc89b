"""A field test of the rotating laser with two staffs, after ISO 17123-6: how level its plane is, and how it scatters.

Staffs A and B on firm points, the laser on their line, in the middle or beyond an end, turned a quarter between
readings. What each series of readings gives by least squares is the height of B over A, the plane's tilt along two axes
of the laser's own, and its cone, by which it rises alike all round.

    reading B - reading A = -height + apart (ahead cos h - left sin h) + cone (|way to B| - |way to A|)

`h`: the heading of the laser's mark, anticlockwise from the way from A to B. A beam that rises reads higher on a staff.

Sources: the standard itself is not at hand. Its layout (three stands on the line, four headings a quarter apart, four
series) and least squares by series are **from memory**; a predecessor's layout, DIN 18723-8, one stand midway between
staffs 40 m apart and two on the line 14.6 m beyond, was read in the abstract of a thesis on test methods. The questions
of the statistical tests (s against a stated sigma; two s against each other; are deviations zero) were read in ISO
17123-7:2005, clause 8.1; chi-square, F and t as there. The half-turn test (check_values 4.4) is the same with one
stand."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from .agreement import FINEST_M, Test, spread_limit, t_limit
from .errors import Fault, refuse
from .levelbook import curvature_and_refraction_m

Floats = NDArray[np.float64]
QUARTERS, STANDS, SERIES = 4, 3, 4
LEAST_APART_M, MOST_APART_M = 5.0, 200.0
LEAST_FREEDOM = 8
"""Of one series of the full layout; with fewer, residuals of rounded readings may all be nil, and nothing is said of
chance."""
_SAME_M, _SAME_RAD = 0.5, math.radians(5.0)
_ALIKE = 0.25
"""Of the way from staff to staff: stands whose ways to A and B differ by no more hardly show a cone."""
MOST_READING_M = 10.0
_MIDWAY = 0.1
"""Of the way from staff to staff: further from the middle a stand is not midway, or a length is in another unit."""
MOST_RESIDUAL_M = 0.005
"""Of a difference of two staff readings: a laser that works is read to a few millimetres (common practice, no source)."""
_UNKNOWNS = ("height", "ahead", "left", "cone")


@dataclass(frozen=True, slots=True)
class Sight:
    """One pair of staff readings (m), the laser not touched between them. `series` from 1; `along` (m): where the laser
    stands, from A towards B, negative beyond A; `heading` (rad) of its mark, anticlockwise from the way from A to B."""

    series: int
    along: float
    heading: float
    reading_a: float
    reading_b: float


@dataclass(frozen=True, slots=True)
class Series:
    """What one series gives. `height` of B over A (m); `ahead`, `left` (rad): the plane rises towards the laser's mark,
    and to its left; `cone` (rad), None where ways to A and B were alike; `spread` (m) of a difference of two readings,
    None without a degree of `freedom`; `residuals` (m)."""

    height: float
    ahead: float
    left: float
    cone: float | None
    freedom: int
    spread: float | None
    residuals: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Deviation:
    """A deviation of the plane (rad), its standard uncertainty, and its test against zero (t), None without a
    standard."""

    value: float
    standard: float | None
    test: Test | None


@dataclass(frozen=True, slots=True)
class LaserTest:
    """What a test found. `reading_spread` (m): experimental standard deviation of one staff reading, that of a
    difference over sqrt 2, with `freedom`, None below `LEAST_FREEDOM`; `height` of B over A (m). `tilt` (rad): hypot of
    ahead and left, never negative; where it rises, anticlockwise from the mark: `rises_towards` (rad). `as_claimed`:
    the spread against the claimed one (chi-square). `as_before`: the ratio of variances, now to before, and the ends it
    must lie between (F)."""

    full: bool
    series: tuple[Series, ...]
    freedom: int
    reading_spread: float | None
    height: float
    ahead: Deviation
    left: Deviation
    cone: Deviation | None
    as_claimed: Test | None
    as_before: tuple[float, float, float] | None

    @property
    def tilt(self) -> float:
        """Size of the plane's tilt (rad): 10 arc seconds are 1.454 mm at 30 m."""
        return math.hypot(self.ahead.value, self.left.value)

    @property
    def rises_towards(self) -> float:
        """Where the plane rises (rad), anticlockwise from the laser's mark."""
        return math.atan2(self.left.value, self.ahead.value)

    @property
    def same_as_before(self) -> bool | None:
        """Whether both samples may have one spread; None without an earlier one."""
        if self.as_before is None:
            return None
        ratio, low, high = self.as_before
        return low <= ratio <= high


def laser_test(
    sights: Sequence[Sight], apart: float, *, full: bool, claimed: float | None = None,
    before: tuple[float, int] | None = None,
) -> LaserTest:  # fmt: skip
    """The test of a laser from pairs of readings on staffs `apart` (m) from A to B.

    `full`: at least four series, each of three stands, one with unlike ways to A and B, and four headings at every
    stand; else one series or more of four headings, enough for tilt but not for a spread. `claimed` (m): standard
    deviation of one reading as the maker has it; `before`: (spread of one reading m, degrees of freedom) of an earlier
    test. Curvature and refraction are taken off. Readings 1.500 on A and 1.504 on B with the mark towards B, 1.504 and
    1.500 with it turned about, 40 m apart: height 0, rising 0.0001 (20.6 arc seconds) towards the mark. Raises
    `Refused` with every fault: "not-finite", "out-of-range", "too-few-sights", "headings-missing", "stands-alike",
    "not-midway" of a single stand, "negative-uncertainty"; "sights-disagree" where a series contradicts itself and no
    spread can be told: a misread staff would else be told as a tilt."""
    refuse(_faults(sights, apart, claimed, before))
    numbers = sorted({sight.series for sight in sights})
    by_series = {i: [sight for sight in sights if sight.series == i] for i in numbers}
    refuse(fault for i, each in by_series.items() for fault in _layout(i, each, apart, full=full))
    if full and len(numbers) < SERIES:
        refuse([Fault("too-few-sights", "sights", f"{len(numbers)} series", f"at least {SERIES} in a full test",
                      "read more series, or name it simplified")])  # fmt: skip
    with_cone = all(_unlike(each, apart) for each in by_series.values())
    found = [_adjusted(each, apart, with_cone=with_cone) for each in by_series.values()]
    series = [each for each, _ in found]
    freedom = sum(each.freedom for each in series)
    square = math.fsum(r * r for each in series for r in each.residuals)
    variance = square / freedom if freedom >= LEAST_FREEDOM else None
    if variance is None:  # else their scatter is told, and tested
        refuse(_contradicting(numbers, series))
    inverse = np.mean([each for _, each in found], axis=0) / len(found)  # of means over the series
    deviations = [
        _deviation(
            float(np.mean([getattr(each, name) for each in series])), variance, float(inverse[k, k]), freedom, apart
        )
        for k, name in enumerate(_UNKNOWNS[1:], start=1) if name != "cone" or with_cone
    ]  # fmt: skip
    reading = None if variance is None else math.sqrt(0.5 * variance)
    return LaserTest(
        full, tuple(series), freedom, reading, float(np.mean([each.height for each in series])), deviations[0],
        deviations[1], deviations[2] if with_cone else None,
        None if claimed is None or reading is None
        else Test(reading, claimed * spread_limit(freedom), freedom),
        None if before is None or reading is None else _ratio(reading, freedom, *before),
    )  # fmt: skip


def _contradicting(numbers: Sequence[int], series: Sequence[Series]) -> Iterator[Fault]:
    for number, each in zip(numbers, series, strict=True):
        worst = max(map(abs, each.residuals))
        if worst > MOST_RESIDUAL_M:
            yield Fault(
                "sights-disagree", "sights",
                f"series {number} contradicts itself: {1e3 * worst:.1f} mm are left of a difference",
                f"at most {1e3 * MOST_RESIDUAL_M:g} mm",
                "one staff was misread or mistyped, or the laser moved: read it anew",
                {"residual_m": worst},
            )  # fmt: skip


def _ratio(spread: float, freedom: int, before: float, freedom_before: int) -> tuple[float, float, float]:
    """(ratio of variances, least, most) that two samples of one spread keep within, 95 % (F)."""
    high = float(fdtri(freedom, freedom_before, 0.975))
    low = float(fdtri(freedom, freedom_before, 0.025))
    return (spread / before) ** 2, low, high


def _deviation(
    value: float, variance: float | None, cofactor: float, freedom: int, apart: float
) -> Deviation:
    if variance is None:
        return Deviation(value, None, None)
    standard = math.sqrt(variance * cofactor)
    limit = max(t_limit(freedom) * standard, FINEST_M / apart)
    return Deviation(value, standard, Test(abs(value), limit, freedom))


def _adjusted(sights: Sequence[Sight], apart: float, *, with_cone: bool) -> tuple[Series, Floats]:
    """(series, inverse of its normal matrix), by least squares."""
    rows = np.array([_row(sight, apart) for sight in sights])
    rows = rows if with_cone else rows[:, :3]
    said = np.array([
        (sight.reading_b - curvature_and_refraction_m(abs(apart - sight.along)))
        - (sight.reading_a - curvature_and_refraction_m(abs(sight.along)))
        for sight in sights
    ])  # fmt: skip
    solved, _, _, _ = np.linalg.lstsq(rows, said, rcond=None)
    left = said - rows @ solved
    freedom = len(sights) - rows.shape[1]
    height, ahead, to_left, *cone = solved.tolist()
    spread = math.sqrt(float(left @ left) / freedom) if freedom else None
    inverse: Floats = np.linalg.inv(rows.T @ rows)
    return Series(
        height, ahead, to_left, cone[0] if cone else None, freedom, spread, tuple(left.tolist())
    ), inverse


def _row(sight: Sight, apart: float) -> list[float]:
    further = abs(apart - sight.along) - abs(sight.along)
    return [-1.0, apart * math.cos(sight.heading), -apart * math.sin(sight.heading), further]


def _unlike(sights: Sequence[Sight], apart: float) -> bool:
    ways = [abs(apart - sight.along) - abs(sight.along) for sight in sights]
    return max(ways) - min(ways) > _ALIKE * apart


def _faults(
    sights: Sequence[Sight], apart: float, claimed: float | None, before: tuple[float, int] | None
) -> Iterator[Fault]:
    if not math.isfinite(apart) or not LEAST_APART_M <= apart <= MOST_APART_M:
        yield Fault(
            "out-of-range", "apart", f"{apart:g} m", f"{LEAST_APART_M:g} to {MOST_APART_M:g} m from staff to staff",
            "40 m is usual", {"apart_m": apart},
        )  # fmt: skip
    for i, sight in enumerate(sights):
        for name, value, most in (
            ("along", sight.along, 2.0 * MOST_APART_M), ("heading", sight.heading, 4.0 * math.pi),
            ("reading_a", sight.reading_a, MOST_READING_M), ("reading_b", sight.reading_b, MOST_READING_M),
        ):  # fmt: skip
            if not math.isfinite(value):
                yield Fault("not-finite", f"sights.{i}.{name}", str(value), "a finite number")
            elif abs(value) > most:
                yield Fault("out-of-range", f"sights.{i}.{name}", f"{value:g}", f"at most {most:g} either way",
                            "check the unit and the decimal point")  # fmt: skip
    for where, size in (("claimed", claimed), ("before", None if before is None else before[0])):
        if size is not None and not (math.isfinite(size) and size > 0.0):
            yield Fault("negative-uncertainty", where, f"{size:g}", "more than 0")
    if before is not None and before[1] < 1:
        yield Fault("out-of-range", "before", f"{before[1]} degrees of freedom", "1 or more")
    if len(sights) < QUARTERS:
        yield Fault("too-few-sights", "sights", str(len(sights)), f"at least {QUARTERS}: one a quarter turn")


def _layout(number: int, sights: Sequence[Sight], apart: float, *, full: bool) -> Iterator[Fault]:
    """What a series lacks."""
    where = f"series {number}"
    stands: list[float] = []
    for sight in sights:
        if all(abs(sight.along - each) > _SAME_M for each in stands):
            stands.append(sight.along)
    for stand in stands:
        headings = [sight.heading for sight in sights if abs(sight.along - stand) <= _SAME_M]
        missing = [
            k
            for k in range(QUARTERS)
            if not any(_is_near(h, headings[0] + 0.5 * math.pi * k) for h in headings)
        ]
        if missing:
            yield Fault(
                "headings-missing", "sights", f"{where}, {stand:g} m from A: {len(headings)} sights, "
                f"{len(missing)} of the four quarters missing", "the laser's mark in four headings a quarter turn apart",
                "turn the laser on its tripod by 90 deg between readings",
            )  # fmt: skip
    if not full and len(stands) == 1:
        yield from (
            Fault(
                "not-midway", "sights", f"{where}: the laser {stand:g} m from A",
                f"midway, {0.5 * apart:g} m from A, give or take {_MIDWAY * apart:g} m",
                "check along, apart and their unit",
            )
            for stand in stands if abs(stand - 0.5 * apart) > _MIDWAY * apart
        )  # fmt: skip
    if full and len(stands) < STANDS:
        yield Fault(
            "too-few-sights",
            "sights",
            f"{where}: {len(stands)} stands",
            f"at least {STANDS} in a full test",
            "midway between the staffs, beyond A, and beyond B",
        )
    elif full and not _unlike(sights, apart):
        yield Fault("stands-alike", "sights", f"{where}: ways to A and B are alike at every stand",
                    "a stand beyond a staff: without it a cone is not seen",
                    "stand 15 m beyond A, and beyond B")  # fmt: skip


def _is_near(one: float, other: float) -> bool:
    return abs(math.remainder(one - other, 2.0 * math.pi)) <= _SAME_RAD
