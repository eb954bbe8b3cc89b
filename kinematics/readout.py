"""The readout: a pure function of pose, book, target and what is known of its stations.

What can be said is said, and why the rest cannot: a readout without a height still gives depth below a struck
laser plane; one whose target has lapsed still gives elevations.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

from .arm import Pose
from .corrections import ADVISED, Correction, Corrector, TiltCorrection
from .errors import Fault, Refused
from .grade import NOISE_M, CutFill, Target, cut_fill, target_elevation
from .levelling import Book, Known
from .parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS
from .reach import Line
from .stations import Anchor, anchor, level_slopes, station
from .units import ratio_from_percent

# A body that rocks 0.3 deg about a track end 1.9 m away moves its origin by 10 mm.
LEAN_CHANGE_RAD = math.radians(0.3)
LINES = {"edge": EDGE_POINTS, "teeth": TOOTH_POINTS}


@dataclass(frozen=True, slots=True)
class PointReadout:
    """One edge point. Metres; None where it cannot be said.

    `height` over the body origin, `elevation` in the job's datum, `below_plane` under the laser plane (positive
    down), `target` the target's elevation there, `cut_fill` against it, `station` along a sloping target.
    """

    height: float
    elevation: float | None
    below_plane: float | None
    target: float | None
    cut_fill: CutFill | None
    station: float | None


Move = TypeVar("Move", Correction, TiltCorrection)


@dataclass(frozen=True, slots=True)
class Advised(Generic[Move]):
    """A correction to the target and what would be so once it is made.

    `deepest`: the part of the bucket farthest below the target where it then stands, by `below_target` (m; above it:
    negative). `then`: "past-target" where that is more than the tolerance, "below-floor-limit".
    """

    move: Move
    deepest: str
    below_target: float
    then: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Readout:
    """What the operator is told. Metres, radians, slopes as ratios.

    `points`: left, centre, right of the chosen line. `lowest`: what hangs lowest, with its elevation (None without
    a height) and whether it is below the floor limit. `target_cross_slope`: the target's along this edge.
    `corrections`: advice for the point of the line that was asked for, one joint alone each; `tilt`: for the target's
    cross-slope. Both empty where there is no cut or fill there. `why_not`: every reason for a number that is missing;
    `warnings`: what to think of before trusting one.
    """

    points: Mapping[str, PointReadout]
    lowest: tuple[str, float | None]
    below_floor_limit: bool
    target_cross_slope: float | None
    corrections: tuple[Advised[Correction], ...]
    tilt: Advised[TiltCorrection] | None
    why_not: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    hangs_on: frozenset[int]


@dataclass(frozen=True, slots=True)
class Aim:
    """A target with the benchmark it hangs on and, where it slopes, its anchor.

    `entered_station` (m): the station of the edge centre as read off a tape, in place of an anchor.
    """

    target: Target
    benchmark: Known
    hangs_on: frozenset[int] = frozenset()
    anchor: Anchor | None = None
    swung: bool = False
    entered_station: float | None = None


def readout(
    found: Pose,
    book: Book,
    aim: Aim | None,
    *,
    line: str = "edge",
    point: str = "centre",
    swing: float | None = None,
    lean: float | None = None,
) -> Readout:
    """Elevation and cut or fill at the left, centre and right of `line` ("edge" or "teeth").

    Origin at 101.850, edge centre 3.270 below it (-3.270), target 98.580: nothing to cut, on grade.
    `point` ("left", "centre" or "right") of the line is the one that corrections bring to the target: of an edge whose
    right corner stands on grade and its centre 13 mm above, none moves the right one.
    `swing` (rad) of the body on its undercarriage, None where not sensed; `lean` (rad) the body's total tilt when
    its height was set, None where unknown.
    Raises `Refused` "no-such-point" for teeth on a bucket without them; what merely is not known is in `why_not`.
    """
    why_not: list[Fault] = []
    height = book.height
    if height is None:
        why_not.append(_no_height(book))
    found.level(LINES[line][0])  # refuses teeth on a bucket without them
    stations = _stations(found, book, aim, swing, why_not)
    targets = _targets(found, aim, stations)
    limit = None if aim is None else floor_limit(aim)
    places = found.places()
    every = {
        point: _point(places[point][0][2], book, aim, limit, targets[point], stations.get(point))
        for point in _bucket_points(found)
    }
    points = {name: every[point] for name, point in zip(EDGE_POINTS, LINES[line], strict=True)}
    what, lowest = found.lowest()
    lowest_elevation = None if height is None else height.elevation + lowest
    below = limit is not None and lowest_elevation is not None and lowest_elevation < limit - NOISE_M
    hangs_on: frozenset[int] = frozenset() if height is None else height.hangs_on
    if book.struck is not None:
        hangs_on |= {book.struck.seq}
    if aim is not None:
        hangs_on |= aim.benchmark.hangs_on | aim.hangs_on
    warnings = (
        *_lower_than_told(every, aim, line),
        *_warnings(found, below=below),
        *_body_warnings(found, book, lean),
    )
    across = _slope_along_edge(found, line, points)
    advised, tilt = _advice(found, book, aim, swing, line, point, points[point], across)
    return Readout(
        points, (what, lowest_elevation), below, across, advised, tilt, tuple(why_not), warnings, hangs_on,
    )  # fmt: skip


def _bucket_points(found: Pose) -> tuple[str, ...]:
    """Edge, teeth where there are any, and heel."""
    return EDGE_POINTS + (TOOTH_POINTS if found.has_teeth else ()) + HEEL_POINTS


def floor_limit(aim: Aim) -> float | None:
    """Elevation (m) never to be passed, or None where the target sets none."""
    below = aim.target.floor_limit_below_m
    return None if below is None else aim.benchmark.elevation - below


def _no_height(book: Book) -> Fault:
    if book.setup == 0:
        return Fault("no-setup", "", "a job without a machine", "a setup", "record a setup first")
    return Fault(
        "height-unknown", "", "no touch or carried strike that counts in this setup", "a known height",
        book.how_to_know_height(),
    )  # fmt: skip


def _stations(
    found: Pose, book: Book, aim: Aim | None, swing: float | None, why_not: list[Fault]
) -> dict[str, tuple[float, float]]:
    """Station and right offset of each point of a sloping target; none with a reason where unknown."""
    if aim is None or not aim.target.sloping:
        return {}
    known = _zero(found, book, aim, swing)
    if known is None:
        why_not.append(
            Fault("station-unknown", "target", f"{aim.target.name!r} slopes and has no zero point here",
                  "a touched station", "touch a known station, or enter the distance")
        )  # fmt: skip
        return {}
    swung = aim.swung and aim.entered_station is None
    try:
        return {
            point: station(known, found, point, swing, book.setup, swung=swung)
            for point in _bucket_points(found)
        }
    except Refused as refused:
        why_not.extend(refused.faults)
        return {}


def _targets(
    found: Pose, aim: Aim | None, stations: Mapping[str, tuple[float, float]]
) -> dict[str, float | None]:
    """The target's elevation at each point, None where it cannot be said."""
    names = _bucket_points(found)
    if aim is None or (aim.target.sloping and not stations):
        return dict.fromkeys(names)
    if not aim.target.sloping:
        return dict.fromkeys(names, target_elevation(aim.target, aim.benchmark.elevation))
    return {name: target_elevation(aim.target, aim.benchmark.elevation, *stations[name]) for name in names}


