"""Measured pins and corners to the text of a bucket's profile."""

import math
from collections.abc import Iterator, Sequence

from kinematics.errors import Fault, refuse
from kinematics.machine import Point
from kinematics.parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS

from .link_text import Frame, Writer
from .pin_frame import in_body
from .pin_needs import Told, missing
from .pin_table import PinTable


def attachment_text(table: PinTable, told: Told) -> str:
    """TOML of a bucket without tilt and rotation, in the unit of the table, which must be one in space.

    Raises `Refused` as `machine_text`.
    """
    needed = ["boom_foot_pin", "bucket_pin", "link_pin", "left", "centre", "right", *HEEL_POINTS]
    teeth = [name for name in TOOTH_POINTS if name in table.places]
    faults = list(missing(table.places, [*needed, *(TOOTH_POINTS if teeth else ())]))
    if table.plane:
        faults.append(
            Fault("no-side-view", "", "a side view", "x, y and z, for the corners of a bucket",
                  "measure corners in space, or write the bucket's file by hand")
        )  # fmt: skip
    faults += [
        Fault("no-such-joint", name, f"a range or stroke of {name}", "none for a bucket", "it belongs to the machine")
        for name in sorted({*told.strokes, *told.ranges})
    ]  # fmt: skip
    refuse(faults)
    at = in_body(table, told.attitude, told.tolerance, None)
    put = Frame(at, "bucket_pin", "link_pin")
    lines = {name: [put.space(pin, at.plane_y) for pin in pins] for name, pins in (
        ("heel", HEEL_POINTS), ("teeth", TOOTH_POINTS if teeth else ()),
    )}  # fmt: skip
    refuse(fault for name, line in lines.items() for fault in _square_faults(name, line, told.tolerance))
    write = Writer(table.unit, "attachment", told)
    write.doc["pins"] = write.table(spacing=put.length)
    corners = [put.space(name, at.plane_y) for name in EDGE_POINTS]
    bucket = write.table()
    bucket["edge"] = write.inline(points=[write.numbers(*corner) for corner in corners], centre=1)
    bucket["heel"] = write.point(_middle(lines["heel"]))
    bucket["heel_width"] = write.number(_width(lines["heel"]))
    write.doc["bucket"] = bucket
    if teeth:
        made = write.table(width=_width(lines["teeth"]))
        made["tip"] = write.point(_middle(lines["teeth"]))
        write.doc["teeth"] = made
    return write.text()


def _width(line: Sequence[Point]) -> float:
    return line[0][1] - line[-1][1]


def _middle(line: Sequence[Point]) -> tuple[float, float]:
    return 0.5 * (line[0][0] + line[-1][0]), 0.5 * (line[0][2] + line[-1][2])


def _square_faults(name: str, line: Sequence[Point], tolerance: float) -> Iterator[Fault]:
    """A profile has heel and teeth as lines square to the arm's plane, as far to the left of it as to the right."""
    if not line:
        return
    x, z = _middle(line)
    skew = max(math.dist((x, z), (point[0], point[2])) for point in line)
    aside = abs(line[0][1] + line[-1][1]) / 2.0
    for off, what in (
        (skew, "square to the plane of the pins"),
        (aside, "as far left of that plane as right"),
    ):
        if off > tolerance:
            yield Fault(
                "not-square", name, f"a line {off * 1e3:.1f} mm off", f"one {what}, within {tolerance * 1e3:g} mm",
                "set tilt and rotation square and measure again", {"off_mm": off * 1e3},
            )  # fmt: skip
