"""Tables of pins as a total station would give them of a shipped machine in any posture, heading and lean."""

import math
from collections.abc import Mapping

import numpy as np

from kinematics.arm import Pose
from kinematics.assembly import Assembly
from kinematics.chain import level_from_body
from kinematics.machine import BucketLinkage, Cylinder, Held, Point, Range
from machine_profiles.exchange import Attitude, Stroke, Told

PER_METRE = {"m": 1.0, "mm": 1000.0, "cm": 100.0, "ft": 1 / 0.3048, "in": 1 / 0.0254}


def seen(found: Pose) -> dict[str, Point]:
    """Every row a table may have, in body axes (m); swing axis and post at a height of their own."""
    machine = found.assembly.machine
    places = found.pins() | {name: body for name, (_, body) in found.places().items()}
    places["swing_axis"] = (0.0, 0.0, 0.37)
    if machine.swing_boom is not None:
        places["swing_post"] = (machine.swing_post_x, machine.swing_post_y, -0.2)
        places |= {"body_left": (-0.7, 0.45, 0.1), "body_right": (-0.7, -0.45, 0.1)}
    if machine.receiver is not None:
        x, y, z = machine.receiver.mast
        up = sum(found.joint(name) for name in ("boom", "fore_boom", "stick"))  # swing boom straight
        leads = math.cos(up) * x - math.sin(up) * z, y, math.sin(up) * x + math.cos(up) * z
        tip = tuple(at + 0.6 * way for at, way in zip(places["receiver"], leads, strict=True))
        places["mast_top"] = (tip[0], tip[1], tip[2])
    return places


def table(places: Mapping[str, Point], unit: str, *, attitude: Attitude, heading: float, shift: Point) -> str:
    """Text of a table in space: the body leans, looks along `heading` (rad, anticlockwise) and stands at `shift`."""
    level = np.array(level_from_body(attitude.pitch, attitude.roll)[:9]).reshape(3, 3)
    c, s = math.cos(heading), math.sin(heading)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    rows = [f"pin,x_{unit},y_{unit},z_{unit}"]
    for name, place in places.items():
        told = (turn @ level @ np.array(place) + np.array(shift)) * PER_METRE[unit]
        rows.append(",".join([name, *(repr(float(each)) for each in told)]))
    return "\n".join(rows) + "\n"


def told_of(assembly: Assembly, *, attitude: Attitude) -> Told:
    """What goes beside the table: strokes and ranges of the machine."""
    machine = assembly.machine
    strokes: dict[str, Stroke] = {}
    ranges: dict[str, Range] = {}
    held: dict[str, Held | None] = {
        joint: getattr(machine, joint) for joint in ("boom", "fore_boom", "stick")
    }
    if machine.swing_boom is not None:
        ranges["swing_boom"] = machine.swing_boom
    if isinstance(machine.bucket, BucketLinkage):
        held["bucket"] = machine.bucket.drive
    else:
        ranges["bucket"] = machine.bucket
    for joint, part in held.items():
        if isinstance(part, Cylinder):
            extending = None if joint == "bucket" else part.extending
            strokes[joint] = Stroke(part.stroke.low, part.stroke.high, extending)
        elif part is not None:
            ranges["idler" if joint == "bucket" else joint] = part
    return Told("our-digger", "Our digger", "Measured from a tripod.", attitude, strokes, ranges)
