"""Stations along a sloping target: distance from a touched point along the boom's direction.

A direction given by the boom lapses when the tracks move, and when the body swings unless swing is sensed.
The stand frame is the undercarriage's: z plumb, x the horizontal trace of its x-z plane, so that a swinging body
keeps its places in it.
"""

import math
from dataclasses import dataclass

import numpy as np

from .arm import Pose
from .chain import level_from_body
from .errors import Fault, Refused
from .maps import place

# Sensor noise and a resting body's rocking stay below this; a swing on any slope worth the name does not.
LEAN_SHIFT_RAD = math.radians(0.3)


@dataclass(frozen=True, slots=True)
class Anchor:
    """Where a sloping target's station is known, in one setup.

    `x`, `y` (m) in the stand frame, `direction` (rad) of rising stations there, `station` (m) at that place,
    `plumb` in the stand frame, `swing_sensed` whether the pose carried a swing angle.
    """

    setup: int
    x: float
    y: float
    direction: float
    station: float
    plumb: tuple[float, float, float]
    swing_sensed: bool


def anchor(found: Pose, point: str, station: float, swing: float | None, setup: int) -> Anchor:
    """Fix `station` (m) at an edge point, stations rising along the boom, away from the machine.

    `swing` (rad, anticlockwise from above) of the body on its undercarriage, None where it is not sensed.
    """
    x, y, _ = _stand_place(found, point, swing or 0.0)
    plumb = _turned(swing or 0.0, found.plumb)
    normal = _turned(swing or 0.0, (-math.sin(found.q[2]), math.cos(found.q[2]), 0.0))
    # The level line in the arm's plane, square to plumb and to the plane's normal: what an edge held level follows.
    ahead = np.cross(normal, plumb)
    ox, oy, _ = place(level_from_body(*_lean(found, swing or 0.0)), *ahead.tolist())
    return Anchor(setup, x, y, math.atan2(oy, ox), station, plumb, swing is not None)


def station(
    known: Anchor, found: Pose, point: str, swing: float | None, setup: int, *, swung: bool
) -> tuple[float, float]:
    """(station m, offset to the right m) of an edge point from an anchor.

    `swung`: a swing was recorded since. Edge 2 m nearer than the touched zero: station -2.
    Raises `Refused` "station-lapsed" with the reason and how to renew it.
    """
    reason = _lapsed(known, found, swing, setup, swung=swung)
    if reason:
        raise Refused([
            Fault("station-lapsed", "target", reason, "a zero point and direction that still hold",
                  "touch a known station again, or enter the distance")
        ])  # fmt: skip
    x, y, _ = _stand_place(found, point, swing or 0.0)
    dx, dy = x - known.x, y - known.y
    along = dx * math.cos(known.direction) + dy * math.sin(known.direction)
    right = dx * math.sin(known.direction) - dy * math.cos(known.direction)
    return known.station + along, right


def level_slopes(
    known: Anchor, found: Pose, swing: float | None, along: float, across: float
) -> tuple[float, float]:
    """(forward, left) slopes (ratios) in the level frame of a target rising by `along` with the station, by `across` to
    the right of its line.

    Boom along the line: (along, -across). The body since swung 90 deg to the left: (-across, -along), since the target's
    left now lies ahead and its falling stations to the left.
    """
    pitch, roll = float(found.q[0]), float(found.q[1])
    ahead = level_from_body(pitch, roll)[:3]  # the level frame's x axis, in the body
    x, y, _ = place(level_from_body(*_lean(found, swing or 0.0)), *_turned(swing or 0.0, ahead))
    turned = known.direction - math.atan2(y, x)
    c, s = math.cos(turned), math.sin(turned)
    return along * c + across * s, along * s - across * c


def _lapsed(known: Anchor, found: Pose, swing: float | None, setup: int, *, swung: bool) -> str:
    if setup != known.setup:
        return "the tracks have moved since the zero point was touched"
    if known.swing_sensed != (swing is not None):
        had, has = ("with", "without") if known.swing_sensed else ("without", "with")
        return f"the zero point was touched {had} a swing angle and this pose comes {has} one"
    if swung and swing is None:
        return "the body has swung since, and swing is not sensed"
    shift = math.dist(known.plumb, _turned(swing or 0.0, found.plumb))
    if shift > LEAN_SHIFT_RAD:
        return f"the lean has changed by {math.degrees(shift):.1f} deg: the body has swung, rocked or settled"
    return ""


def _turned(swing: float, v: tuple[float, float, float]) -> tuple[float, float, float]:
    c, s = math.cos(swing), math.sin(swing)
    return c * v[0] - s * v[1], s * v[0] + c * v[1], v[2]


def _lean(found: Pose, swing: float) -> tuple[float, float]:
    x, y, z = _turned(swing, found.plumb)
    return math.asin(x), math.atan2(y, z)


def _stand_place(found: Pose, point: str, swing: float) -> tuple[float, float, float]:
    return place(level_from_body(*_lean(found, swing)), *_turned(swing, found.body(point)))
