"""Exercises of the simulated dig, made to the measure of a machine: a ground, a target, a place to begin."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.ground import Ground, height_under
from kinematics.reach import Line

from .stance import Stance, stance

Floats = NDArray[np.float64]

STEP_M = 0.02
"""From one column of ground to the next: finer than anybody digs, and a long arm has 400 of them."""
_INCH_M = 0.0254
_LIFTED = 0.3
"""Of the depth dug: so high the edge begins over the highest ground."""
_BY_RAD = math.radians(0.1)
_MARGIN = 0.15
"""Of the ground's length, at either end: ground outside the marks, to come and go over."""


@dataclass(frozen=True, slots=True, eq=False)
class Exercise:
    """One exercise for one machine and attachment, its body level.

    `start_deg`: every joint as it begins, the edge over the ground; `ground`: as it begins; `target`: the line wanted,
    from reach `near` to `far` (m); `tolerance` (m) either way. Heights over the body origin.
    """

    id: str
    title: str
    words: tuple[str, ...]
    start_deg: dict[str, float]
    ground: Ground
    target: Line
    near: float
    far: float
    tolerance: float


@dataclass(frozen=True, slots=True)
class _Plan:
    """An exercise before it is measured for a machine: ground over the target by reach, all in depths of the stance."""

    id: str
    title: str
    words: tuple[str, ...]
    below: float
    slope: float
    tolerance: float
    over: Callable[[Stance, Line, Floats], Floats]


def _waves(there: Stance, target: Line, reaches: Floats) -> Floats:  # noqa: ARG001  # one shape for all
    """Ground as it was left by wheels: two and a half waves, a sixteenth of the depth up and down."""
    turns = (reaches - there.near) / (there.far - there.near)
    waves: Floats = there.ground + 0.0625 * there.depth * np.sin(5.0 * math.pi * turns)
    return waves


def _level(there: Stance, target: Line, reaches: Floats) -> Floats:  # noqa: ARG001  # one shape for all
    return np.full(reaches.size, there.ground)


def _an_inch(there: Stance, target: Line, reaches: Floats) -> Floats:  # noqa: ARG001  # one shape for all
    inch: Floats = target.height_at(reaches) + _INCH_M
    return inch


# Tolerances: common practice, no source.
_PLANS = (
    _Plan(
        "level-floor", "A level floor",
        ("The ground is uneven. Bring it down to a level floor between the two marks.",
         "Take several passes; leave the last one thin."),
        0.35, 0.0, 0.03, _waves,
    ),
    _Plan(
        "trench-fall", "A trench bottom on a fall",
        ("The bottom of the trench rises by 2 % away from the machine, so that water runs towards it.",
         "The edge must come up as it goes out, all along the way between the two marks."),
        0.5, 0.02, 0.02, _level,
    ),
    _Plan(
        "last-inch", "Trim the last inch",
        ("One inch is left over a level floor. Take it off between the two marks, and no more.",
         "What is cut too deep stays too deep: a third of the tolerance of a floor, and every overcut is told."),
        0.25, 0.0, 0.01, _an_inch,
    ),
)  # fmt: skip


@lru_cache(maxsize=64)
def prepared(fitted: Assembly) -> tuple[Exercise, ...]:
    """The exercises of a pair. Raises `Refused` "no-stance"."""
    there = stance(fitted)
    first = STEP_M * math.ceil(there.near / STEP_M)
    count = 1 + math.floor((there.far - first) / STEP_M)
    margin = STEP_M * round(_MARGIN * count)
    last = first + STEP_M * (count - 1)
    return tuple(_measured(each, there, first + margin, last - margin) for each in _PLANS)


def named(fitted: Assembly, exercise: str) -> Exercise:
    """The exercise of this id. Raises `Refused` "unknown-exercise", and as `prepared`."""
    known = {each.id: each for each in prepared(fitted)}
    if exercise not in known:
        raise Refused([
            Fault("unknown-exercise", "exercise", repr(exercise[:60]), "one of: " + ", ".join(known),
                  "GET /v1/exercises tells them")
        ])  # fmt: skip
    return known[exercise]


def _measured(plan: _Plan, there: Stance, near: float, far: float) -> Exercise:
    """There is ground wherever the edge can get, or it would come to the target from below; out of the stance's `near` to
    `far` it lies as it grew."""
    target = Line(round(there.ground - plan.below * there.depth, 2), plan.slope, 0.5 * (near + far))
    reaches: Floats = STEP_M * np.arange(math.ceil(there.farthest / STEP_M), dtype=np.float64)
    worked = (reaches >= there.near) & (reaches <= there.far)
    ground = Ground(0.0, STEP_M, np.where(worked, plan.over(there, target, reaches), there.ground))
    return Exercise(
        plan.id, plan.title, plan.words, _start(there, ground), ground, target, near, far, plan.tolerance
    )


def _start(there: Stance, ground: Ground) -> dict[str, float]:
    """Every joint (deg, tenths) with the edge over the ground: the usual pose, its boom raised."""
    joints = dict(there.joints)
    while _over(there.pose, ground, joints) < _LIFTED * there.depth:
        joints["boom"] += _BY_RAD
    return {name: round(math.degrees(angle), 1) for name, angle in joints.items()}


def _over(there: Pose, ground: Ground, joints: dict[str, float]) -> float:
    """How far (m) the edge is over the ground. Raises `Refused` "beyond-joint" where the boom is up before it is."""
    posed = pose(there.assembly, pitch=0.0, roll=0.0, **joints)
    under = height_under(ground, posed.reach)
    return math.inf if under is None else posed.height("centre") - under
