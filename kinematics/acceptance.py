"""Whether a readout may be handed over: staff-checked points all over the working zone, against an agreed tolerance.

Every cell of near, middle and far by left, centre and right by two swings holds a point, on ground that leans, so that
an error which shows only far out, in a corner or after a swing cannot hide. Differences are tool minus staff. Metres,
radians.

The rule: at least 95 % of all readings within the tolerance, with 95 % confidence, |bias| + k spread <= tolerance, and
none of the points beyond it. k is the two-sided statistical tolerance factor of ISO 16269-6 (normal distribution, mean
and spread both of the sample), computed here without approximation; sources in the tests."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtrc, ndtr

from .agreement import mean_of, spread_of
from .errors import Fault, Refused, refuse

Floats = NDArray[np.float64]
Distance = Literal["near", "middle", "far"]
Side = Literal["left", "centre", "right"]
Cell = tuple[Distance, Side, int]
DISTANCES: tuple[Distance, ...] = ("near", "middle", "far")
SIDES: tuple[Side, ...] = ("left", "centre", "right")
SWINGS = (1, 2)
CELLS: tuple[Cell, ...] = tuple(product(DISTANCES, SIDES, SWINGS))
FEWEST = 20
LEAST_APART_M = 0.1
"""Two points of one side that are nearer are one point read twice: it would count as a sample of its own, and is none.
Our own choice: a bucket's point set down again on the same stone comes back within some centimetres."""
MOST_TOLERANCE_M = 1.0


@dataclass(frozen=True, slots=True)
class Rule:
    """What was agreed. `tolerance` (m); `share` of all readings within it, with `confidence`. Reaches up to `near_to`
    and from `far_from` of the arm's length are near and far; `least_lean` of the ground; two swings at least `apart`,
    points of one within `together`; the lean must turn with the swing within `followed`. All but the tolerance: our own
    choice, shown on the certificate. Raises `Refused`: "not-finite", "out-of-range"."""

    tolerance: float
    share: float = 0.95
    confidence: float = 0.95
    near_to: float = 0.55
    far_from: float = 0.8
    least_lean: float = math.radians(2.0)
    apart: float = math.radians(45.0)
    together: float = math.radians(20.0)
    followed: float = math.radians(15.0)

    def __post_init__(self) -> None:
        refuse(self._faults())

    def _faults(self) -> Iterator[Fault]:
        if not math.isfinite(self.tolerance):
            yield Fault("not-finite", "tolerance", str(self.tolerance), "a finite number")
        elif not 0.0 < self.tolerance <= MOST_TOLERANCE_M:
            yield Fault("out-of-range", "tolerance", f"{self.tolerance:g} m",
                        f"more than 0, at most {MOST_TOLERANCE_M:g} m", "check the unit",
                        {"tolerance_m": self.tolerance})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Point:
    """One staff-checked point. `difference` tool minus staff (m); `reach` as a share of the arm's length; `side` of
    the bucket; `pitch`, `roll` of the body (rad); `swing` (rad), None where nobody said; `setup`: which stand of the
    machine; `place` (m) of the bucket's point: level, turned back by the swing, and its height; `name` in faults."""

    difference: float
    reach: float
    side: Side
    pitch: float
    roll: float
    swing: float | None
    setup: int
    place: tuple[float, float, float]
    name: str

    @property
    def lean(self) -> float:
        """Total tilt of the body (rad): acos(cos p cos r)."""
        return math.acos(min(1.0, math.cos(self.pitch) * math.cos(self.roll)))

    @property
    def ground(self) -> float:
        """Which way the ground rises (rad), anticlockwise from where swing is zero: the same at every swing."""
        across = math.cos(self.pitch) * math.sin(self.roll)
        return math.atan2(across, math.sin(self.pitch)) + (self.swing or 0.0)


