"""The longest unbroken pass of an edge along a line from one setup, the floor angle held inside a window.

What can be dug is a region of (reach, in-plane bucket angle), see `region`: a mask on a grid, its longest run of columns
that hang together, both ends by bisection. The path in it keeps to the preferred floor angle, or to the region's edge.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from .arm import Pose
from .arm_plane import Floats, angle_fault, hold, point_faults
from .assembly import Assembly
from .errors import Fault, Refused
from .machine import Range
from .parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS
from .reach import Line
from .region import LIMITS, ROUNDING, Mask, Region, Run, bisected, longest_run

STEP_M = 0.02
APART_M = 0.05
END_M = 1e-7
# An end's stops are the limits with no more room than this (rad or m), a hundred times what END_M of reach asks for.
AT_STOP = 1e-5
_ACROSS = 129
_HEIGHTS_M = 0.1


@dataclass(frozen=True, slots=True)
class Stop:
    """One thing that ends a pass: `what` (joint, "arm", "floor", "heel", "between"), in words, and its numbers."""

    what: str
    words: str
    numbers: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """One place of a pass: `reach` and `height` (m) of its point, the `pose`, `cylinders` (m) by joint.

    `floor_angle` (rad) as `Pose.floor_angle`, `floor_to_line` (rad) from the surface that the edge cuts along the line,
    positive with the heel above it.
    """

    reach: float
    height: float
    floor_angle: float
    floor_to_line: float
    joints: dict[str, float]
    cylinders: dict[str, float]
    pose: Pose


@dataclass(frozen=True, slots=True, eq=False)
class Pass:
    """A pass from its near to its far end: `length_m` along the reach, `places` in order of reach.

    `near_stops`, `far_stops`: what keeps it from going on. `lowest_below_line_m`: how far the lowest of edge, teeth and
    heel goes below the line at any of the places (above it: negative); with teeth, the edge's own pass has them below.
    `most_turned`: the most (rad) that the bucket turns from one place to the next; where it is large, the bucket is
    turned at a stand, its point on the line and all limits kept.
    """

    length_m: float
    places: tuple[Place, ...]
    near_stops: tuple[Stop, ...]
    far_stops: tuple[Stop, ...]
    lowest_below_line_m: float
    most_turned: float


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """A run on one strip and side of the elbow, its ends (reach m, in-plane angle rad) refined; NaN at `between`."""

    side: float
    strip: Floats
    columns: Floats
    run: Run
    near: tuple[float, float]
    far: tuple[float, float]


def longest_pass(
    assembly: Assembly,
    *,
    pitch: float,
    roll: float,
    line: Line,
    floor: Range,
    preferred: float = 0.0,
    point: str = "centre",
    between: Range | None = None,
    swing_boom: float | None = None,
    fore_boom: float | None = None,
    tilt: float | None = None,
    rotate: float | None = None,
) -> Pass:
    """The longest unbroken pass of `point` along `line` from this setup, boom, stick and bucket moving.

    `floor` (rad): the window of the floor angle to the surface cut, positive with the heel above it: Range(0, 0.26) lets
    the bucket roll up 15 deg. `preferred` (rad) in that window: held wherever the joints allow. `between` (m): reaches
    it must keep to. The heel is never below the surface. Level-frame metres; the other joints as to `pose`.
    Ends are found to 1e-6 m on a region looked for in steps of 20 mm and 0.25 deg: what is smaller is not seen. The
    body, tracks and the ground's sides are not known to it: keep the near end off the tracks with `between`.
    Raises `Refused`: as `place_edge` for what is given; "range-swapped"; "preferred-outside"; "no-pass" with
    `nearest_height_m`, the nearest height of a line of this slope that has one, found in steps of 0.1 m.
    """
    faults = point_faults(assembly, point)
    for end in ("low", "high"):
        faults += angle_fault(f"floor.{end}", getattr(floor, end), 0.5 * math.pi)
    if not faults:
        faults += floor.faults("floor")
    faults += between.faults("between") if between is not None else ()
    faults += angle_fault("preferred", preferred, 0.5 * math.pi)
    if not faults and not floor.low <= preferred <= floor.high:
        low, high, given = (math.degrees(value) for value in (floor.low, floor.high, preferred))
        faults.append(
            Fault("preferred-outside", "preferred", f"{given:.2f} deg", f"{low:.2f} to {high:.2f} deg, the window",
                  "prefer an angle of the window", {"preferred_deg": given, "low_deg": low, "high_deg": high})
        )  # fmt: skip
    held = hold(
        assembly, pitch=pitch, roll=roll, swing_boom=swing_boom, fore_boom=fore_boom, tilt=tilt, rotate=rotate,
        also=faults,
    )  # fmt: skip
    region = Region(held, held.on_hitch(point), line, floor)
    strips = region.strips()
    found = _longest(region, strips, between)
    if found is None:
        raise Refused([_no_pass(region, strips, between)])
    return _told(region, found, preferred)


def _reaches(region: Region, between: Range | None, step: float) -> Floats:
    bound = region.held.bound(region.at)
    low, high = (-bound, bound) if between is None else (max(-bound, between.low), min(bound, between.high))
    return np.linspace(low, high, 2 + math.ceil((high - low) / step)) if low < high else np.empty(0)


def _longest(region: Region, strips: list[Floats], between: Range | None) -> _Found | None:
    columns = _reaches(region, between, STEP_M)
    runs = []
    for strip in strips:
        for side in (1.0, -1.0):
            run = longest_run(region.allowed(columns[:, None], strip, side))
            if run is not None:
                runs.append((len(run.first), side, strip, run))
    best: _Found | None = None
    for count, side, strip, run in sorted(runs, key=lambda item: -item[0]):
        # A run's ends may gain a column each.
        if best is None or (count + 1) * (columns[1] - columns[0]) > best.far[0] - best.near[0]:
            near, far = (_end(region, columns, strip, run, side, way) for way in (-1, 1))
            if best is None or far[0] - near[0] > best.far[0] - best.near[0]:
                best = _Found(side, strip, columns, run, near, far)
    return best


def _end(
    region: Region, columns: Floats, strip: Floats, run: Run, side: float, way: int
) -> tuple[float, float]:
    """(reach m, in-plane angle rad) of the run's last place towards -1 (near) or +1 (far), NaN where columns end."""
    column, i = (run.stop, -1) if way > 0 else (run.start, 0)
    cell = strip[1] - strip[0]
    low, high = strip[run.first[i]] - cell, strip[run.last[i]] + cell
    while 0 <= column + way < len(columns):
        low, high = max(low, strip[0]), min(high, strip[-1])
        angle, room = region.roomiest(float(columns[column + way]), low, high, side)
        if room < -ROUNDING:
            inner, outer = float(columns[column]), float(columns[column + way])
            while abs(outer - inner) > END_M:
                middle = 0.5 * (inner + outer)
                keeps = region.roomiest(middle, low, high, side)[1] >= -ROUNDING
                inner, outer = (middle, outer) if keeps else (inner, middle)
            return inner, region.roomiest(inner, low, high, side)[0]
        # A tip too thin for the grid.
        column, low, high = column + way, angle - 2.0 * cell, angle + 2.0 * cell
    return float(columns[column]), math.nan


