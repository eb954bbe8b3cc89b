"""An assembled machine as a tree of rigid links, which every format of rigid-body models can say.

Each link has its frame where its parent's turns it: x forward, y left, z up at zero. A joint turns its link about the
link's own origin, so that nothing has to be said of points on axes. Metres and radians.
"""

import math
from dataclasses import dataclass, field

from kinematics.assembly import Assembly
from kinematics.chain import STEEPEST_RAD, level_from_body, levelled
from kinematics.errors import Fault, refuse
from kinematics.machine import Axis, BucketLinkage, Cylinder, Offset, Point, Range, Receiver
from kinematics.parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS

ORIGIN: Point = (0.0, 0.0, 0.0)
ABOUT_MINUS_Y: Point = (0.0, -1.0, 0.0)
ABOUT_Z: Point = (0.0, 0.0, 1.0)
ROOT = "level"


@dataclass(frozen=True, slots=True)
class Attitude:
    """How the body leans (rad): pitch positive nose up, roll positive left side up, as for `pose`.

    Raises `Refused` "not-finite" and "too-steep".
    """

    pitch: float
    roll: float

    def __post_init__(self) -> None:
        refuse(
            _lean_fault(name, angle)
            for name, angle in (("pitch", self.pitch), ("roll", self.roll))
            if not abs(angle) <= STEEPEST_RAD
        )

    @property
    def turn(self) -> "Turn":
        """From the level frame to the body. The yaw keeps level x over the trace of the body's x-z plane."""
        level = level_from_body(self.pitch, self.roll)
        x, y, _ = levelled(level, 1.0, 0.0, 0.0)
        return Turn(self.roll, -self.pitch, math.atan2(y, x) + 0.0)


