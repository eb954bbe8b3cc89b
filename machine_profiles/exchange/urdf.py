"""A machine with its attachment as URDF (Unified Robot Description Format, XML of the ROS project)."""

import math
import xml.etree.ElementTree as ET

from kinematics.assembly import Assembly
from kinematics.machine import Point

from .provenance import Provenance, add_comment, document, numbers
from .tree import ABOUT_MINUS_Y, NO_TURN, ORIGIN, Attitude, Link, Tree, Turn, tree_of

DRAWN_RADIUS_M = 0.03
"""How thick lines between pins are drawn; says nothing of the machine."""


def urdf(assembly: Assembly, attitude: Attitude, made: Provenance) -> str:
    """URDF text: metres, radians, every joint at zero where the profile has zero.

    Links end in `_link`, joints have the names of `assembly.JOINTS`, besides `idler` and `power_link` where a bucket
    linkage is measured; joints by the name `to_...` are fixed. Pins and points are links without size: `centre` is the
    middle of the edge. The root `level` is the level frame of `attitude`; turn joint `boom` by 0.1 and the edge rises.
    Format: wiki.ros.org/urdf/XML (link, joint), from memory.
    """
    tree = tree_of(assembly, attitude)
    robot = ET.Element("robot", {"name": made.title})
    add_comment(robot, [*made.lines(), "", *_notes(tree)])
    for link in tree.links:
        _link(robot, link)
        for spot in link.spots:
            ET.SubElement(robot, "link", {"name": spot.name})
            _joint(robot, f"to_{spot.name}", "fixed", link.name, spot.name, spot.at, spot.turn)
    return document(robot)


def _notes(tree: Tree) -> list[str]:
    notes = [
        "Metres and radians; x forward, y left, z up; joints of the arm turn about -y: positive raises a link",
        "that points forward, curling the bucket in is negative. Limits are the profile's ranges.",
        "Root 'level' has its origin on the swing axis at the height of the boom foot pin, z plumb. The body leans by",
        "joint 'to_body': rpy = roll (left side up), minus pitch (pitch: nose up), and the yaw that lays x of 'level'",
        "along the trace of the body's x-z plane.",
        "Not in here: masses (not known, no link has an inertia), efforts and speeds (0 stands for unknown),",
        "sensors, uncertainties, the play of a coupler. Lines are drawn between pins, their thickness says nothing.",
    ]
    if tree.loop is not None:
        notes += [
            "The bucket linkage is a closed loop, which a tree cannot hold: 'idler' and 'power_link' turn freely here",
            f"and move no other part. It is closed where '{tree.loop[0]}' lies on '{tree.loop[1]}'.",
        ]
    for rod in tree.rods:
        low, high = rod.stroke.low, rod.stroke.high
        notes.append(
            f"{rod.joint} cylinder: '{rod.foot}' to '{rod.eye}', {low:.4f} to {high:.4f} m pin to pin."
        )
    return notes


def _link(robot: ET.Element, link: Link) -> None:
    told = ET.SubElement(robot, "link", {"name": link.name})
    for start, end in link.lines:
        if start != end:
            _line(told, start, end)
    if link.parent is None:
        return
    if link.hinge is None:
        _joint(robot, f"to_{link.name}", "fixed", link.parent, link.name, link.at, link.turn)
        return
    joint = _joint(robot, link.hinge.name, "revolute", link.parent, link.name, link.at, link.turn)
    axis = link.hinge.axis
    ET.SubElement(joint, "axis", {"xyz": "0 -1 0" if axis == ABOUT_MINUS_Y else numbers(*axis)})
    ends = {"lower": numbers(link.hinge.range.low), "upper": numbers(link.hinge.range.high)}
    ET.SubElement(joint, "limit", ends | {"effort": "0", "velocity": "0"})


def _joint(
    robot: ET.Element, name: str, kind: str, parent: str, child: str, at: Point, turn: Turn
) -> ET.Element:
    joint = ET.SubElement(robot, "joint", {"name": name, "type": kind})
    ET.SubElement(joint, "parent", {"link": parent})
    ET.SubElement(joint, "child", {"link": child})
    if at != ORIGIN or turn != NO_TURN:
        _origin(joint, at, turn)
    return joint


def _origin(inside: ET.Element, at: Point, turn: Turn) -> None:
    ET.SubElement(inside, "origin", {"xyz": numbers(*at), "rpy": numbers(turn.roll, turn.pitch, turn.yaw)})


def _line(link: ET.Element, start: Point, end: Point) -> None:
    """A rod from point to point; a cylinder of this format lies along its own z."""
    x, y, z = (b - a for a, b in zip(start, end, strict=True))
    middle = tuple(0.5 * (a + b) for a, b in zip(start, end, strict=True))
    visual = ET.SubElement(link, "visual")
    _origin(
        visual, (middle[0], middle[1], middle[2]), Turn(-math.atan2(y, math.hypot(x, z)), math.atan2(x, z))
    )
    size = {"radius": numbers(DRAWN_RADIUS_M), "length": numbers(math.dist(start, end))}
    ET.SubElement(ET.SubElement(visual, "geometry"), "cylinder", size)