def _zero(found: Pose, book: Book, aim: Aim, swing: float | None) -> Anchor | None:
    """Where the target's station is known: as entered, or as touched."""
    if aim.entered_station is None:
        return aim.anchor
    return anchor(found, "centre", aim.entered_station, swing, book.setup)


def _point(
    z: float, book: Book, aim: Aim | None, limit: float | None, target: float | None, station: tuple[float, float] | None
) -> PointReadout:  # fmt: skip
    elevation = None if book.height is None else book.height.elevation + z
    below_plane = None if book.struck is None else book.struck.receiver_height - z
    compared = None
    if aim is not None and target is not None and elevation is not None:
        compared = cut_fill(elevation, target, aim.target.tolerance_m, limit)
    return PointReadout(z, elevation, below_plane, target, compared, None if station is None else station[0])


def fall_of(found: Pose, book: Book, aim: Aim | None, swing: float | None) -> tuple[float, float]:
    """How the target rises ahead and to the left in the level frame, as ratios; (0, 0) of a level one, of none, and of
    one whose zero point is not known. A drain falling 2 % away from the machine: (-0.02, 0)."""
    known = None if aim is None else _zero(found, book, aim, swing)
    if aim is None or known is None or not aim.target.sloping:
        return 0.0, 0.0
    slopes = ratio_from_percent(aim.target.along_percent), ratio_from_percent(aim.target.across_percent)
    return level_slopes(known, found, swing, *slopes)


def _slope_along_edge(found: Pose, line: str, points: Mapping[str, PointReadout]) -> float | None:
    left, right = points["left"].target, points["right"].target
    if left is None or right is None:
        return None
    lx, ly, _ = found.level(LINES[line][0])
    rx, ry, _ = found.level(LINES[line][2])
    return (right - left) / math.hypot(rx - lx, ry - ly)


