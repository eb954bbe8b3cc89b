"""Why a number changed: what each joint, the body's lean, the chosen point, the reference and the target did to it.

Any one order of the changes gives shares that add up, and another order gives other shares. The Shapley value is their
mean over all orders: it adds up too, gives nothing to what did nothing, and alike to what did alike.
Source: L. S. Shapley, "A value for n-person games", Contributions to the Theory of Games II, 1953.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .assembly import JOINTS
from .columns import STATUS, solve_columns
from .errors import Fault, Refused, refuse
from .fleet import Fleet, fleet
from .parameters import BUCKET_POINTS, NAMES

LEAN = ("pitch", "roll")
FACTORS = (*LEAN, *JOINTS, "edge_point", "reference", "target")
"""What may have changed, in the order in which it is told."""
QUANTITIES = ("height", "elevation", "reach", "lateral", "cross_slope", "above_target")
"""What is explained: height over the body origin, elevation in the job's datum, reach ahead and distance to the left (m);
cross-slope (a ratio); how far the point stands above the target (m; positive to cut). Signs as in `Pose`, `CutFill`."""
SAME = 1e-9
"""What differs by less (rad, m, ratio) is the same: the rounding of one angle read in two ways."""
_FARTHEST = 1e6  # m, ratio; farther a float has no millimetre left
_STEP_RAD = math.radians(0.5)
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TargetPlane:
    """A target as the level frame has it: elevation (m) under the body origin, slopes ahead and to the left (ratios)."""

    elevation: float
    ahead: float = 0.0
    left: float = 0.0


@dataclass(frozen=True, slots=True)
class Side:
    """One of two things compared: a pose, which point of the bucket is read, the elevation (m) of the body origin and
    the target. None where there is none.

    `stood`: whatever else says how the machine stood (its stand, its swing). It has no share, but where it differs the
    two poses are not one turn apart.
    """

    pose: Pose
    point: str = "centre"
    origin: float | None = None
    target: TargetPlane | None = None
    stood: tuple[object, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """One quantity on both sides (m, or a ratio), and the share of each factor that changed; they add up to
    after - before to rounding. Boom alone raised the edge by 0.1 m: {"boom": 0.1}."""

    before: float
    after: float
    shares: Mapping[str, float]

    @property
    def total(self) -> float:
        """After less before."""
        return self.after - self.before


@dataclass(frozen=True, slots=True)
class Turn:
    """The turn that carries the bucket from one pose to the other, level frame.

    `at` the place (m) on its axis nearest the point that is read, `axis` its direction (unit, angle by the right hand),
    `angle` (rad, never negative), `radius` from axis to point and `arc` (m) along which that point went.
    """

    at: tuple[float, float, float]
    axis: tuple[float, float, float]
    angle: float
    radius: float
    arc: float


@dataclass(frozen=True, slots=True)
class Explanation:
    """Which of `FACTORS` changed, what that did to each quantity that both sides have, and the turn where one joint
    changed and nothing else: not the lean, which turns the level frame too, and not one that comes all round."""

    changed: tuple[str, ...]
    changes: Mapping[str, Change]
    turn: Turn | None


def explain(before: Side, after: Side) -> Explanation:
    """The shares of everything that differs between two sides of one machine with one attachment.

    Elevation is told where both sides have an origin, above_target where both have a target as well. A bucket curled
    between two touches of a laser that did not move: the bucket's share is the whole change.
    Raises `Refused`: "another-machine", "no-such-point", "not-finite"; "one-sided" where only one side has an origin or
    a target; "no-share" where a mixture of both poses cannot be computed (an edge that stands plumb). What is the same
    but for `SAME` has not changed, and `after` is then told with the first side's.
    """
    _check(before, after)
    changed = _changed(before, after)
    values = _mixtures(before, after, changed)
    shares = {
        quantity: Change(
            float(table[0]), float(table[-1]), MappingProxyType(dict(zip(changed, shapley(table), strict=True)))
        )
        for quantity, table in values.items()
    }  # fmt: skip
    return Explanation(changed, MappingProxyType(shares), _turn(before, after, changed))


def turn_between(before: Side, after: Side) -> Turn | None:
    """`Explanation.turn` alone, without shares: None where anything but one joint changed. Raises `Refused` as `explain`
    but for "no-share"."""
    _check(before, after)
    return _turn(before, after, _changed(before, after))


def explain_series(sides: Sequence[Side]) -> list[Explanation]:
    """Step by step, each side against the one before it: n - 1 explanations of n sides. Shares of steps, added up, are
    shares of the whole way; they hang on the way, as shares of two sides alone do not.

    Raises `Refused` as `explain`, with the step at the head of `where`; "too-few" for less than two.
    """
    if len(sides) < 2:
        raise Refused([Fault("too-few", "sides", str(len(sides)), "two or more", "give another pose")])
    told, faults = [], []
    for i, (one, other) in enumerate(pairwise(sides)):
        try:
            told.append(explain(one, other))
        except Refused as refused:
            faults += [each.at(str(i + 1)) for each in refused.faults]
    refuse(faults)
    return told


def shapley(values: Floats) -> list[float]:
    """Each player's Shapley value of a game: `values` (2^n,), of each coalition by its number in which bit i stands for
    player i. They add up to values[-1] - values[0] to rounding. Of [0, 1, 2, 5]: [2, 3]. Raises `ValueError` for another
    number of values, and for one that is not finite.
    """
    n = max(len(values).bit_length() - 1, 0)
    if len(values) != 1 << n or not np.all(np.isfinite(values)):
        raise ValueError(f"expected 2^n finite values, found {len(values)}: {values[:8]}")
    coalitions = np.arange(1 << n)
    size = np.array([int(each).bit_count() for each in coalitions])
    weights = np.array([1.0 / (n * math.comb(n - 1, k)) for k in range(n)])
    found = []
    for i in range(n):
        without = coalitions[(coalitions >> i & 1) == 0]
        gains = values[without | 1 << i] - values[without]
        found.append(math.fsum(weights[size[without]] * gains))
    return found


def other_start(pose: Pose, joint: str, by: float, point: str = "centre") -> tuple[float, float] | None:
    """(angle of the joint, change of height, rad and m): the start within the joint's range, all else as in `pose`, from
    which the same turn changes the point's height most differently; None where there is no room for the turn.

    Height follows r sin(t) about a pin, so a turn has one start from which it lifts most and one from which it lowers
    most. Starts are whole half degrees, so that what is said of one can be set. Raises `Refused` "no-such-joint" for one
    that the machine lacks, "not-finite".
    """
    span = pose.assembly.ranges.get(joint)
    if span is None:
        raise Refused([
            Fault("no-such-joint", joint, repr(joint), "one of " + ", ".join(pose.assembly.ranges), "check the name")
        ])  # fmt: skip
    if not math.isfinite(by):
        raise Refused([Fault("not-finite", "by", str(by), "a finite turn")])
    low, high = max(span.low, span.low - by), min(span.high, span.high - by)
    starts = np.arange(math.ceil(low / _STEP_RAD), math.floor(high / _STEP_RAD) + 1) * _STEP_RAD
    if not starts.size:
        return None
    angles, output, one = _angles(pose), f"{point}_height", fleet([pose.assembly])
    here = angles[joint]
    first, second = (
        solve_columns(one, {**angles, joint: np.append(starts, here) + turned}, [output]).values[output]
        for turned in (0.0, by)
    )
    rises = second - first
    unlike = np.abs(rises[:-1] - rises[-1])
    if np.isnan(unlike).all():
        return None
    most = int(np.nanargmax(unlike))
    return float(starts[most]), float(rises[most])


def _check(before: Side, after: Side) -> None:
    faults = []
    one, other = (_edge_parameters(side.pose) for side in (before, after))
    if not np.array_equal(one, other, equal_nan=True):
        faults.append(
            Fault("another-machine", "after", "another machine or attachment", "the same on both sides",
                  "compare poses of one machine; what an attachment changes is told by its own readouts")
        )  # fmt: skip
    for name, side in (("before", before), ("after", after)):
        if side.point not in BUCKET_POINTS:
            faults.append(
                Fault(
                    "no-such-point", f"{name}.point", repr(side.point), "one of " + ", ".join(BUCKET_POINTS)
                )
            )
        elif side.point not in side.pose.places():
            faults.append(
                Fault(
                    "no-such-point",
                    f"{name}.point",
                    f"{side.point} on a bucket without teeth",
                    "an edge point",
                )
            )
        told = [("origin", side.origin)]
        if side.target is not None:
            target = side.target
            told += [("target", target.elevation), ("target", target.ahead), ("target", target.left)]
        faults += [
            Fault("not-finite", f"{name}.{what}", str(value), f"a number within {_FARTHEST:g} either way")
            for what, value in told if value is not None and not abs(value) <= _FARTHEST
        ]  # fmt: skip
    for what in ("origin", "target"):
        if (getattr(before, what) is None) != (getattr(after, what) is None):
            lacks = "before" if getattr(before, what) is None else "after"
            faults.append(
                Fault("one-sided", f"{lacks}.{what}", "none", "one on both sides or on neither",
                      "compare two readouts that both have it")
            )  # fmt: skip
    refuse(faults)


def _edge_parameters(pose: Pose) -> Floats:
    """What the bucket's places hang on: a receiver may be clamped elsewhere."""
    values: Floats = pose.assembly.parameters.view(np.float64)[_OF_EDGE]
    return values


