"""Raw frames of one sensor of gravity, checked and fused to what a sensor of its kind would say."""

import math
from typing import Any

from kinematics.errors import Fault
from kinematics.machine import Point
from kinematics.sensing_gravity import felt_in_case
from kinematics.sensor import Sensor

from .frames import in_short
from .fused import Fused
from .scale import FAR, Value

FORCE, RATES = "accelerometer_m_s2", "gyro_rad_s"
NAMES = {"sensor", "at_s", FORCE, RATES}
# A case that is struck feels several g, one on a bucket let down fast some 0.3. Outside, the number was in g or mg.
LEAST_M_S2, MOST_M_S2 = 2.0, 160.0
MOST_RAD_S = 10.0
"""No link turns so fast (common practice, no source)."""


def is_raw(reading: dict[str, Any]) -> bool:
    """Whether a reading object is a raw frame, whole or not."""
    return FORCE in reading or RATES in reading


def said_by(sensor: Sensor, plumb: Point) -> Value:
    """What a sensor of gravity says (rad, its sign applied) with plumb so in its case."""
    told = felt_in_case(sensor, plumb)
    if sensor.side_sign is None:
        return sensor.sign * told[0]
    return sensor.sign * told[0], sensor.side_sign * told[1]


def fuse(fused: Fused, sensor: Sensor, reading: dict[str, Any]) -> Value | Fault:
    """What the sensor says after a frame with a good time (rad), or why there is nothing to say yet or at all."""
    force = _three(reading[FORCE], FORCE)
    if type(force) is Fault:
        return force
    rates = _three(reading[RATES], RATES)
    if type(rates) is Fault:
        return rates
    size, turn = math.hypot(*force), math.hypot(*rates)  # type: ignore[misc]  # no faults, see above
    if not LEAST_M_S2 <= size <= MOST_M_S2:
        return Fault(
            "out-of-range", FORCE, f"{size:.4g} m/s2 in all", f"{LEAST_M_S2:g} to {MOST_M_S2:g} m/s2, at rest 9.81",
            "in g or mg? send m/s2, gravity left in",
        )  # fmt: skip
    if not turn <= MOST_RAD_S:
        return Fault(
            "out-of-range", RATES, f"{turn:.4g} rad/s in all", f"at most {MOST_RAD_S:g} rad/s", "in deg/s? send rad/s"
        )  # fmt: skip
    plumb = fused.add(float(reading["at_s"]), force, rates)  # type: ignore[arg-type]  # no faults, see above
    return plumb if type(plumb) is Fault else said_by(sensor, plumb)  # type: ignore[arg-type]


def _three(said: Any, where: str) -> Point | Fault:
    if type(said) is not list or len(said) != 3:
        return Fault("bad-reading", where, in_short(said), "three numbers, by the case's x, y and z")
    for each in said:
        if type(each) is not float and type(each) is not int:
            return Fault("bad-reading", where, in_short(each), "a number")
        if not abs(each) < FAR:
            if type(each) is float and not math.isfinite(each):
                return Fault("not-finite", where, str(each), "finite numbers", "read the sensor again")
            return Fault(
                "out-of-range",
                where,
                "1e9 or more, without its sign",
                "numbers of a sensor",
                "check the unit",
            )
    x, y, z = said
    return float(x), float(y), float(z)