def _lean_fault(name: str, angle: float) -> Fault:
    if not math.isfinite(angle):
        return Fault("not-finite", name, str(angle), "a finite angle")
    return Fault(
        "too-steep", name, f"{math.degrees(angle):.2f} deg",
        f"at most {math.degrees(STEEPEST_RAD):g} deg either way", "give the lean in the unit asked for",
        {"angle_deg": math.degrees(angle)},
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Turn:
    """A rotation by roll about x, then pitch about y, then yaw about z, all by the right hand and about fixed axes."""

    roll: float = 0.0
    pitch: float = 0.0
    yaw: float = 0.0


NO_TURN = Turn()


@dataclass(frozen=True, slots=True)
class Hinge:
    """The joint that turns a link: its name, its axis in the link's own frame (right hand), its ends."""

    name: str
    axis: Point
    range: Range


@dataclass(frozen=True, slots=True)
class Spot:
    """A named point of a link, with a frame of its own where a direction belongs to it (its z then points there)."""

    name: str
    at: Point
    turn: Turn = NO_TURN


@dataclass(slots=True)
class Link:
    """A rigid part: where it sits in its parent, what turns it, its points, and lines to draw it by.

    `passive`: it follows from a closed loop and moves no point of the bucket by itself.
    """

    name: str
    parent: str | None
    at: Point = ORIGIN
    turn: Turn = NO_TURN
    hinge: Hinge | None = None
    spots: list[Spot] = field(default_factory=list)
    lines: list[tuple[Point, Point]] = field(default_factory=list)
    passive: bool = False


@dataclass(frozen=True, slots=True)
class Rod:
    """A cylinder: pin to pin between two spots."""

    joint: str
    foot: str
    eye: str
    stroke: Range


@dataclass(frozen=True, slots=True)
class Tree:
    """Links, every parent before its children; cylinders; and the two spots that the bucket linkage holds together."""

    links: tuple[Link, ...]
    rods: tuple[Rod, ...]
    loop: tuple[str, str] | None


def tree_of(assembly: Assembly, attitude: Attitude) -> Tree:
    """The machine as it stands, every joint of it at zero. Boom at 0.6 turns the link "boom_link" about its -y by 0.6."""
    machine = assembly.machine
    links = [Link(ROOT, None), Link("body", ROOT, turn=attitude.turn)]
    foot = (machine.boom_foot_x, machine.boom_foot_y, 0.0)
    post = (machine.swing_post_x, machine.swing_post_y, 0.0)
    seat = "body"
    if machine.swing_boom is not None:
        seat = "post"
        links[1].lines.append((ORIGIN, post))
        swing = Hinge("swing_boom", ABOUT_Z, assembly.ranges["swing_boom"])
        links.append(Link(seat, "body", at=post, hinge=swing, lines=[(ORIGIN, foot)]))
    else:
        foot = (post[0] + foot[0], post[1] + foot[1], 0.0)
        links[1].lines.append((ORIGIN, foot))
    inner, length = foot, machine.boom_length
    links.append(_arm_link(assembly, "boom", seat, inner, length))
    above = "boom_link"
    pins = [Spot("boom_foot_pin", ORIGIN)]
    if machine.fore_boom_length is not None:
        links.append(_arm_link(assembly, "fore_boom", above, (length, 0.0, 0.0), machine.fore_boom_length))
        above, length = "fore_boom_link", machine.fore_boom_length
        links[-1].spots.append(Spot("fore_boom_pin", ORIGIN))
    _named(links, "boom_link").spots.extend(pins)
    stick = _arm_link(assembly, "stick", above, (length, 0.0, 0.0), machine.stick_length)
    stick.spots += [Spot("stick_pin", ORIGIN), Spot("bucket_pin", (machine.stick_length, 0.0, 0.0))]
    if machine.receiver is not None:
        stick.spots.append(_receiver(machine.receiver))
    links.append(stick)
    rods = _rods(assembly, links)
    loop = _linkage(assembly, links, rods)
    links += _below(assembly)
    return Tree(tuple(links), tuple(rods), loop)


def _arm_link(assembly: Assembly, joint: str, parent: str, at: Point, length: float) -> Link:
    hinge = Hinge(joint, ABOUT_MINUS_Y, assembly.ranges[joint])
    return Link(f"{joint}_link", parent, at=at, hinge=hinge, lines=[(ORIGIN, (length, 0.0, 0.0))])


def _receiver(receiver: Receiver) -> Spot:
    """Its z is the mast's upper end: a turn about x by -asin(y), then about y by atan2(x, z)."""
    x, y, z = receiver.mast
    return Spot("receiver", receiver.place, Turn(-math.atan2(y, math.hypot(x, z)), math.atan2(x, z)))


def _named(links: list[Link], name: str) -> Link:
    return next(link for link in links if link.name == name)


def _rods(assembly: Assembly, links: list[Link]) -> list[Rod]:
    """Cylinders of boom, fore boom and stick; their pins become spots. A foot is seen from the joint it turns."""
    rods = []
    for joint, cylinder in assembly.cylinders.items():
        if joint == "bucket":
            continue
        outer = _named(links, f"{joint}_link")
        inner = _named(links, outer.parent or ROOT)
        x, y, z = outer.at
        foot = Spot(f"{joint}_cylinder_foot", (x + cylinder.foot_x, y, z + cylinder.foot_z))
        eye = Spot(f"{joint}_cylinder_eye", (cylinder.eye_x, 0.0, cylinder.eye_z))
        inner.spots.append(foot)
        outer.spots.append(eye)
        rods.append(Rod(joint, foot.name, eye.name, cylinder.stroke))
    return rods


def _linkage(assembly: Assembly, links: list[Link], rods: list[Rod]) -> tuple[str, str] | None:
    """Idler and power link as passive links, the bucket cylinder between stick and idler; what closes the loop."""
    bar, idler = assembly.machine.bucket, assembly.idler
    if not isinstance(bar, BucketLinkage) or idler is None:
        return None
    stick = _named(links, "stick_link")
    pivot, reach = (bar.pivot_x, 0.0, bar.pivot_z), (bar.idler_length, 0.0, 0.0)
    links.append(Link(
        "idler_link", "stick_link", at=pivot, hinge=Hinge("idler", ABOUT_MINUS_Y, idler),
        spots=[Spot("idler_pivot", ORIGIN), Spot("idler_pin", reach)], lines=[(ORIGIN, reach)], passive=True,
    ))  # fmt: skip
    # An assembly's idler and power link never come into one line, so the angle from one to the other keeps its sign: to
    # the right where the idler's pin lies left of the way to the link pin.
    folds = Range(-math.pi, 0.0) if assembly.idler_side > 0.0 else Range(0.0, math.pi)
    end = (bar.power_link, 0.0, 0.0)
    links.append(Link(
        "power_link_link", "idler_link", at=reach, hinge=Hinge("power_link", ABOUT_MINUS_Y, folds),
        spots=[Spot("power_link_end", end)], lines=[(ORIGIN, end)], passive=True,
    ))  # fmt: skip
    if isinstance(bar.drive, Cylinder):
        foot = Spot(
            "bucket_cylinder_foot", (bar.pivot_x + bar.drive.foot_x, 0.0, bar.pivot_z + bar.drive.foot_z)
        )
        stick.spots.append(foot)
        rods.append(Rod("bucket", foot.name, "idler_pin", bar.drive.stroke))
    return "power_link_end", "link_pin"


def _below(assembly: Assembly) -> list[Link]:
    """All that hangs on the bucket pin. A tilt or rotation has its frame on its axis; what follows is seen from there."""
    tool = assembly.attachment
    pin = (tool.pin_spacing, 0.0, 0.0)
    hitch = Hinge("bucket", ABOUT_MINUS_Y, assembly.ranges["bucket"])
    links = [
        Link("hitch_link", "stick_link", at=(assembly.machine.stick_length, 0.0, 0.0), hinge=hitch,
             spots=[Spot("link_pin", pin)], lines=[(ORIGIN, pin)])
    ]  # fmt: skip
    if tool.coupler is not None:
        links.append(_step("coupler_link", links[-1].name, tool.coupler, ORIGIN))
    seen_from = ORIGIN
    for name, axis in (("tilt", tool.tilt), ("rotate", tool.rotate)):
        if axis is not None:
            links.append(_turning(name, links[-1].name, axis, seen_from, assembly.ranges[name]))
            seen_from = axis.point
    bucket = _step("bucket_link", links[-1].name, tool.mount or Offset(0.0, 0.0, 0.0), seen_from)
    named = [
        *zip(EDGE_POINTS, (tool.edge[0], tool.edge[tool.centre], tool.edge[-1]), strict=True),
        *zip(TOOTH_POINTS, tool.teeth or (), strict=tool.teeth is not None),
        *zip(HEEL_POINTS, tool.heel, strict=True),
    ]
    if len(tool.edge) > len(EDGE_POINTS):
        named += [(f"edge_{i}", place) for i, place in enumerate(tool.edge)]
    bucket.spots += [Spot(name, place) for name, place in named]
    ends = zip((tool.edge[0], tool.edge[-1]), tool.heel, strict=True)
    sides = [[(ORIGIN, heel), (heel, corner)] for corner, heel in ends]
    bucket.lines += [*(line for side in sides for line in side), *zip(tool.edge, tool.edge[1:], strict=False)]
    return [*links, bucket]


def _step(name: str, parent: str, offset: Offset, seen_from: Point) -> Link:
    return Link(name, parent, at=_less((offset.x, 0.0, offset.z), seen_from), turn=Turn(pitch=-offset.angle))


def _turning(name: str, parent: str, axis: Axis, seen_from: Point, span: Range) -> Link:
    return Link(
        f"{name}_link", parent, at=_less(axis.point, seen_from), hinge=Hinge(name, axis.direction, span)
    )


def _less(point: Point, origin: Point) -> Point:
    x, y, z = (a - b for a, b in zip(point, origin, strict=True))
    return x, y, z
