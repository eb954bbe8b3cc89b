"""A simulated dig: a course of joint angles, the way of the edge through the ground, and its score. A level body."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kinematics import arm
from kinematics.assembly import Assembly
from kinematics.columns import STATUS, solve_columns
from kinematics.errors import Fault, Refused, refuse
from kinematics.fleet import Fleet, fleet
from kinematics.given import MOST_FAULTS
from kinematics.ground import Dug, Ground, Score, dig, score

from .exercises import Exercise

Floats = NDArray[np.float64]

MOST_SAMPLES = 12_000
LONGEST_S = 1200.0
FASTEST_DEG_S = 60.0
"""No joint of an excavator turns faster; a slip of a slider does. Common practice, no source."""
FOLLOWED_M = 0.005
"""Between samples joints move evenly; the edge's curved way is told by straight pieces no further from it than this."""
_BEGUN_DEG = 0.01
_ROUNDED = 1.0 + 1e-9
_DEG = math.pi / 180.0
# All that lies between the body origin and the edge; what a tilt or rotation turns about may come in twice.
_ONCE = (
    "swing_post_x", "swing_post_y", "boom_foot_x", "boom_foot_y", "boom_length", "fore_boom_length", "stick_length",
    "coupler_x", "coupler_z", "mount_x", "mount_z", "centre_x", "centre_y", "centre_z",
)  # fmt: skip
_TWICE = tuple(f"{turn}_point_{axis}" for turn in ("tilt", "rotate") for axis in "xyz")


@dataclass(frozen=True, slots=True)
class Course:
    """Where every joint stood (deg, by joint) at rising times (s)."""

    t_s: Sequence[float]
    angles_deg: Mapping[str, Sequence[float]]


@dataclass(frozen=True, slots=True)
class Step:
    """One piece of a dig: the ground after it, where the edge is then, reach and height (m)."""

    dug: Dug
    reach: float
    height: float


@dataclass(frozen=True, slots=True)
class Done:
    """A whole dig: the ground after it, its score, m2 removed, passes, time (s)."""

    ground: Ground
    score: Score
    removed: float
    passes: int
    time_s: float


@dataclass(frozen=True, slots=True)
class Way:
    """The edge's way in small straight pieces; sample i stands at row `rows[i]`."""

    x: Floats
    z: Floats
    rows: NDArray[np.int64]


def step(
    fitted: Assembly,
    ground: Ground,
    before: Mapping[str, float],
    after: Mapping[str, float],
    *,
    in_pass: bool,
) -> Step:
    """The ground once all joints have gone evenly from `before` to `after` (deg by joint).

    Raises `Refused` with every fault, at "from_deg" or "to_deg": "missing-joint", "no-such-joint", "beyond-joint",
    "edge-plumb".
    """
    ends = {"from_deg": before, "to_deg": after}
    faults = [fault.at(where) for where, each in ends.items() for fault in _name_faults(fitted, each)]
    if not faults:
        faults += [fault.at(where) for where, each in ends.items() for fault in _pose_faults(fitted, each)]
    refuse(faults)
    way = followed(fitted, {name: np.array([before[name], after[name]]) for name in fitted.ranges}, "to_deg")
    return Step(dig(ground, way.x, way.z, in_pass=in_pass), float(way.x[-1]), float(way.z[-1]))


def dug(fitted: Assembly, exercise: Exercise, course: Course) -> Done:
    """A course dug from the beginning of an exercise, and scored: its samples as `step` takes them, one after another.

    Raises `Refused` with every fault, at "t_s" and "angles_deg": "not-in-order", "out-of-range" (longer than
    `LONGEST_S`), "ragged", "missing-joint", "no-such-joint", "beyond-joint", "edge-plumb", "too-fast",
    "begins-elsewhere".
    """
    refuse([*_time_faults(course.t_s), *_column_faults(fitted, course)][:MOST_FAULTS])
    t = np.array(course.t_s)
    angles = {name: np.array(course.angles_deg[name]) for name in fitted.ranges}
    faults = [*_begin_faults(exercise, angles), *_sample_faults(fitted, angles), *_speed_faults(t, angles)]
    refuse(faults[:MOST_FAULTS])
    way = followed(fitted, angles, "angles_deg")
    ground, removed, passes, on = exercise.ground, 0.0, 0, False
    for first, last in zip(way.rows[:-1].tolist(), way.rows[1:].tolist(), strict=True):
        ground, taken, begun, on = dig(
            ground, way.x[first : last + 1], way.z[first : last + 1], in_pass=on
        )  # fmt: skip
        removed += taken
        passes += begun
    return Done(ground, scored(exercise, ground), removed, passes, float(t[-1] - t[0]))


def scored(exercise: Exercise, ground: Ground) -> Score:
    """How a ground compares with the target of an exercise."""
    wanted = exercise.target.height_at(ground.reaches)
    return score(ground, wanted, near=exercise.near, far=exercise.far, tolerance=exercise.tolerance)


@lru_cache(maxsize=64)
def _alone(fitted: Assembly) -> tuple[Fleet, float]:
    """The machine as `solve_columns` takes it, and how far at most its edge may be from any of its axes (m)."""
    row = fitted.parameters[0]
    far = sum(abs(float(row[name])) for name in _ONCE) + 2.0 * sum(
        abs(float(row[name])) for name in _TWICE if not math.isnan(row[name])
    )
    return fleet((fitted,)), far