def _advice(
    found: Pose, book: Book, aim: Aim | None, swing: float | None, line: str, asked: str, there: PointReadout,
    across: float | None,
) -> tuple[tuple[Advised[Correction], ...], Advised[TiltCorrection] | None]:  # fmt: skip
    """Corrections of each joint but the tilt, which is for the cross-slope; none where there is no cut or fill."""
    if aim is None or book.height is None or there.target is None:
        return (), None
    point, origin, plan = LINES[line][EDGE_POINTS.index(asked)], book.height.elevation, aim.target
    forward, left = fall_of(found, book, aim, swing)
    surface = Line(there.target - origin, forward, found.level(point)[0])
    limit = floor_limit(aim)
    other = "teeth" if line == "edge" else "edge"

    def advised(move: Move) -> Advised[Move]:
        after = move.after
        then = []
        if after.below > plan.tolerance_m + NOISE_M:
            then.append(_too_deep(after.deepest, after.below, plan.tolerance_m, other))
        if limit is not None and origin + after.height < limit - NOISE_M:
            then.append(_below_limit(after.lowest, limit - origin - after.height))
        return Advised(move, after.deepest, after.below, tuple(then))

    corrector = Corrector(found)
    moves = corrector.to_plane(surface, point, left, ADVISED.index("tilt"))
    tilt = None if across is None else corrector.to_cross_slope(across, surface, point, left)
    return tuple([advised(move) for move in moves]), None if tilt is None else advised(tilt)


def _too_deep(point: str, below: float, tolerance: float, other: str) -> Fault:
    return Fault(
        "past-target", point, f"{point} {below * 1e3:.0f} mm below the target",
        f"no part of the bucket more than {tolerance * 1e3:.0f} mm below it",
        "uncurl, or raise" if point in HEEL_POINTS else f"read the line that stands lower: {other}",
        {"below_target_m": below, "tolerance_m": tolerance},
    )  # fmt: skip


def _below_limit(point: str, below: float) -> Fault:
    return Fault(
        "below-floor-limit", point, f"{point} {below * 1e3:.0f} mm below the target's floor limit",
        "the whole bucket above it", "stop short of it; the limit protects no pipe and no cable",
        {"below_floor_limit_m": below},
    )  # fmt: skip


def _lower_than_told(every: Mapping[str, PointReadout], aim: Aim | None, line: str) -> list[Fault]:
    """A warning where a part of the bucket that the readout does not show has passed the target.

    Teeth 75 mm below an edge that still has cut 45 mm are 30 mm too deep.
    """
    if aim is None:
        return []
    past = {
        point: -told.cut_fill.value_m
        for point, told in every.items()
        if point not in LINES[line] and told.cut_fill is not None and told.cut_fill.word == "fill"
    }
    if not past:
        return []
    deepest = max(past, key=lambda point: past[point])
    other = "teeth" if line == "edge" else "edge"
    return [_too_deep(deepest, past[deepest], aim.target.tolerance_m, other)]


def _warnings(found: Pose, *, below: bool) -> list[Fault]:
    warnings = []
    if below:
        warnings.append(
            Fault("below-floor-limit", found.lowest()[0], f"{found.lowest()[0]} below the target's floor limit",
                  "the whole bucket above it", "raise; the limit protects no pipe and no cable")
        )  # fmt: skip
    if found.heel_clearance < -NOISE_M:
        warnings.append(
            Fault("heel-rubs", "heel", f"heel {-found.heel_clearance * 1e3:.0f} mm below the edge",
                  "a heel above the edge", "uncurl, or the heel lifts the cut",
                  {"heel_clearance_m": found.heel_clearance})
        )  # fmt: skip
    if found.past_square:
        warnings.append(
            Fault("past-square", "rotate", "the bucket is turned past square",
                  "left and right as seen from the seat",
                  "left and right here are the bucket's own: its left is on your right")
        )  # fmt: skip
    return warnings


def _body_warnings(found: Pose, book: Book, lean: float | None) -> list[Fault]:
    warnings = []
    now = math.acos(min(1.0, found.plumb[2]))
    if book.height is not None and lean is not None and abs(now - lean) > LEAN_CHANGE_RAD:
        warnings.append(
            Fault("lean-changed", "attitude_deg",
                  f"the body leans {math.degrees(now):.2f} deg, {math.degrees(lean):.2f} when its height was set",
                  f"within {math.degrees(LEAN_CHANGE_RAD):g} deg: swinging alone does not change it",
                  "it rocks, has settled, or a sensor was knocked: let it rest, or touch again",
                  {"lean_deg": math.degrees(now), "lean_at_height_deg": math.degrees(lean)})
        )  # fmt: skip
    if book.struck is not None and book.laser is not None and book.laser.fall:
        warnings.append(
            Fault("plane-falls", "", f"a laser plane with a fall of {100 * book.laser.fall:g} %",
                  "depth below the plane asked for at the receiver's place",
                  "away from there it is off by the fall times the distance", {"fall_percent": 100 * book.laser.fall})
        )  # fmt: skip
    return warnings
