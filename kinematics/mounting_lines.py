"""Lines measured on a machine, by a level or a plumb line, as in-plane angles of links; joint angles from them."""

import math
import numbers
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from .arm import pose
from .assembly import Assembly
from .chain import STEEPEST_RAD
from .errors import Fault, Refused, refuse
from .linkage import wrapped
from .machine import Point
from .sensing_gravity import plumb_of, swung
from .sensing_solve import NEAR_VERTICAL_RAD

_SAMPLES = 181


@dataclass(frozen=True, slots=True)
class Level:
    """A digital or spirit level laid along a link's pin line, inner pin to outer pin.

    `inclination` (rad): 0 level, positive with the outer end higher. `uncertainty`: standard, of the level and of how it
    lies (rad). `ahead`: the outer end points away from the machine, False where it points back. `to_edge`: of a bucket,
    laid from bucket pin to the cutting edge's centre.
    Raises `Refused` "not-finite", "out-of-range".
    """

    inclination: float
    uncertainty: float
    ahead: bool = True
    to_edge: bool = False

    def __post_init__(self) -> None:
        refuse(finite(inclination=self.inclination, uncertainty=self.uncertainty))
        if not abs(self.inclination) <= 0.5 * math.pi:
            raise Refused([
                Fault("out-of-range", "inclination", f"{self.inclination:g} rad", "-90 to 90 deg", "give it in rad")
            ])  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlumbLine:
    """A plumb line in the arm's plane that passes through both pins, the outer one `below` the inner, or above.

    `uncertainty`: standard (rad), of how well it passes: 3 mm on 3 m are 0.001. `to_edge` as of `Level`.
    """

    below: bool
    uncertainty: float
    to_edge: bool = False

    def __post_init__(self) -> None:
        refuse(finite(uncertainty=self.uncertainty))


def finite(**values: object) -> Iterator[Fault]:
    """A fault for each that is no finite number."""
    for name, value in values.items():
        if isinstance(value, bool) or not isinstance(value, numbers.Real):
            yield Fault("not-a-number", name, repr(value), "a number")
        elif not math.isfinite(value):
            yield Fault("not-finite", name, str(value), "a finite number")


def leaning(lean: tuple[float, float]) -> Point:
    """Plumb in a body with this pitch and roll (rad). Raises `Refused`: "not-finite", "too-steep"."""
    pitch, roll = lean
    refuse(finite(pitch=pitch, roll=roll))
    refuse(
        Fault("too-steep", name, f"{math.degrees(angle):g} deg",
              f"at most {math.degrees(STEEPEST_RAD):g} deg either way",
              "check the unit")
        for name, angle in (("pitch", pitch), ("roll", roll))
        if abs(angle) > STEEPEST_RAD
    )  # fmt: skip
    return plumb_of(pitch, roll)


def plumb_of_arm(assembly: Assembly, lean: tuple[float, float], swing_boom: float | None) -> Point:
    """Plumb in the arm's plane. Raises `Refused`: as `leaning`, "missing-joint" or "no-such-joint" for the swing boom."""
    n = leaning(lean)
    if ("swing_boom" in assembly.ranges) != (swing_boom is not None):
        code = "missing-joint" if swing_boom is None else "no-such-joint"
        expected = (
            "the angle of the swing boom" if swing_boom is None else "none: this machine has no swing boom"
        )
        raise Refused([Fault(code, "swing_boom", str(swing_boom), expected)])
    if swing_boom is None:
        return n
    refuse(finite(swing_boom=swing_boom))
    return swung(n, swing_boom)


def in_plane(line: Level | PlumbLine, plumb: Point, in_frame: float = 0.0) -> float:
    """In-plane angle (rad) of a link by a line on it, at `in_frame` (rad) in its frame; `plumb` of the arm's plane.

    On level ground a boom whose pin line rises 60 deg has 60; left side up 5 deg, level reading 59.62, it has 60 too.
    Raises `Refused`: "near-vertical" for a level within 10 deg of the steepest that the plane has, "impossible-reading".
    """
    steepest, ahead = math.hypot(plumb[0], plumb[2]), math.atan2(plumb[0], plumb[2])
    if isinstance(line, PlumbLine):
        return wrapped((-0.5 if line.below else 0.5) * math.pi - ahead - in_frame, 0.0)
    sine = math.sin(line.inclination) / steepest
    if abs(sine) > math.cos(NEAR_VERTICAL_RAD):
        raise Refused([
            Fault("near-vertical", "inclination", f"{math.degrees(line.inclination):.2f} deg",
                  f"a line at least {math.degrees(NEAR_VERTICAL_RAD):g} deg from the vertical",
                  "near it a level hardly tells one angle from its mirror: use a plumb line, or move the link",
                  {"inclination_deg": math.degrees(line.inclination)})
        ])  # fmt: skip
    angle = math.asin(sine)
    return wrapped((angle if line.ahead else math.pi - angle) - ahead - in_frame, 0.0)


