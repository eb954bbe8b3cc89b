"""What is drawn of a pose, as data in metres: bars from pin to pin and measured points, seen from the side or behind.

A view's places are (right, up). Side: seen from the right of the arm, right is reach, up is height over the body
origin. Front: seen from behind the machine, looking ahead; right is the operator's right.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from kinematics.arm import Pose
from kinematics.chain import level_from_body
from kinematics.explain import Side, Turn
from kinematics.maps import place
from kinematics.parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS

from .zone_contours import Place

View = Literal["side", "front"]
Kind = Literal["plate", "link", "rod", "cylinder", "face", "edge", "tooth"]
"""plate: ties a link's other pins to it; link: boom, fore boom, stick; rod: idler, power link, pin line; face: an outline
through measured points of the bucket."""
_LINKS = (
    ("boom", "boom_foot_pin", "stick_pin"),
    ("stick", "stick_pin", "bucket_pin"),
)
_TWO_PIECE = (
    ("boom", "boom_foot_pin", "fore_boom_pin"),
    ("fore_boom", "fore_boom_pin", "stick_pin"),
    ("stick", "stick_pin", "bucket_pin"),
)
_RODS = (
    ("idler", "idler_pivot", "idler_pin"),
    ("power_link", "idler_pin", "link_pin"),
    ("pin_line", "bucket_pin", "link_pin"),
)
_CYLINDERS = (
    ("boom", "boom_cylinder_foot", "boom_cylinder_eye"),
    ("fore_boom", "fore_boom_cylinder_foot", "fore_boom_cylinder_eye"),
    ("stick", "stick_cylinder_foot", "stick_cylinder_eye"),
    ("bucket", "bucket_cylinder_foot", "idler_pin"),
)
_ON_STICK = ("stick_cylinder_eye", "bucket_cylinder_foot", "idler_pivot")
_ON_LINK = {"boom": ("boom_cylinder_eye", "stick_cylinder_foot"), "stick": _ON_STICK}
_ON_TWO_PIECE = {
    "boom": ("boom_cylinder_eye", "fore_boom_cylinder_foot"),
    "fore_boom": ("fore_boom_cylinder_eye", "stick_cylinder_foot"),
    "stick": _ON_STICK,
}
_ARC_PARTS = 32
_SEEN_WHOLE = 0.98
"""An edge seen shorter than this share of its width is turned: no dimension is drawn along it."""


@dataclass(frozen=True, slots=True)
class Bar:
    """A line through measured places; `closed` back to its first."""

    name: str
    kind: Kind
    course: tuple[Place, ...]
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Seen:
    """One pose in one view: bars from back to front, pins and points by name."""

    bars: tuple[Bar, ...]
    pins: dict[str, Place]
    points: dict[str, Place]

    def places(self) -> list[Place]:
        """Everything that must be on the sheet."""
        return [*self.pins.values(), *self.points.values(), *(p for bar in self.bars for p in bar.course)]


@dataclass(frozen=True, slots=True)
class Swept:
    """The turn of one joint in the side view: its axis, the arc of the point that is read, from first to second."""

    axis: Place
    arc: tuple[Place, ...]
    radius: float
    angle: float


def seen(pose: Pose, view: View) -> Seen:
    """A pose in a view. A bucket is drawn by its measured points alone; a pin the profile lacks is not drawn."""
    return _from_the_side(pose) if view == "side" else _from_behind(pose)


def level_pins(pose: Pose) -> dict[str, tuple[float, float, float]]:
    """Level-frame place (m) of every pin the profile gives, by name: `Pose.pins()` with plumb upright."""
    level = level_from_body(float(pose.q[0]), float(pose.q[1]))
    return {name: place(level, *there) for name, there in pose.pins().items()}


def swept(turn: Turn, start: tuple[float, float, float]) -> Swept:
    """The arc of a turn that begins at a level-frame place, as the side view sees it (Rodrigues' rotation)."""
    axis, at = np.array(turn.axis), np.array(turn.at)
    lever = np.array(start) - at
    angle = turn.angle * np.arange(_ARC_PARTS + 1)[:, np.newaxis] / _ARC_PARTS
    along = float(axis @ lever) * axis
    here = at + lever * np.cos(angle) + np.cross(axis, lever) * np.sin(angle) + along * (1.0 - np.cos(angle))
    arc = [(x, z) for x, _, z in here.tolist()]
    return Swept((turn.at[0], turn.at[2]), tuple(arc), turn.radius, turn.angle)


def edge_width(pose: Pose) -> float:
    """From corner to corner (m), whichever way it is turned."""
    return math.dist(pose.level("left"), pose.level("right"))


def seen_whole(pose: Pose) -> bool:
    """Whether the front view shows the edge at its width, so that it may be dimensioned there."""
    left, right = pose.level("left"), pose.level("right")
    return math.dist(left[1:], right[1:]) >= _SEEN_WHOLE * edge_width(pose)


def above_edge(here: Seen) -> tuple[float, tuple[Place, Place]]:
    """(how far (m) anything measured stands over the line from corner to corner, square to it; that line so far over)."""
    (ax, az), (bx, bz) = here.points["left"], here.points["right"]
    long = math.dist((ax, az), (bx, bz))
    ux, uz = (bx - ax) / long, (bz - az) / long
    over = max(ux * (z - az) - uz * (x - ax) for x, z in here.places())
    return over, ((ax - over * uz, az + over * ux), (bx - over * uz, bz + over * ux))


def target_at(side: Side, view: View, across: float) -> float | None:
    """Height (m, over the body origin) of the target at a view's place `across`, in the section through the point that
    is read; None without a target."""
    if side.target is None or side.origin is None:
        return None
    x, y, _ = side.pose.level(side.point)
    x, y = (across, y) if view == "side" else (x, -across)
    return side.target.elevation + side.target.ahead * x + side.target.left * y - side.origin


def of_place(there: tuple[float, float, float], view: View) -> Place:
    """A level-frame place as a view sees it."""
    x, y, z = there
    return (x, z) if view == "side" else (-y, z)


def _points(pose: Pose, view: View) -> dict[str, Place]:
    return {
        name: of_place(there, view)
        for name, (there, _) in pose.places().items()
        if view == "side" or name != "receiver"
    }


def _edge(pose: Pose, view: View) -> Bar:
    return Bar("edge", "edge", tuple(of_place((x, y, z), view) for x, y, z in pose.edge_line().tolist()))


def _teeth(pose: Pose, points: dict[str, Place]) -> tuple[Bar, ...]:
    """From each named point of the edge to the tooth tip before it."""
    if not pose.has_teeth:
        return ()
    return tuple(
        Bar(tooth, "tooth", (points[point], points[tooth]))
        for point, tooth in zip(EDGE_POINTS, TOOTH_POINTS, strict=True)
    )


def _from_the_side(pose: Pose) -> Seen:
    pins = {name: (x, z) for name, (x, _, z) in level_pins(pose).items()}
    points = _points(pose, "side")
    two_piece = "fore_boom_pin" in pins
    links = _TWO_PIECE if two_piece else _LINKS
    plates = [*_body(pins)]
    for name, inner, outer in links:
        held = (_ON_TWO_PIECE if two_piece else _ON_LINK)[name]
        plates += _plates(name, pins[inner], pins[outer], [pins[pin] for pin in held if pin in pins])
    kinds: tuple[tuple[Kind, tuple[tuple[str, str, str], ...]], ...] = (
        ("cylinder", _CYLINDERS), ("link", links), ("rod", _RODS)
    )  # fmt: skip
    arm = [
        Bar(name, kind, (pins[inner], pins[outer]))
        for kind, all_of in kinds
        for name, inner, outer in all_of
        if inner in pins and outer in pins
    ]
    faces = [
        Bar(f"bucket_{side}", "face", (pins["bucket_pin"], pins["link_pin"], points[heel], points[side]), closed=True)
        for side, heel in zip(("left", "right"), HEEL_POINTS, strict=True)
    ]  # fmt: skip
    far, near = faces
    heel_line = Bar("heel", "face", tuple(points[name] for name in HEEL_POINTS))
    return Seen(
        (far, heel_line, _edge(pose, "side"), near, *_teeth(pose, points), *plates, *arm), pins, points
    )


def _body(pins: dict[str, Place]) -> Iterator[Bar]:
    """The body's own pins, tied to its origin."""
    yield Bar("body", "plate", ((0.0, 0.0), pins["boom_foot_pin"]))
    if "boom_cylinder_foot" in pins:
        yield Bar("body_cylinder_foot", "plate", (pins["boom_foot_pin"], pins["boom_cylinder_foot"]))


def _plates(name: str, inner: Place, outer: Place, held: list[Place]) -> Iterator[Bar]:
    """Lines from a link's inner pin by its other pins to its outer pin, on either side of it."""
    ux, uz = outer[0] - inner[0], outer[1] - inner[1]

    def beside(pin: Place) -> float:
        return ux * (pin[1] - inner[1]) - uz * (pin[0] - inner[0])

    def along(pin: Place) -> float:
        return ux * (pin[0] - inner[0]) + uz * (pin[1] - inner[1])

    for side, over in (("upper", True), ("lower", False)):
        pins = sorted((pin for pin in held if (beside(pin) > 0.0) == over), key=along)
        if pins:
            yield Bar(f"{name}_{side}", "plate", (inner, *pins, outer))


def _from_behind(pose: Pose) -> Seen:
    points = _points(pose, "front")
    heel_left, heel_right = (points[name] for name in HEEL_POINTS)
    outline = Bar("bucket", "face", (points["left"], heel_left, heel_right, points["right"]))
    return Seen((outline, _edge(pose, "front"), *_teeth(pose, points)), {}, points)