_OF_EDGE = [i for i, name in enumerate(NAMES) if not name.startswith(("receiver_", "mast_"))]


def _changed(before: Side, after: Side) -> tuple[str, ...]:
    return tuple(name for name in FACTORS if not _same(_value(before, name), _value(after, name)))


def _same(one: object, other: object) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= SAME
    if isinstance(one, TargetPlane) and isinstance(other, TargetPlane):
        return all(
            abs(getattr(one, what) - getattr(other, what)) <= SAME for what in ("elevation", "ahead", "left")
        )
    return one == other


def _value(side: Side, factor: str) -> object:
    if factor == "edge_point":
        return side.point
    if factor == "reference":
        return side.origin
    if factor == "target":
        return side.target
    return float(side.pose.q[(*LEAN, *JOINTS).index(factor)])


def _angles(pose: Pose) -> dict[str, float]:
    return {
        name: value
        for name, value in zip((*LEAN, *JOINTS), pose.q.tolist(), strict=True)
        if name in LEAN or name in pose.assembly.ranges
    }


def _mixtures(before: Side, after: Side, changed: tuple[str, ...]) -> dict[str, Floats]:
    """Each quantity of every mixture of both sides: (2^n,), bit i where factor i of `changed` is as after."""
    turned = [name for name in changed if name in LEAN or name in JOINTS]
    poses = np.arange(1 << len(turned))
    one, other = _angles(before.pose), _angles(after.pose)
    angles: dict[str, Floats] = {
        name: np.where(poses >> turned.index(name) & 1, other[name], one[name])
        if name in turned
        else np.full(len(poses), one[name])
        for name in one
    }
    points = list(dict.fromkeys((before.point, after.point)))
    outputs = [f"{point}_{axis}" for point in points for axis in ("height", "reach", "lateral")]
    found = solve_columns(_either(before.pose, after.pose), angles, [*outputs, "cross_slope"])
    _no_share(found.status, turned)
    # Pose factors come first in FACTORS: a mixture's lower bits are its pose's.
    mixtures = np.arange(1 << len(changed))
    pose_of = mixtures & (len(poses) - 1)

    def of(factor: str) -> NDArray[np.bool_]:
        if factor not in changed:
            return np.zeros(len(mixtures), dtype=np.bool_)
        chosen: NDArray[np.bool_] = (mixtures >> changed.index(factor) & 1) == 1
        return chosen

    def at(axis: str) -> Floats:
        both = [found.values[f"{point}_{axis}"][pose_of] for point in (before.point, after.point)]
        chosen: Floats = np.where(of("edge_point"), both[1], both[0])
        return chosen

    height, reach, lateral = at("height"), at("reach"), at("lateral")
    told = {
        "height": height, "reach": reach, "lateral": lateral,
        "cross_slope": found.values["cross_slope"][pose_of],
    }  # fmt: skip
    if before.origin is not None and after.origin is not None:
        told["elevation"] = height + np.where(of("reference"), after.origin, before.origin)
        if before.target is not None and after.target is not None:
            later = of("target")
            level, ahead, left = (
                np.where(later, getattr(after.target, what), getattr(before.target, what))
                for what in ("elevation", "ahead", "left")
            )
            told["above_target"] = told["elevation"] - (level + ahead * reach + left * lateral)
    return {name: told[name] for name in QUANTITIES if name in told}