def _told(region: Region, found: _Found, preferred: float) -> Pass:
    (near, near_angle), (far, far_angle) = found.near, found.far
    reach = np.linspace(near, far, 1 + max(1, math.ceil((far - near) / APART_M)))
    angle = _path(region, found, reach, preferred)
    for i, end in ((0, near_angle), (-1, far_angle)):
        if not math.isnan(end):
            angle[i] = end
    boom, stick, bucket, _ = region.joints(reach, angle, found.side)
    floors = region.floor(angle)[0]
    places = []
    below = -math.inf
    for x, joints, floor in zip(
        reach.tolist(), zip(boom, stick, bucket, strict=True), floors.tolist(), strict=True
    ):
        pose = region.held.pose(*(float(joint) for joint in joints))
        below = max(below, _lowest_below(pose, region.line))
        places.append(
            Place(
                x, region.line.height_at(x), pose.floor_angle, floor,
                {name: pose.joint(name) for name in ("boom", "stick", "bucket")}, pose.cylinders(), pose,
            )
        )  # fmt: skip
    ends = [
        _stops(region, found.side, places[i], float(angle[i]), by_reach=math.isnan(end))
        for i, end in ((0, near_angle), (-1, far_angle))
    ]
    turned = float(np.max(np.abs(np.diff(angle))))
    return Pass(far - near, tuple(places), ends[0], ends[1], below, turned)


