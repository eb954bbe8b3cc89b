"""A machine with its attachment as MJCF (the XML of MuJoCo), its bucket linkage closed."""

import math
import xml.etree.ElementTree as ET

from kinematics.assembly import Assembly
from kinematics.drives import four_bar_from_bucket

from .provenance import Provenance, add_comment, document, numbers
from .tree import NO_TURN, ORIGIN, ROOT, Attitude, Link, Spot, Tree, Turn, tree_of

DRAWN_RADIUS_M = 0.03
"""How thick lines between pins are drawn; says nothing of the machine."""
PLACEHOLDER = "1"
"""Mass (kg) and inertia (kg m2) of every body that moves: this program knows none, and the format asks for some."""
KEY = "middle"


def mjcf(assembly: Assembly, attitude: Attitude, made: Provenance) -> str:
    """MJCF text: metres, radians, every joint at zero where the profile has zero.

    Bodies end in `_link`, joints have the names of `assembly.JOINTS`, besides `idler` and `power_link`, which the
    equality constraint `bucket_linkage` closes. Pins and points are sites. A cylinder is a tendon from pin to pin: the
    length of `boom_cylinder` is what `Pose.cylinders` gives, 2.1 m at 2.1. The keyframe "middle" has every joint in the
    middle of its range, the loop closed. The world is the level frame of `attitude`; joint `boom` by 0.1 lifts the edge.
    Format: MuJoCo documentation, XML reference.
    """
    tree = tree_of(assembly, attitude)
    model = ET.Element("mujoco", {"model": made.title})
    add_comment(model, [*made.lines(), "", *_notes(tree)])
    ET.SubElement(model, "compiler", {
        "angle": "radian", "eulerseq": "zyx", "boundmass": PLACEHOLDER, "boundinertia": PLACEHOLDER,
        "inertiafromgeom": "false",
    })  # fmt: skip
    ET.SubElement(model, "option", {"gravity": "0 0 0"})
    drawn = ET.SubElement(model, "default")
    ET.SubElement(drawn, "geom", {
        "type": "capsule", "size": numbers(DRAWN_RADIUS_M), "mass": "0", "contype": "0", "conaffinity": "0",
    })  # fmt: skip
    ET.SubElement(drawn, "site", {"size": "0.02"})
    bodies = {ROOT: ET.SubElement(model, "worldbody")}
    for link in tree.links:
        if link.parent is not None:
            bodies[link.name] = _body(bodies[link.parent], link)
    if tree.rods:
        tendons = ET.SubElement(model, "tendon")
        for rod in tree.rods:
            ends = {"limited": "true", "range": numbers(rod.stroke.low, rod.stroke.high), "width": "0.02"}
            tendon = ET.SubElement(tendons, "spatial", {"name": f"{rod.joint}_cylinder"} | ends)
            for site in (rod.foot, rod.eye):
                ET.SubElement(tendon, "site", {"site": site})
    if tree.loop is not None:
        held = {"name": "bucket_linkage", "site1": tree.loop[0], "site2": tree.loop[1]}
        ET.SubElement(ET.SubElement(model, "equality"), "connect", held)
    middle = _middle(assembly)
    stood = [middle[joint.attrib["name"]] for joint in bodies[ROOT].iter("joint")]
    ET.SubElement(ET.SubElement(model, "keyframe"), "key", {"name": KEY, "qpos": numbers(*stood)})
    return document(model)


def _middle(assembly: Assembly) -> dict[str, float]:
    """Every joint in the middle of its range, idler and power link as the bucket's angle has them."""
    angles = {name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items()}
    if assembly.idler is not None:
        bar = four_bar_from_bucket(assembly, angles["bucket"])
        angles |= {"idler": bar.idler, "power_link": math.remainder(bar.power_link - bar.idler, math.tau)}
    return angles


def _notes(tree: Tree) -> list[str]:
    notes = [
        "Metres and radians; x forward, y left, z up; joints of the arm turn about -y: positive raises a link",
        "that points forward, curling the bucket in is negative. Joint ranges are the profile's.",
        "The world's origin is on the swing axis at the height of the boom foot pin, z plumb. Body 'body' leans by its",
        "euler, z y x: the yaw that lays the world's x along the trace of the body's x-z plane, minus pitch (pitch: nose",
        "up), roll (left side up).",
        f"Masses are placeholders: {PLACEHOLDER} kg and {PLACEHOLDER} kg m2 a body, since none is known; so gravity is",
        "off, and no force or time of this model means anything. Lines are drawn between pins, their thickness says",
        "nothing.",
        "Not in here: sensors, uncertainties, the play of a coupler.",
    ]
    if tree.loop is not None:
        notes += [
            "'bucket_linkage' closes the loop of stick, idler, power link and bucket. A pose needs idler and power_link",
            f"set too, power_link turned from the idler; all at zero it stands open. Begin from the keyframe '{KEY}'.",
        ]
    if tree.rods:
        notes.append("A cylinder is a tendon: its length is pin to pin, its range the stroke.")
    return notes


def _body(parent: ET.Element, link: Link) -> ET.Element:
    body = ET.SubElement(parent, "body", {"name": link.name, **_placed(link)})
    if link.hinge is not None:
        span = link.hinge.range
        turns = {"axis": numbers(*link.hinge.axis), "range": numbers(span.low, span.high)}
        ET.SubElement(body, "joint", {"name": link.hinge.name, "type": "hinge"} | turns)
    for start, end in link.lines:
        if start != end:
            ET.SubElement(body, "geom", {"fromto": numbers(*start, *end)})
    for spot in link.spots:
        ET.SubElement(body, "site", {"name": spot.name, **_placed(spot)})
    return body


def _placed(part: Link | Spot) -> dict[str, str]:
    """`pos` and `euler` of what is not simply at its parent's origin."""
    at: dict[str, str] = {} if part.at == ORIGIN else {"pos": numbers(*part.at)}
    turn: Turn = part.turn
    return at if turn == NO_TURN else at | {"euler": numbers(turn.yaw, turn.pitch, turn.roll)}