@dataclass(frozen=True, slots=True)
class Acceptance:
    """What points come to. Metres. `worst`: which is farthest from zero; `beyond`: those past the tolerance; `factor`
    k; `reached` = |bias| + k spread, to be at most the tolerance; `cells` of each point, None for one that fits no
    swing."""

    count: int
    bias: float
    spread: float
    rms: float
    worst: int
    factor: float
    reached: float
    beyond: tuple[int, ...]
    cells: tuple[Cell | None, ...]
    passed: bool


def distance_of(reach: float, rule: Rule) -> Distance:
    """Near, middle or far, of a reach as a share of the longest: 0.9 is far."""
    return "near" if reach < rule.near_to else "far" if reach >= rule.far_from else "middle"


def cells_of(points: Sequence[Point], rule: Rule) -> list[Cell | None]:
    """The cell of each point. Swing 1 is that of the first point whose swing is known, swing 2 of the first that is
    `apart` from it; a point with neither is in no cell."""
    firsts: list[float] = []
    for point in points:
        if point.swing is not None and len(firsts) < len(SWINGS) and (
            not firsts or _apart(point.swing, firsts[0]) >= rule.apart
        ):  # fmt: skip
            firsts.append(point.swing)

    def swing_of(point: Point) -> int | None:
        if point.swing is None:
            return None
        off = [(_apart(point.swing, first), k) for k, first in enumerate(firsts, start=1)]
        nearest, number = min(off, default=(math.inf, 0))
        return number if nearest <= rule.together else None

    return [
        None if (number := swing_of(point)) is None else (distance_of(point.reach, rule), point.side, number)
        for point in points
    ]


def missing(points: Sequence[Point], rule: Rule) -> list[Fault]:
    """Everything that keeps points from being judged, at once: too few, one point read twice, the machine moved
    meanwhile, swings not known or alike, cells without one, no lean, and a lean that did not turn with the swing. Empty
    where nothing does."""
    faults: list[Fault] = []
    if len(points) < FEWEST:
        faults.append(Fault("too-few-checks", "checks", f"{len(points)} staff-checked points", f"at least {FEWEST}",
                            "check more points", {"least": float(FEWEST)}))  # fmt: skip
    unknown = sum(point.swing is None for point in points)
    if unknown:
        faults.append(Fault("swing-unknown", "checks", f"{unknown} of {len(points)} without a swing angle",
                            "the swing of each: sensed, or entered as swing_deg", "check these again"))  # fmt: skip
    cells = cells_of(points, rule)
    faults += [
        Fault("cell-empty", "checks", f"no point {distance}, {side}, at swing {number}", "one at least in each cell",
              "check one there")
        for distance, side, number in CELLS if (distance, side, number) not in cells
    ]  # fmt: skip
    flat = sum(point.lean < rule.least_lean for point in points)
    if flat:
        least, degrees = min(point.lean for point in points), math.degrees(rule.least_lean)
        faults.append(Fault(
            "lean-too-small", "checks", f"{flat} of {len(points)} leaning less, one only {math.degrees(least):.2f} deg",
            f"a body that leans at least {degrees:g} deg", "stand on a slope, or raise one track on planks",
            {"lean_deg": math.degrees(least), "least_deg": degrees},
        ))  # fmt: skip
    setups = sorted({point.setup for point in points})
    if len(setups) > 1:
        faults.append(Fault(
            "moved-meanwhile", "checks", "points of setups " + ", ".join(map(str, setups)), "one stand of the machine",
            "a swing shows only on ground that stays: check all points anew from one stand",
        ))  # fmt: skip
    elif not flat:
        faults += _not_followed(points, rule)
    return [*faults, *_repeated(points)]


def _repeated(points: Sequence[Point]) -> Iterator[Fault]:
    for i, point in enumerate(points):
        for before in points[:i]:
            off = math.dist(before.place, point.place)
            if (before.side, before.setup) == (point.side, point.setup) and off < LEAST_APART_M:
                yield Fault(
                    "point-repeated", "checks", f"{before.name} and {point.name}, {off:.3f} m apart",
                    f"points of one side {LEAST_APART_M:g} m apart or more",
                    "withdraw one of them: a point read twice is one point", {"apart_m": off},
                )  # fmt: skip
                break


