"""Where a machine stands in the classroom: the ground, how far and how deep it digs there, a usual pose on it."""

import math
from dataclasses import dataclass
from functools import lru_cache

from typing_extensions import TypedDict

from kinematics.arm import Pose
from kinematics.assembly import JOINTS, Assembly
from kinematics.errors import Fault, Refused
from kinematics.machine import Range
from kinematics.passes import longest_pass
from kinematics.reach import Line, place_edge
from kinematics.units import LengthUnit, to_metres

_FLOOR = Range(0.0, math.radians(75.0))
_USUAL_FLOOR = math.radians(35.0)
_BELOW_FOOT, _DEEP = 0.36, 0.125
"""Of boom and stick together: the ground under the boom foot where no profile tells it, the depth dug."""
_TURNED = 1.2
"""What tilt and rotation may bring further out, of the farthest point of the bucket from its pin."""
_OFF_TRACKS = 0.35
"""Of boom and stick together: no digging nearer than this, where the tracks stand. Common practice, no source."""
_STRETCHED = 0.85
"""Of the far end of the pass: an arm stretched out digs nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Stance:
    """Of one machine and attachment, level body. Heights (m) over the body origin.

    `ground`: of the ground before it; `depth` (m): how far below it the classroom digs; `near`, `far` (m): reaches
    between which the edge's centre gets to the ground and to that depth, floor and heel allowing; `farthest` (m): no
    reach of it is greater; `pose`: the edge on the ground half-way between near and far; `joints` (rad): that pose.
    """

    ground: float
    depth: float
    near: float
    far: float
    farthest: float
    pose: Pose

    @property
    def joints(self) -> dict[str, float]:
        """Joint name to angle (rad), every joint of the machine, in the order of the chain."""
        return {name: self.pose.joint(name) for name in JOINTS if name in self.pose.assembly.ranges}


@lru_cache(maxsize=64)
def stance(fitted: Assembly) -> Stance:
    """Where a machine stands. Raises `Refused` "no-stance" where its edge reaches no ground worth digging."""
    machine = fitted.machine
    arm = machine.boom_length + machine.stick_length
    foot = machine.boom_foot_height
    ground = -_BELOW_FOOT * arm if foot is None else -foot
    depth = _DEEP * arm
    held = resting(fitted)
    try:
        ends = [
            longest_pass(
                fitted, pitch=0.0, roll=0.0, line=Line(height), floor=_FLOOR, preferred=_USUAL_FLOOR,
                between=Range(_OFF_TRACKS * arm, 2.0 * arm), **held,
            ).places
            for height in (ground, ground - depth)
        ]  # fmt: skip
        near = max(places[0].reach for places in ends)
        far = near + _STRETCHED * (min(places[-1].reach for places in ends) - near)
        placed = place_edge(
            fitted, pitch=0.0, roll=0.0, point="centre", reach=0.5 * (near + far), height=ground,
            floor_angle=_USUAL_FLOOR, **held,
        )  # fmt: skip
    except Refused as refused:
        raise Refused([
            Fault("no-stance", "", str(refused), "an edge that reaches the ground and a little below it",
                  "take another machine or attachment for the classroom")
        ]) from None  # fmt: skip
    pins = placed.pose.pins()
    tool = max(math.dist(pins["bucket_pin"], place) for _, place in placed.pose.places().values())
    farthest = abs(pins["boom_foot_pin"][0]) + arm + (machine.fore_boom_length or 0.0) + _TURNED * tool
    return Stance(ground, depth, near, far, farthest, placed.pose)


def slab_m(units: LengthUnit) -> float:
    """Elevation (m) of the ground in the classroom: a round figure where people read metres, and where they read feet."""
    return to_metres(100.0, LengthUnit.M if units in (LengthUnit.M, LengthUnit.MM) else LengthUnit.FT)


class Resting(TypedDict):
    """Joints that the classroom does not move (rad), None of what the machine lacks."""

    swing_boom: float | None
    fore_boom: float | None
    tilt: float | None
    rotate: float | None


def resting(fitted: Assembly) -> Resting:
    """Each of them at zero, or at the end of its range nearest to it."""

    def angle(name: str) -> float | None:
        span = fitted.ranges.get(name)
        return None if span is None else min(max(0.0, span.low), span.high)

    return Resting(
        swing_boom=angle("swing_boom"), fore_boom=angle("fore_boom"), tilt=angle("tilt"), rotate=angle("rotate")
    )  # fmt: skip
