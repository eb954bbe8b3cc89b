"""The true course of a simulated machine: where everything is at any time. Metres, radians, seconds."""

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, replace

from kinematics.arm import Pose, pose
from kinematics.assembly import JOINTS, Assembly
from kinematics.sensing_gravity import plumb_of, swung

from .ramp import Ramp
from .tables import Step


@dataclass(frozen=True, slots=True)
class Stance:
    """What the machine does: joints (rad) in the order of `JOINTS`, `origin` (m over the slab), how the undercarriage
    leans (`pitch`, `roll`, as the body does before it swings), and `swing` (rad, anticlockwise from above)."""

    joints: tuple[float, ...]
    origin: float
    pitch: float
    roll: float
    swing: float = 0.0

    def lean(self) -> tuple[float, float]:
        """Pitch and roll of the body: plumb turned about the swing axis, so that its total tilt stays.

        Undercarriage 2 deg nose up, body swung 90 deg anticlockwise: it leans 2 deg right side up, roll -2.
        """
        if self.swing == 0.0:
            return self.pitch, self.roll
        x, y, z = swung(plumb_of(self.pitch, self.roll), self.swing)
        return math.asin(x), math.atan2(y, z)

    def joint(self, name: str) -> float:
        """A joint's angle (rad)."""
        return self.joints[JOINTS.index(name)]

    def having(self, **joints: float) -> "Stance":
        """With these joints (rad) instead."""
        return replace(
            self, joints=tuple(joints.get(name, old) for name, old in zip(JOINTS, self.joints, strict=True))
        )

    def pose(self, assembly: Assembly) -> Pose:
        """The pose; errors as `kinematics.arm.pose`."""
        pitch, roll = self.lean()
        angles = {name: self.joint(name) for name in assembly.ranges}
        return pose(assembly, pitch=pitch, roll=roll, **angles)


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of time within one step: `way` gives the stance after a share (0 to 1) of it, `ramp` that share."""

    step: int
    start_s: float
    seconds: float
    ramp: Ramp | None
    way: Callable[[float], Stance]


@dataclass(frozen=True, slots=True)
class Mark:
    """The moment at which whoever sits there would put a step on the job's record."""

    at_s: float
    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Event:
    """A knock from `at_s` on, or a sensor quiet from then to `until_s`."""

    at_s: float
    until_s: float
    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Moment:
    """Where everything is at `t_s`: in step number `step` (from 1), the pose, and the origin over the slab (m)."""

    t_s: float
    step: int
    stance: Stance
    pose: Pose

    def over_slab(self, point: str) -> float:
        """Height (m) of a point of `kinematics.chain.POINTS` over the slab's top."""
        return self.stance.origin + self.pose.height(point)


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A whole dig: legs without a gap from 0 to `seconds`, its marks and events in order of time."""

    assembly: Assembly
    legs: tuple[Leg, ...]
    marks: tuple[Mark, ...]
    events: tuple[Event, ...]
    seconds: float

    def at(self, t: float) -> Moment:
        """The moment at `t` seconds; it stands still before it begins and after it ends."""
        i = max(bisect_right(self.legs, t, key=lambda leg: leg.start_s) - 1, 0)
        leg = self.legs[i]
        share = 1.0 if leg.ramp is None else leg.ramp.share(t - leg.start_s)
        stance = leg.way(share)
        return Moment(t, leg.step, stance, stance.pose(self.assembly))
