"""Readings of the stream as the log keeps them: the pose they give, and what they were."""

import math
from collections.abc import Mapping
from typing import Any

from kinematics.sensing import Reading, angles_from
from kinematics.sensor_set import SensorSet
from service.book.requests import Attitude, StreamPose


def as_pose(
    sensors: SensorSet, readings: Mapping[str, Reading], more: Mapping[str, Any], *, above_m: float = 0.0
) -> StreamPose:
    """A request's pose from one reading of each sensor (rad or m). Raises `Refused` as `angles_from`.

    The log keeps it with the readings, deg or mm, and with what else is given of them.
    """
    angles = {name: math.degrees(angle) for name, angle in angles_from(sensors, readings).items()}
    lean = Attitude(pitch=angles.pop("pitch"), roll=angles.pop("roll"))
    told = {name: in_unit(sensors, name, value) for name, value in readings.items()}
    return StreamPose(angles_deg=angles, attitude_deg=lean, readings={"said": told, **more}, above_m=above_m)  # type: ignore[arg-type]


def in_unit(sensors: SensorSet, name: str, value: Reading) -> dict[str, float | list[float]]:
    """A reading under its unit: 0.02 rad is {"deg": 1.146}."""
    metres = sensors.all[name].unit == "m"
    per = 1e3 if metres else math.degrees(1.0)
    return {
        "mm" if metres else "deg": value * per
        if isinstance(value, float | int)
        else [each * per for each in value]
    }