def _not_followed(points: Sequence[Point], rule: Rule) -> Iterator[Fault]:
    """The body swings on ground that stays: a swing that was mistyped, or a body sensor that is wrong, shows here."""
    ways = [point.ground for point in points if point.swing is not None]
    if not ways:
        return
    middle = math.atan2(math.fsum(map(math.sin, ways)), math.fsum(map(math.cos, ways)))
    worst = max(abs(math.remainder(way - middle, 2.0 * math.pi)) for way in ways)
    if worst > rule.followed:
        found = f"the lean turned {math.degrees(worst):.0f} deg otherwise than the swing entered"
        yield Fault(
            "swing-not-seen", "checks", found, f"within {math.degrees(rule.followed):.0f} deg",
            "the ground stays while the body swings: check swing_deg (anticlockwise from above) and the body sensor",
            {"off_deg": math.degrees(worst)},
        )  # fmt: skip


def _apart(one: float, other: float) -> float:
    return abs(math.remainder(one - other, 2.0 * math.pi))


def accepted(points: Sequence[Point], rule: Rule) -> Acceptance:
    """Points judged by the rule. 20 points of bias 2 mm and spread 5 mm: 2 + 2.760 * 5 = 15.8 mm.

    Raises `Refused` with everything that is `missing`, and "not-finite".
    """
    refuse(
        Fault("not-finite", f"checks.{i}", str(point.difference), "a finite difference")
        for i, point in enumerate(points) if not math.isfinite(point.difference)
    )  # fmt: skip
    refuse(missing(points, rule))
    values = [point.difference for point in points]
    n, bias, spread = len(values), mean_of(values), spread_of(values)
    factor = tolerance_factor(n, rule.share, rule.confidence)
    reached = abs(bias) + factor * spread
    beyond = tuple(i for i, value in enumerate(values) if abs(value) > rule.tolerance)
    return Acceptance(
        count=n, bias=bias, spread=spread, rms=math.sqrt(math.fsum(v * v for v in values) / n),
        worst=max(range(n), key=lambda i: abs(values[i])), factor=factor, reached=reached, beyond=beyond,
        cells=tuple(cells_of(points, rule)), passed=reached <= rule.tolerance and not beyond,
    )  # fmt: skip


@lru_cache(maxsize=64)
def tolerance_factor(count: int, share: float = 0.95, confidence: float = 0.95) -> float:
    """k of the interval mean +- k spread of a sample that holds at least `share` of a normal population with
    `confidence`.

    Two-sided, mean and spread both of the sample: 20 values, 95 %, 95 %: 2.760. Source of the definition: ISO 16269-6;
    computed as R. E. Odeh and D. B. Owen did, by quadrature over the mean. Raises `Refused`: "too-few-checks",
    "out-of-range".
    """
    if count < 2:
        raise Refused([Fault("too-few-checks", "count", str(count), "at least 2")])
    refuse(
        Fault("out-of-range", name, f"{value:g}", "between 0 and 1")
        for name, value in (("share", share), ("confidence", confidence))
        if not 0.0 < value < 1.0
    )
    nodes, weights = np.polynomial.legendre.leggauss(80)
    z = 4.0 * (nodes + 1.0)  # of the mean's deviation, 0 to 8 of its standard deviations
    by = 4.0 * weights * np.exp(-0.5 * z * z) * math.sqrt(2.0 / math.pi)
    radius = np.array([_radius(float(x), share) for x in z / math.sqrt(count)])
    freedom = count - 1

    def confident(k: float) -> float:
        return float(by @ chdtrc(freedom, freedom * (radius / k) ** 2)) - confidence

    return float(brentq(confident, 1e-3, 1e4, xtol=1e-12, rtol=1e-13))


def _radius(off: float, share: float) -> float:
    """Half the width of the interval about `off` that holds `share` of a standard normal distribution."""
    return float(brentq(lambda r: ndtr(off + r) - ndtr(off - r) - share, 0.0, off + 40.0, xtol=1e-13))