def followed(fitted: Assembly, angles: Mapping[str, Floats], where: str) -> Way:
    """The edge's way through all samples (deg by joint, shape (n,)), within `FOLLOWED_M`.

    On a chain of turning links the second derivative of a place is at most its greatest distance from an axis times the
    square of all rates together; a chord of it is off by an eighth of that at most.
    """
    machine, far = _alone(fitted)
    turned = _DEG * sum(np.abs(np.diff(each)) for each in angles.values())
    parts = np.maximum(1, np.ceil(turned * math.sqrt(far / (8.0 * FOLLOWED_M)))).astype(np.int64)
    rows = np.concatenate([[0], np.cumsum(parts)])
    piece = np.repeat(np.arange(parts.size), parts)
    share = (np.arange(rows[-1]) - rows[piece]) / parts[piece]
    fine = {
        name: np.append(each[piece] + (each[piece + 1] - each[piece]) * share, each[-1])
        for name, each in angles.items()
    }
    solved = solve_columns(
        machine, fine | {"pitch": 0.0, "roll": 0.0}, ("centre_reach", "centre_height"), angle_unit=_DEG
    )
    bad = np.flatnonzero(~solved.ok)
    if bad.size:  # both its ends are good: an edge that turns through plumb
        raise Refused([
            Fault(STATUS[int(solved.status[bad[0]])], where, f"an edge that stands plumb on the way to sample "
                  f"{int(np.searchsorted(rows, bad[0]))}", "an edge with a cross-slope all the way",
                  "turn tilt or rotation back")
        ])  # fmt: skip
    return Way(solved.values["centre_reach"], solved.values["centre_height"], rows)


def _name_faults(fitted: Assembly, given: Mapping[str, object]) -> Iterator[Fault]:
    joints = ", ".join(fitted.ranges)
    for name in given:
        if name not in fitted.ranges:
            yield Fault("no-such-joint", name, f"angles for {name}", f"joints {joints}",
                        "leave it out: this machine and attachment do not have it")  # fmt: skip
    for name in fitted.ranges:
        if name not in given:
            yield Fault("missing-joint", name, "no angle", f"an angle for each of {joints}")


def _pose_faults(fitted: Assembly, given: Mapping[str, float]) -> list[Fault]:
    try:
        arm.pose(fitted, pitch=0.0, roll=0.0, **{name: math.radians(angle) for name, angle in given.items()})
    except Refused as refused:
        return [*refused.faults]
    return []


def _time_faults(t_s: Sequence[float]) -> Iterator[Fault]:
    for i in range(1, len(t_s)):
        if not t_s[i] > t_s[i - 1]:
            yield Fault("not-in-order", f"t_s.{i}", f"{t_s[i]} s after {t_s[i - 1]} s", "times that rise",
                        "send each sample once, in the order of time")  # fmt: skip
    if len(t_s) > 1 and t_s[-1] - t_s[0] > LONGEST_S:
        yield Fault("out-of-range", "t_s", f"{t_s[-1] - t_s[0]:.3f} s", f"at most {LONGEST_S:.0f} s",
                    "dig the exercise in less, or begin anew")  # fmt: skip


def _column_faults(fitted: Assembly, course: Course) -> Iterator[Fault]:
    for fault in _name_faults(fitted, course.angles_deg):
        yield fault.at("angles_deg")
    for name, each in course.angles_deg.items():
        if len(each) != len(course.t_s):
            yield Fault(
                "ragged", f"angles_deg.{name}", f"{len(each)} angles", f"{len(course.t_s)}, one for each time"
            )


def _sample_faults(fitted: Assembly, angles: Mapping[str, Floats]) -> Iterator[Fault]:
    machine, _ = _alone(fitted)
    solved = solve_columns(
        machine, {**angles, "pitch": 0.0, "roll": 0.0}, ("centre_height",), angle_unit=_DEG
    )
    for i in np.flatnonzero(~solved.ok)[:MOST_FAULTS].tolist():
        for fault in _pose_faults(fitted, {name: float(each[i]) for name, each in angles.items()}):
            where = f"angles_deg.{fault.where}.{i}" if fault.where else "angles_deg"
            found = fault.found if fault.where else f"{fault.found}, at sample {i}"
            yield Fault(fault.code, where, found, fault.expected, fault.advice, fault.numbers)


def _speed_faults(t: Floats, angles: Mapping[str, Floats]) -> Iterator[Fault]:
    passed = np.diff(t)
    for name, each in angles.items():
        rates = np.abs(np.diff(each)) / passed
        for i in np.flatnonzero(rates > FASTEST_DEG_S * _ROUNDED)[:MOST_FAULTS].tolist():
            yield Fault(
                "too-fast", f"angles_deg.{name}.{i + 1}", f"{rates[i]:.0f} deg/s since the sample before",
                f"at most {FASTEST_DEG_S:.0f} deg/s", "move it as a machine could",
                {"rate_deg_s": float(rates[i]), "most_deg_s": FASTEST_DEG_S},
            )  # fmt: skip


def _begin_faults(exercise: Exercise, angles: Mapping[str, Floats]) -> Iterator[Fault]:
    for name, start in exercise.start_deg.items():
        begun = float(angles[name][0])
        if abs(begun - start) > _BEGUN_DEG:
            yield Fault(
                "begins-elsewhere", f"angles_deg.{name}.0", f"{begun:g} deg", f"{start:g} deg, as the exercise begins",
                "begin where it does: GET /v1/exercises tells `start_deg`", {"start_deg": start},
            )  # fmt: skip
