"""What drives a joint: cylinder lengths, idler and power link angles to joint angles and back.

An end stop has a slack (`assembly.STOP_SLACK_RAD`) for sensor noise and pin slop: a reading within it is used as it
is, beyond it refused. All doors here share one slack, so that what one gives another takes.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from . import linkage
from .assembly import ROUNDING_RAD, Assembly, FourBar, from_cylinder, stroke_fault, sweep_fault
from .errors import Fault, Refused, refuse
from .linkage import Status, wrapped
from .machine import Cylinder, Range


@dataclass(frozen=True, slots=True)
class FourBarPose:
    """The bucket four-bar in one position; angles in rad in the stick's frame, bucket unwrapped in its range.

    `ratio` is d bucket / d idler: a sensor on the idler has its error multiplied by it.
    """

    bucket: float
    idler: float
    power_link: float
    transmission: float
    ratio: float


def four_bar_from_idler(assembly: Assembly, idler: float) -> FourBarPose:
    """The four-bar at an idler angle (rad, stick frame, positive from x towards z).

    Raises `Refused`: "no-linkage", "beyond-joint", "dead-centre", "no-closure".
    """
    links, span, limits = _linkage_of(assembly)
    idler = wrapped(_finite("idler", idler), 0.5 * (span.low + span.high))
    refuse(_beyond("idler", idler, limits, span))
    bucket, power_link, transmission, ratio, status, margin = linkage.bucket_from_idler(idler, *links)
    if status != linkage.OK:
        raise Refused([sweep_fault(Status(status), idler, transmission, margin)])
    reach = assembly.ranges["bucket"]
    bucket = wrapped(bucket, 0.5 * (reach.low + reach.high))
    return FourBarPose(bucket, idler, power_link, transmission, ratio)


def four_bar_from_power_link(assembly: Assembly, power_link: float) -> FourBarPose:
    """The four-bar at a power link angle (rad, from idler pin to link pin, stick frame).

    Raises `Refused`: "ambiguous" where two positions within the stroke share this angle, "out-of-stroke",
    "other-branch", "no-closure", "dead-centre".
    """
    links, _, limits = _linkage_of(assembly)
    idler, status, margin = linkage.idler_from_power_link(
        _finite("power_link", power_link),
        *links, limits.low, limits.high,
    )  # fmt: skip
    if status != linkage.OK:
        raise Refused([_power_link_fault(Status(status), power_link, margin)])
    return four_bar_from_idler(assembly, idler)


def _power_link_fault(status: Status, angle: float, margin: float) -> Fault:
    code, expected = {
        Status.AMBIGUOUS: ("ambiguous", "an angle that one position only of the stroke has"),
        Status.OUT_OF_STROKE: ("out-of-stroke", "an angle that the cylinder's stroke reaches"),
        Status.OTHER_BRANCH: ("other-branch", "an angle of the branch this linkage is assembled on"),
        Status.NO_CLOSURE: ("no-closure", "an angle at which the links meet"),
        Status.DEAD_CENTRE: ("dead-centre", "an angle away from where the power link stands still"),
    }[status]
    elsewhere = status in {Status.AMBIGUOUS, Status.DEAD_CENTRE}
    return Fault(
        code, "power_link", f"{math.degrees(angle):.2f} deg", expected,
        "sense the idler or the bucket instead" if elsewhere else "check sensor sign and mounting",
        {"power_link_deg": math.degrees(angle), "margin_m": margin},
    )  # fmt: skip


def four_bar_from_bucket(assembly: Assembly, bucket: float) -> FourBarPose:
    """The four-bar at a bucket joint angle (rad, pin line in the stick frame).

    Raises `Refused`: "no-linkage", "beyond-joint", "no-closure", "other-branch".
    """
    links, _, _ = _linkage_of(assembly)
    refuse(_beyond("bucket", _finite("bucket", bucket), assembly.stops["bucket"], assembly.ranges["bucket"]))
    idler, status, margin = linkage.idler_from_bucket(bucket, *links, assembly.idler_side)
    if status not in {linkage.OK, linkage.DEAD_CENTRE}:
        code = "no-closure" if status == linkage.NO_CLOSURE else "other-branch"
        raise Refused([
            Fault(code, "bucket", f"{math.degrees(bucket):.2f} deg", "an angle the linkage reaches", "",
                  {"bucket_deg": math.degrees(bucket), "margin_m": margin})
        ])  # fmt: skip
    return four_bar_from_idler(assembly, idler)


def joint_angle(assembly: Assembly, joint: str, cylinder_length: float) -> float:
    """Angle (rad) of `joint` ("boom", "fore_boom", "stick", "bucket") at a cylinder length (m, pin to pin).

    Raises `Refused`: "no-cylinder", "not-finite", "out-of-stroke" with the stroke in its numbers.
    The published mini excavator's boom cylinder at 0.905 m holds the boom at -0.4737 rad.
    """
    cylinder = _cylinder_of(assembly, joint)
    angle, status, margin = from_cylinder(cylinder, _finite(joint, cylinder_length))
    if joint == "bucket":
        _, reach, limits = _linkage_of(assembly)
    else:
        reach, limits = assembly.ranges[joint], assembly.stops[joint]
    within = cylinder.stroke.low <= cylinder_length <= cylinder.stroke.high
    if not within and status == linkage.NO_CLOSURE:
        raise Refused([_out_of_stroke(joint, cylinder_length, cylinder)])
    angle = wrapped(angle, 0.5 * (reach.low + reach.high))
    if not within and not limits.low - ROUNDING_RAD <= angle <= limits.high + ROUNDING_RAD:
        raise Refused([_out_of_stroke(joint, cylinder_length, cylinder)])
    if status != linkage.OK:
        raise Refused([stroke_fault(f"{joint}.cylinder", Status(status), margin, cylinder_length)])
    return four_bar_from_idler(assembly, angle).bucket if joint == "bucket" else angle


def cylinder_length(assembly: Assembly, joint: str, angle: float) -> float:
    """Length (m, pin to pin) of the cylinder that holds `joint` at `angle` (rad); undoes `joint_angle`.

    Raises `Refused`: "no-cylinder", "beyond-joint", "other-branch".
    """
    _cylinder_of(assembly, joint)
    if joint == "bucket":
        angle = four_bar_from_bucket(assembly, angle).idler
    else:
        refuse(_beyond(joint, _finite(joint, angle), assembly.stops[joint], assembly.ranges[joint]))
    return drive_length(assembly, joint, angle)


def drive_length(assembly: Assembly, joint: str, angle: float) -> float:
    """As `cylinder_length`, at the angle (rad) of what the cylinder itself turns: for the bucket, the idler."""
    c = _cylinder_of(assembly, joint)
    length, status, margin = linkage.cylinder_from_joint(
        angle, c.foot_x, c.foot_z, c.eye_x, c.eye_z, float(c.extending)
    )
    if status == linkage.OTHER_BRANCH:
        raise Refused([
            Fault("other-branch", joint, f"{math.degrees(angle):.2f} deg", "an angle short of dead centre", "",
                  {"angle_deg": math.degrees(angle), "margin_m": margin})
        ])  # fmt: skip
    return length


def _linkage_of(assembly: Assembly) -> tuple[FourBar, Range, Range]:
    """(what the four-bar formulas take, the idler's range, the same with the slack of its end stops)."""
    if assembly.links is None or assembly.idler is None or assembly.idler_limits is None:
        raise Refused([
            Fault("no-linkage", "bucket", "a machine without a measured bucket linkage",
                  "idler and power link in the profile", "measure the linkage, or give the bucket's own angle")
        ])  # fmt: skip
    return assembly.links, assembly.idler, assembly.idler_limits


def _cylinder_of(assembly: Assembly, joint: str) -> Cylinder:
    if joint not in assembly.cylinders:
        raise Refused([
            Fault("no-cylinder", joint, "a joint without a measured cylinder",
                  "one of " + (", ".join(assembly.cylinders) or "no joint: this machine has no cylinder measured"),
                  "give the joint's angle, or measure its cylinder")
        ])  # fmt: skip
    return assembly.cylinders[joint]


def _finite(where: str, value: float) -> float:
    if not math.isfinite(value):
        raise Refused([Fault("not-finite", where, str(value), "a finite number")])
    return value


def _out_of_stroke(where: str, length: float, cylinder: Cylinder) -> Fault:
    low, high = cylinder.stroke.low, cylinder.stroke.high
    return Fault(
        "out-of-stroke", where, f"{length * 1e3:.1f} mm", f"{low * 1e3:.1f} to {high * 1e3:.1f} mm, pin to pin",
        "check the sensor, its zero and the unit",
        {"length_mm": length * 1e3, "shortest_mm": low * 1e3, "longest_mm": high * 1e3},
    )  # fmt: skip


def _beyond(where: str, angle: float, limits: Range, reach: Range) -> Iterator[Fault]:
    if not limits.low - ROUNDING_RAD <= angle <= limits.high + ROUNDING_RAD:
        yield beyond_joint(where, angle, reach)


def beyond_joint(where: str, angle: float, reach: Range) -> Fault:
    """The fault of an angle (rad) beyond a joint's range."""
    low, high, found = (math.degrees(x) for x in (reach.low, reach.high, angle))
    return Fault(
        "beyond-joint", where, f"{found:.2f} deg", f"{low:.2f} to {high:.2f} deg",
        "check the sensor's unit, sign and mounting offset, and the profile",
        {"angle_deg": found, "low_deg": low, "high_deg": high},
    )  # fmt: skip