def _path(region: Region, found: _Found, reach: Floats, preferred: float) -> Floats:
    """In-plane angle (rad) at each reach: inside the run, its floor as near to `preferred` as the limits allow."""
    run, strip, side = found.run, found.strip, found.side
    cell = strip[1] - strip[0]
    # The run's rows on either side of each reach, a cell wider; beyond the last column as far as the end's angle.
    at = np.searchsorted(found.columns[run.start : run.stop + 1], reach)
    before, after = np.clip(at - 1, 0, len(run.first) - 1), np.clip(at, 0, len(run.first) - 1)
    low = np.minimum(strip[run.first[before]], strip[run.first[after]]) - cell
    high = np.maximum(strip[run.last[before]], strip[run.last[after]]) + cell
    for beyond, tip in ((at == 0, found.near[1]), (at == len(run.first), found.far[1])):
        if not math.isnan(tip):
            low, high = (
                np.where(beyond, np.minimum(low, tip), low),
                np.where(beyond, np.maximum(high, tip), high),
            )
    low, high = np.maximum(low, strip[0]), np.minimum(high, strip[-1])
    angles = np.linspace(low, high, _ACROSS, axis=1)
    off = region.floor(angles)[0] - preferred
    cost = np.where(region.allowed(reach[:, None], angles, side), np.abs(off), np.inf)
    rows = np.arange(len(reach))
    best = np.argmin(cost, axis=1)
    chosen = angles[rows, best]
    for i in np.flatnonzero(np.isinf(cost[rows, best])).tolist():
        chosen[i], _ = region.roomiest(float(reach[i]), float(low[i]), float(high[i]), side)
    # From there towards the preferred angle as far as it goes: to it, or to the limit that is in the way.
    here = region.floor(chosen)[0] - preferred
    ahead = np.clip(chosen + (high - low) / (_ACROSS - 1), strip[0], strip[-1])
    rising = np.where(region.floor(ahead)[0] - preferred >= here, 1.0, -1.0)
    towards = chosen - np.sign(here) * rising * (high - low) / (_ACROSS - 1)

    def short_of(angle: Floats) -> Mask:
        short: Mask = np.sign(region.floor(angle)[0] - preferred) == np.sign(here)
        return np.logical_and(short, region.allowed(reach, angle, side))

    return bisected(chosen, np.clip(towards, strip[0], strip[-1]), short_of, ROUNDING)


def _lowest_below(pose: Pose, line: Line) -> float:
    """How far (m) the lowest of edge, teeth and heel stands below the line, each at its own reach."""
    names = EDGE_POINTS + TOOTH_POINTS + HEEL_POINTS if pose.has_teeth else EDGE_POINTS + HEEL_POINTS
    all_points = [*(pose.level(name) for name in names), *pose.edge_line().tolist()]
    return max(line.height_at(float(x)) - float(z) for x, _, z in all_points)


