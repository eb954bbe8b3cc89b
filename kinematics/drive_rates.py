"""Derivatives through the linkages: cylinder lengths and linkage angles as outputs, and as readings behind a joint."""

from collections.abc import Mapping

from .arm import Pose
from .drives import FourBarPose
from .errors import Fault, Refused
from .parameters import CYLINDER_PINS
from .rates import Followed, follows, four_bar_rates, power_link_rates, transmission_rates, triangle_rates

DRIVE_OUTPUTS = (
    "boom_cylinder", "fore_boom_cylinder", "stick_cylinder", "bucket_cylinder",
    "idler_angle", "power_link_angle", "transmission_angle",
)  # fmt: skip
"""Lengths (m) pin to pin, and angles (rad) in the stick's frame; transmission between power link and pin line."""

Rates = tuple[dict[str, float], dict[str, float]]
"""d/d joints, d/d parameters, by name."""

# What the rates of the four-bar are by, behind bucket and idler.
_DIMENSIONS = (
    "idler_pivot_x", "idler_pivot_z", "idler_length", "power_link_length", "stick_length", "pin_spacing",
)  # fmt: skip


def drive_output(pose: Pose, output: str) -> tuple[float, Rates]:
    """(value, derivatives at constant joint angles) of one of `DRIVE_OUTPUTS`. `Refused` "no-cylinder", "no-linkage"."""
    joint = output.removesuffix("_cylinder")
    if joint == output:
        bar = _four_bar(pose, output)
        value = {"idler_angle": bar.idler, "power_link_angle": bar.power_link}.get(output, bar.transmission)
        return value, _bar_output(pose, bar, output)
    if joint not in pose.assembly.cylinders:
        raise Refused([
            Fault("no-cylinder", output, "a joint without a measured cylinder",
                  "one of " + (", ".join(pose.assembly.cylinders) or "none: no cylinder is measured"), "measure it")
        ])  # fmt: skip
    value = pose.cylinders()[joint]
    if joint != "bucket":
        by_angle, *ends = _triangle(pose, joint, float(pose.joint(joint)))
        return value, (_at({joint: by_angle}, pose), dict(zip(_ends(joint), ends, strict=True)))
    by_idler, *ends = _triangle(pose, joint, _four_bar(pose, output).idler)
    joints, parameters = _bar_output(pose, _four_bar(pose, output), "idler_angle")
    through = {name: by_idler * rate for name, rate in parameters.items()}
    through |= dict(zip(_ends(joint), ends[:2], strict=True))
    through["idler_length"] += ends[2]  # the rod pin is the idler's outer pin
    return value, ({name: by_idler * rate for name, rate in joints.items()}, through)


def behind(pose: Pose, rates: Rates, sensed: Mapping[str, str]) -> Rates:
    """The same derivatives with some joints replaced by what is sensed in their place.

    d/d reading = d/d joint times d joint / d reading; every dimension of the linkage between adds its own part.
    """
    joints, parameters = dict(rates[0]), dict(rates[1])
    faults = [
        Fault("not-sensed-so", f"sensed.{joint}", repr(by), 'a joint of this machine by "cylinder"; the bucket also by '
              '"idler" or "power_link"')
        for joint, by in sensed.items()
        if joint not in pose.assembly.ranges or by not in ("cylinder", *(("idler", "power_link") * (joint == "bucket")))
    ]  # fmt: skip
    if faults:
        raise Refused(faults)
    for joint, by in sensed.items():
        name = f"{joint}_cylinder" if by == "cylinder" else by
        _, (own, dimensions) = drive_output(pose, name if by == "cylinder" else f"{by}_angle")
        by_joint = joints.pop(joint)
        joints[name] = by_joint * follows(-1.0, own[joint])
        for dimension, rate in dimensions.items():
            parameters[dimension] = parameters.get(dimension, 0.0) + by_joint * follows(rate, own[joint])
    return joints, parameters


def _at(rates: dict[str, float], pose: Pose) -> dict[str, float]:
    return {name: rates.get(name, 0.0) for name in ("pitch", "roll", *pose.assembly.ranges)}


def _ends(joint: str) -> tuple[str, ...]:
    return tuple(f"{joint}_cylinder_{pin}" for pin in CYLINDER_PINS[joint])


def _triangle(pose: Pose, joint: str, angle: float) -> tuple[float, ...]:
    c = pose.assembly.cylinders[joint]
    return triangle_rates(angle, c.foot_x, c.foot_z, c.eye_x, c.eye_z)


def _four_bar(pose: Pose, output: str) -> FourBarPose:
    bar = pose.four_bar()
    if bar is None:
        raise Refused([
            Fault("no-linkage", output, "a machine without a measured bucket linkage",
                  "idler and power link in the profile", "measure the linkage")
        ])  # fmt: skip
    return bar


def _bar_output(pose: Pose, bar: FourBarPose, output: str) -> Rates:
    """At a constant bucket angle the idler follows; the other two follow it."""
    links = pose.assembly.links
    assert links is not None  # noqa: S101 - there is a four-bar
    at = bar.idler, bar.bucket, *links[:6]
    by_bucket, by_idler, *rest = four_bar_rates(*at)
    idler = [follows(rate, by_idler) for rate in (by_bucket, *rest)]
    if output == "idler_angle":
        answer = idler
    else:
        told: Followed = (power_link_rates if output == "power_link_angle" else transmission_rates)(*at)
        answer = [
            told[0] * idler[0],
            *(told[0] * by + own for by, own in zip(idler[1:], told[1:], strict=True)),
        ]
    return _at({"bucket": answer[0]}, pose), dict(zip(_DIMENSIONS, answer[1:], strict=True))
