"""What lessons are made with: poses stated in degrees, and answers that are far enough from the next to be told apart."""

import math
from collections.abc import Mapping, Sequence

from kinematics import arm
from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.explain import Change, Side, TargetPlane, explain
from kinematics.machine import Range
from kinematics.parameters import BUCKET_POINTS
from kinematics.reach import place_edge
from kinematics.units import LengthUnit, show, show_number, to_metres

from .lesson import Choice, Question, Stand
from .stance import resting, slab_m, stance

PLAIN_M = 0.010
"""A change that is asked for goes at least so far: less could be taken for nothing. Of slopes: half a percent."""
PLAIN_PERCENT = 0.5
_NOTHING_M = 1e-5
WITHIN, _WITHIN_PERCENT = 0.25, 0.5
_FLOORS_DEG = (35.0, 45.0, 25.0, 55.0, 15.0, 65.0, 5.0, 75.0)
UP_DOWN = (
    Choice("up", "It goes up"), Choice("down", "It goes down"), Choice("stays", "It stays as high as it is")
)  # fmt: skip


def untold(found: str, expected: str) -> Refused:
    """A lesson that this machine with this attachment cannot show."""
    return Refused(
        [Fault("lesson-left-out", "", found, expected, "take another lesson, machine or attachment")]
    )


class Bench:
    """One machine with its attachment, told in one unit. Raises `Refused` where it has no stance, or its arm cannot point
    straight ahead, as levers are told."""

    def __init__(self, fitted: Assembly, units: LengthUnit) -> None:
        self.fitted, self.units = fitted, units
        self.stance = stance(fitted)
        if self.stance.pose.joint("swing_boom") != 0.0:
            raise untold("a boom that cannot swing to straight ahead", "an arm that points ahead")

    def show(self, metres: float) -> str:
        """A length in words."""
        return show(metres, self.units)

    def written(self, metres: float) -> float | str:
        """An elevation as people write it in a request: rounded."""
        shown = show_number(metres, self.units)
        return shown if self.units is LengthUnit.FTIN else float(shown)

    def resting(self) -> dict[str, float]:
        """The stance, in degrees."""
        return degrees(self.stance.joints)

    def placed(self, reach: float, floors_deg: Sequence[float] = _FLOORS_DEG) -> dict[str, float]:
        """Degrees that put the edge's centre on the ground at a reach (m), the floor as near the usual as it goes."""
        held = resting(self.fitted)
        for floor in floors_deg:
            try:
                found = place_edge(
                    self.fitted, pitch=0.0, roll=0.0, point="centre", reach=reach, height=self.stance.ground,
                    floor_angle=math.radians(floor), swing_boom=held["swing_boom"],
                    fore_boom=held["fore_boom"], tilt=held["tilt"], rotate=held["rotate"],
                )  # fmt: skip
            except Refused:
                continue
            return degrees({name: found.pose.joint(name) for name in self.fitted.ranges})
        raise untold(f"no pose with the edge on the ground at a reach of {self.show(reach)}", "one")

    def far(self) -> dict[str, float]:
        """Degrees with the edge on the ground, far out."""
        return self.placed(self.stance.far)

    def stand(
        self, angles_deg: Mapping[str, float], *, pitch: float = 0.0, roll: float = 0.0, point: str = "centre",
        origin: float | None = None, target: float | None = None,
    ) -> Stand:  # fmt: skip
        """A pose (deg) with elevations (m) taken as they will be written; without `origin` the ground's is the slab's.
        Raises `Refused` as `arm.pose`."""
        above = self.written(slab_m(self.units) - self.stance.ground if origin is None else origin)
        level = None if target is None else self.written(target)
        plane = None if level is None else TargetPlane(to_metres(level, self.units))
        solved = arm.pose(
            self.fitted, pitch=math.radians(pitch), roll=math.radians(roll),
            **{name: math.radians(angle) for name, angle in angles_deg.items()},
        )  # fmt: skip
        side = Side(solved, point, to_metres(above, self.units), plane, (None,))
        return Stand(dict(angles_deg), pitch, roll, point, above, level, side)

    def span_deg(self, joint: str) -> Range:
        """A joint's range in whole degrees, a degree off its ends."""
        span = self.fitted.ranges[joint]
        return Range(math.ceil(math.degrees(span.low)) + 1.0, math.floor(math.degrees(span.high)) - 1.0)

    def how_far(self, words: str, metres: float, because: Sequence[str]) -> Question:
        """A length to be estimated."""
        size = abs(metres)
        if size < PLAIN_M:
            raise untold(f"a change of {self.show(size)}", f"one of {self.show(PLAIN_M)} or more")
        return Question("length", words, size, tuple(because), within=WITHIN)


def degrees(joints: Mapping[str, float]) -> dict[str, float]:
    """Joint angles (rad) in degrees as people set them, to a hundredth."""
    return {name: round(math.degrees(angle), 2) + 0.0 for name, angle in joints.items()}


def told_as(quantity: str) -> str:
    """What lessons call by its plain name, as explanations of stands with an elevation call it."""
    return "elevation" if quantity == "height" else quantity


def change_of(stands: Sequence[Stand], quantity: str) -> Change:
    """What `explain` says of one quantity between a first and a second stand; a height is told as an elevation."""
    first, second = stands
    return explain(first.side, second.side).changes[told_as(quantity)]


def up_or_down(words: str, metres: float, because: Sequence[str] = ()) -> Question:
    """Which way something went (m, positive up). Raises `Refused` where that is neither plain nor nothing."""
    if abs(metres) < _NOTHING_M:
        right = "stays"
    elif abs(metres) < PLAIN_M:
        raise untold(f"a change of {1e3 * metres:+.1f} mm", "one that is plain, or none")
    else:
        right = "up" if metres > 0.0 else "down"
    return Question("choice", words, right, tuple(because), UP_DOWN)


def most_of(
    words: str, sizes: Mapping[str, float], named: Mapping[str, str], because: Sequence[str]
) -> Question:
    """Which is the largest of some sizes (m), by name. Raises `Refused` where two are much alike."""
    by_size = sorted(sizes, key=lambda name: -sizes[name])
    if sizes[by_size[0]] - sizes[by_size[1]] < PLAIN_M:
        raise untold(f"{by_size[0]} and {by_size[1]} much alike", "one that is plainly more")
    choices = tuple(Choice(name, named[name]) for name in sizes)
    return Question("choice", words, by_size[0], tuple(because), choices)


def slope_to_tell(words: str, percent: float, because: Sequence[str]) -> Question:
    """A cross-slope (%) to be estimated, with its sign."""
    if abs(percent) < 2.0 * PLAIN_PERCENT:
        raise untold(f"a cross-slope of {percent:+.1f} %", "one that is plain")
    return Question("percent", words, percent, tuple(because), within=_WITHIN_PERCENT)


def lever(stand: Stand, pin: str) -> tuple[float, float]:
    """(ahead, above) (m) of the edge point over a pin, body level."""
    x, _, z = stand.side.pose.level(stand.edge_point)
    at = stand.side.pose.pins()[pin]
    return x - at[0], z - at[2]


def farthest_from(stand: Stand, pin: str) -> float:
    """How far (m) the farthest point of the bucket lies from a pin, seen from the side."""
    pose = stand.side.pose
    at = pose.pins()[pin]
    places = [place for name, (_, place) in pose.places().items() if name in BUCKET_POINTS]
    return max(math.hypot(x - at[0], z - at[2]) for x, _, z in places)
