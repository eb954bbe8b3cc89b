"""Rod checks of one job in few words: poses on a slope, staffs with a given error."""

import math
from functools import cache
from typing import Any

from kinematics.acceptance import CELLS
from kinematics.arm import Pose
from kinematics.reach import place_edge
from kinematics.units import from_metres

from .doing import JobDoer, Json, as_asked, edge_at, fitted

REACH = {"near": 3.2, "middle": 4.6, "far": 5.9}
SWINGS = {1: (0.0, 3.0, 0.0), 2: (90.0, 0.0, -3.0)}
"""Swing, pitch and roll (deg) on ground that rises 3 deg towards where swing is zero."""
SERIALS = {"body": "B-1", "boom": "B-2", "stick": "B-3", "idler": "B-4", "tilt": "B-5"}


@cache
def on_slope(reach: float, height: float, swing: int) -> Pose:
    """The demo's machine on the slope, edge centre at a reach and height (m), floor flat."""
    _, pitch, roll = SWINGS[swing]
    return place_edge(
        fitted(), pitch=math.radians(pitch), roll=math.radians(roll), point="centre", reach=reach, height=height,
        floor_angle=0.0, tilt=0.0,
    ).pose  # fmt: skip


def level_body(
    job: JobDoer, elevation: float, pose: Json, point: str = "centre", benchmark: float = 100.0, **more: Any
) -> Json:
    """A rod check by level: a staff that says `elevation` (m) from the slab."""
    backsight = 4.0
    return {
        "edge_point": point, "pose": pose, "units": job.units,
        "level": {"benchmark": "slab", "backsight": from_metres(backsight, job.units),
                  "foresight": from_metres(backsight + benchmark - elevation, job.units)},
    } | more  # fmt: skip


def rod(job: JobDoer, off: float, height: float = -1.9, stick_deg: float = -70.0, **more: Any) -> Json:
    """A rod check of a job touched at 1.6 m below the origin on the slab: the tool `off` (m) too high."""
    true = 100.0 + 1.6 + height
    told: Json = job.post("rod-checks", level_body(job, true - off, edge_at(height, stick_deg), **more))
    return told


def touched(job: JobDoer) -> JobDoer:
    """Slab, machine and laser, and the edge on the slab 1.6 m below the origin."""
    job.equipped()
    job.touch(-1.6)
    return job


def zone(job: JobDoer, off: float = 0.004, per_cell: int = 2, skip: tuple[Any, ...] = ()) -> list[int]:
    """The slab touched on a slope, then points in every cell but `skip`, the tool `off` (m) too high and too low in
    turn; their entries."""
    job.benchmark("slab", 100.0)
    job.setup()
    touch = on_slope(4.6, -1.5, 1)
    job.post("touches", {
        "point": "slab", "purpose": "reference", "edge_point": "centre", "pose": as_asked(touch),
    })  # fmt: skip
    origin = 100.0 - touch.height("centre")
    found = []
    for k, (distance, side, number) in enumerate(CELLS * per_cell):
        if (distance, side, number) in skip:
            continue
        pose = on_slope(REACH[distance], -2.0 - 0.15 * (k // len(CELLS)), number)
        staff = origin + pose.height(side) - off * (-1) ** k
        body = level_body(job, staff, as_asked(pose), side, swing_deg=SWINGS[number][0])
        found.append(job.post("rod-checks", body)["seq"])
    return found


def certificate(**more: Any) -> Json:
    """A request for a certificate at 30 mm."""
    return {
        "tolerance": 0.03, "agreed_by": "builder and customer", "builder": "the fitter's workshop",
        "customer": "Ville d'eau, Łódka", "machine_serial": "0001", "serials": dict(SERIALS), "units": "m",
    } | more  # fmt: skip