def _either(before: Pose, after: Pose) -> Fleet:
    """The machine with the wider of both limits of each joint: a later revision may have others."""
    one, other = before.assembly.limits, after.assembly.limits
    limits = np.where(np.arange(len(one)) % 2 == 0, np.minimum(one, other), np.maximum(one, other))
    limits.flags.writeable = (
        False  # as every fleet's: for another type of array it would be compiled once more
    )
    return replace(fleet([before.assembly]), limits=limits[np.newaxis])


def _no_share(status: NDArray[np.uint8], turned: list[str]) -> None:
    wrong = np.flatnonzero(status)
    if not wrong.size:
        return
    which = int(wrong[0])
    moved = " and ".join(name for i, name in enumerate(turned) if which >> i & 1) or "nothing"
    raise Refused([
        Fault("no-share", "after",
              f"a pose that cannot be read ({STATUS[int(status[which])]}) with {moved} moved and the rest not",
              "poses of which every mixture can be read", "compare them by way of a pose in between",
              {"mixtures": float(len(status)), "unread": float(wrong.size)})
    ])  # fmt: skip


def _turn(before: Side, after: Side, changed: tuple[str, ...]) -> Turn | None:
    if len(changed) != 1 or changed[0] not in JOINTS or before.stood != after.stood:
        return None
    (first, at_first), (second, at_second) = before.pose.frame(), after.pose.frame()
    turn = second @ first.T
    spin = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    size = float(np.linalg.norm(spin))  # twice the sine
    place = len(LEAN) + JOINTS.index(changed[0])
    # A rotator may go further round than a matrix tells.
    angle = abs(float(after.pose.q[place] - before.pose.q[place]))
    if size > _SPINS:
        axis = spin / math.copysign(size, math.sin(angle))
    elif math.cos(angle) < 0.0:  # half round: R = 2 k k^T - 1, either way
        square = 0.5 * (turn + np.eye(3))
        axis = square[:, int(np.argmax(np.diag(square)))]
        axis = axis / float(np.linalg.norm(axis))
    else:
        return None
    # A point of the axis stays where it is: (1 - R) p = t, solved across the axis alone.
    shift = at_second - turn @ at_first
    across = shift - axis * float(axis @ shift)
    on_axis = 0.5 * (across + np.cross(axis, across) / math.tan(0.5 * angle))
    start = np.array(before.pose.level(before.point))
    on_axis = on_axis + axis * float(axis @ (start - on_axis))
    radius = float(np.linalg.norm(start - on_axis))
    return Turn(_three(on_axis), _three(axis), angle, radius, radius * angle)


_SPINS = 1e-7  # below it a matrix shows no way


def _three(v: Floats) -> tuple[float, float, float]:
    x, y, z = v.tolist()
    return x, y, z