def _stops(region: Region, side: float, end: Place, angle: float, *, by_reach: bool) -> tuple[Stop, ...]:
    """What has no room left at an end; only the reach limit where that ends it."""
    if by_reach:
        return (Stop("between", f"the reach limit of {end.reach:.3f} m", {"reach_m": end.reach}),)
    margins = np.array([*region.margins(np.array(end.reach), np.array(angle), side)]).tolist()
    tight = [limit for limit, margin in zip(LIMITS, margins, strict=True) if margin <= AT_STOP]
    if ("floor", "low") in tight:  # parallel to the line a heel touches: one fact, told once
        tight = [limit for limit in tight if limit[0] != "heel"]
    return tuple(_stop(region, end, *limit) for limit in tight)


def _stop(region: Region, end: Place, what: str, which: str) -> Stop:
    if what == "arm":
        return Stop(what, "boom and stick in one line" if which == "far" else "stick folded onto the boom")
    if what == "heel":
        return Stop(what, f"{which} end of the heel on the surface")
    if what == "floor":
        angle = math.degrees(region.window.low if which == "low" else region.window.high)
        return Stop(what, f"floor at the window's {which} end, {angle:.2f} deg", {"floor_to_line_deg": angle})
    angle = math.degrees(end.joints[what])
    numbers = {"angle_deg": angle}
    if what not in end.cylinders:
        return Stop(what, f"{what} at its {which}est angle, {angle:.2f} deg", numbers)
    length, stroke = end.cylinders[what], region.held.assembly.cylinders[what].stroke
    word = "shortest" if length - stroke.low < stroke.high - length else "longest"
    return Stop(
        what, f"{what} cylinder at its {word}, {1e3 * length:.1f} mm", numbers | {"cylinder_mm": 1e3 * length}
    )


def _no_pass(region: Region, strips: list[Floats], between: Range | None) -> Fault:
    """Why there is none: the window itself, or the line; with the nearest line that has one."""
    low, high = math.degrees(region.window.low), math.degrees(region.window.high)
    numbers = {"low_deg": low, "high_deg": high}
    window = f"floor from {low:.2f} to {high:.2f} deg to the line"
    if not strips:
        return Fault(
            "no-pass", "floor", f"no bucket angle with its {window} and its heel clear",
            "a window that this bucket can keep", "widen the window, or turn tilt or rotation back", numbers,
        )  # fmt: skip
    line = region.line
    rise = _nearest_rise(region, strips, between)
    where = "floor" if rise is None else "line"
    advice = "widen the window or the reaches, or move"
    numbers |= {"height_m": line.height}
    if rise is not None:
        numbers |= {"nearest_height_m": line.height + rise}
        advice = f"the nearest line of this slope with a pass is at {line.height + rise:.2f} m, or move"
    kept = "" if between is None else f" and reach from {between.low:.3f} to {between.high:.3f} m"
    return Fault(
        "no-pass", where, f"no place on the line at {line.height:.3f} m that the joints allow",
        f"a line within the arm's reach, {window}{kept}", advice, numbers,
    )  # fmt: skip


def _nearest_rise(region: Region, strips: list[Floats], between: Range | None) -> float | None:
    """The least rise (m, either way) of the line, in steps of `_HEIGHTS_M`, that gives it a pass; looked for coarsely."""
    coarse, fine = (_reaches(region, between, step)[:, None] for step in (_HEIGHTS_M, STEP_M))

    thinned = [strip[::4] for strip in strips]

    def works(rise: float, columns: Floats, strips: list[Floats]) -> bool:
        line = Line(region.line.height + rise, region.line.slope, region.line.reach)
        moved = Region(region.held, region.at, line, region.window)
        return any(moved.allowed(columns, strip, side).any() for strip in strips for side in (1.0, -1.0))

    most = 2.0 * region.held.bound(region.at) + abs(region.line.height)
    for i in range(1, math.ceil(most / _HEIGHTS_M)):
        for rise in (i * _HEIGHTS_M, -i * _HEIGHTS_M):
            if works(rise, coarse, thinned) and works(rise, fine, strips):
                return rise
    return None