def joint_of_lines(
    assembly: Assembly, joint: str, *, inner: Level | PlumbLine | None, outer: Level | PlumbLine,
    lean: tuple[float, float], swing_boom: float | None = None,
) -> float:  # fmt: skip
    """Angle (rad) of a joint by its own pin line and that of the link before it, None for the boom, whose is the body.

    `joint`: boom, fore boom, stick, bucket (pin line of bucket or coupler on the stick's pins) or "idler" (in the stick's
    frame). Boom level and stick hanging plumb: -90 deg. Raises `Refused`: as `in_plane`, "no-such-joint",
    "half-described", "beyond-joint".
    """
    ranges = dict(assembly.ranges) | ({"idler": assembly.idler} if assembly.idler is not None else {})
    reach = ranges.get(joint)
    if joint not in ("boom", "fore_boom", "stick", "bucket", "idler") or reach is None:
        raise Refused(
            [Fault("no-such-joint", joint, "a joint without pin lines", "a joint of the arm's plane")]
        )
    if (inner is None) != (joint == "boom"):
        raise Refused([
            Fault("half-described", "inner", str(inner), "the link before, but for the boom, whose is the body")
        ])  # fmt: skip
    plumb = plumb_of_arm(assembly, lean, swing_boom)
    before = 0.0 if inner is None else in_plane(inner, plumb)
    angle = wrapped(in_plane(outer, plumb) - before, 0.5 * (reach.low + reach.high))
    slack = 3.0 * math.hypot(outer.uncertainty, inner.uncertainty if inner else 0.0) + math.radians(1.0)
    if not reach.low - slack <= angle <= reach.high + slack:
        raise Refused([
            Fault("beyond-joint", joint, f"{math.degrees(angle):.2f} deg",
                  f"{math.degrees(reach.low):.2f} to {math.degrees(reach.high):.2f} deg",
                  "check which way the outer end points, its sign, and the profile", {"angle_deg": math.degrees(angle)})
        ])  # fmt: skip
    return angle


def tilt_of_edge(assembly: Assembly, angles: Mapping[str, float], inclination: float) -> float:
    """The tilt (rad) at which the edge, corner to corner, has this inclination (rad, positive with its left corner
    higher), the other angles as given, as `arm.pose` takes them.

    Machine level, bucket square, edge levelled: 0. Raises `Refused`: "no-such-joint", "not-finite", "ambiguous" where no
    or more than one tilt within the range has it, and as `arm.pose`.
    """
    reach = assembly.ranges.get("tilt")
    if reach is None:
        raise Refused([Fault("no-such-joint", "tilt", "an attachment without it", "one with a tilt axis")])
    refuse(finite(inclination=inclination))
    sine = math.sin(inclination)

    def off(tilt: float) -> float:
        there = pose(assembly, **{**angles, "tilt": tilt})
        left, right = there.level("left"), there.level("right")
        return (left[2] - right[2]) / math.dist(left, right) - sine

    tilts = np.linspace(reach.low, reach.high, _SAMPLES).tolist()
    offs = [off(tilt) for tilt in tilts]
    found = [
        float(brentq(off, tilts[i], tilts[i + 1], xtol=1e-14)) if offs[i] * offs[i + 1] < 0.0 else tilts[i]
        for i in range(_SAMPLES - 1)
        if offs[i] * offs[i + 1] < 0.0 or offs[i] == 0.0
    ]
    if len(found) != 1:
        shown = " or ".join(f"{math.degrees(tilt):.2f} deg" for tilt in found) or "no tilt within the range"
        raise Refused(
            [
                Fault(
                    "ambiguous",
                    "tilt",
                    shown,
                    "one tilt with this edge",
                    "turn the rotator square, or give the tilt",
                )
            ]
        )
    return found[0]
