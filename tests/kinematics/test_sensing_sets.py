"""Sensors that cannot be, and sets of them that fit no machine: every refusal with its place."""

import math
from typing import Any

import pytest

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.errors import Refused
from kinematics.machine import Offset, Range
from kinematics.sensing import angles_from, readings_of
from kinematics.sensor import LEFT, Measure, Mounting, Sensor
from kinematics.sensor_set import SensorSet

from .machines import plain_bucket, plain_machine, tiltrotator_bucket
from .sensor_sets import sensor

PLAIN = assemble(plain_machine(), plain_bucket())
ARM = {"boom": 0.6, "stick": -1.6, "bucket": 1.0}


def set_faults(
    assembly: Any, sensors: dict[str, Sensor], checks: dict[str, Sensor] | None = None
) -> set[tuple[str, str]]:
    with pytest.raises(Refused) as caught:
        SensorSet(assembly, sensors, checks or {})
    return {(fault.code, fault.where) for fault in caught.value.faults}


def test_a_set_that_fits_no_machine() -> None:
    sensors = {
        "nose": sensor("body"), "boom": sensor("boom"), "again": sensor("boom", Measure.ANGLE),
        "tilt": sensor("tilt", axis=LEFT), "idler": sensor("idler"), "wire": sensor("stick", Measure.LENGTH),
        "held": sensor("coupler"),
    }  # fmt: skip
    assert set_faults(PLAIN, sensors, {"boom": sensor("fore_boom")}) == {
        ("no-such-joint", "sensors.tilt.place"), ("no-linkage", "sensors.idler.place"),
        ("no-cylinder", "sensors.wire.place"), ("not-sensed-so", "sensors.held.place"),
        ("joint-given-twice", "sensors.again"), ("joint-given-twice", "sensors.held"), ("missing-joint", "sensors"),
        ("no-such-joint", "checks.boom.place"), ("name-taken", "checks.boom"),
    }  # fmt: skip


def test_a_bucket_below_a_tilt_axis_is_not_seen_in_the_plane() -> None:
    tilted = assemble(plain_machine(), tiltrotator_bucket())
    parts = {"body": sensor("body", Measure.PITCH_ROLL), "tilt": sensor("tilt", axis=LEFT)}
    parts |= {"rotate": sensor("rotate", Measure.ANGLE)}
    parts |= {joint: sensor(joint) for joint in ARM}
    assert set_faults(tilted, parts) == {("not-sensed-so", "sensors.bucket.place")}


def test_a_sensor_across_the_tilt_axis_is_blind() -> None:
    tilted = assemble(plain_machine(), plain_bucket(tilt=tiltrotator_bucket().tilt))
    parts = {joint: sensor(joint, Measure.ANGLE) for joint in ARM} | {
        "body": sensor("body", Measure.PITCH_ROLL)
    }
    for blind in (
        sensor("tilt"),
        sensor("tilt", Measure.INCLINATION),
        sensor("tilt", axis=LEFT, mounting=Mounting(1.2)),
    ):
        assert set_faults(tilted, parts | {"tilt": blind}) == {("not-sensed-so", "sensors.tilt.mounting")}


def test_below_a_coupler() -> None:
    """On the coupler its own pins count, on the bucket its own: coupler and mount stand between."""
    tool = plain_bucket(coupler=Offset(0.3, -0.1, 0.2), mount=Offset(0.0, 0.0, -0.5))
    assembly = assemble(plain_machine(), tool)
    parts = {"body": sensor("body", Measure.PITCH_ROLL)} | {
        joint: sensor(joint) for joint in ("boom", "stick")
    }
    level = pose(assembly, pitch=0.0, roll=0.0, **ARM)
    for place, shows in (("coupler", 0.0), ("bucket", -0.3)):
        sensors = SensorSet(assembly, parts | {"b": sensor(place)})
        readings = readings_of(sensors, level)
        told = readings["b"]
        assert isinstance(told, float)
        assert abs(told - shows) <= 1e-15
        assert abs(angles_from(sensors, readings)["bucket"] - 1.0) <= 1e-14


def one_sensor(**changes: Any) -> list[tuple[str, str]]:
    parts: dict[str, Any] = {"place": "boom", "measures": Measure.GRAVITY_ANGLE} | changes
    with pytest.raises(Refused) as caught:
        sensor(parts.pop("place"), parts.pop("measures"), **parts)
    return [(fault.code, fault.where) for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("changes", "code", "where"),
    [
        ({"place": "bom"}, "not-a-choice", "place"),
        ({"measures": "angel", "side_sign": None}, "not-a-choice", "measures"),
        ({"axis": "up"}, "not-a-choice", "axis"),
        ({"axis": LEFT}, "not-sensed-so", "axis"),
        ({"place": "swing_boom"}, "not-sensed-so", "measures"),
        ({"place": "rotate"}, "not-sensed-so", "measures"),
        ({"place": "body", "measures": Measure.ANGLE}, "not-sensed-so", "measures"),
        ({"place": "coupler", "measures": Measure.ANGLE}, "not-sensed-so", "measures"),
        ({"place": "power_link", "measures": Measure.ANGLE}, "not-sensed-so", "measures"),
        ({"place": "tilt", "measures": Measure.LENGTH}, "not-sensed-so", "measures"),
        ({"sign": 0}, "not-a-side", "sign"),
        ({"sign": math.nan}, "not-a-side", "sign"),
        ({"mounting": 0.1}, "wrong-kind", "mounting"),
        ({"measures": Measure.ANGLE, "mounting": Mounting(0.1)}, "wrong-kind", "mounting"),
        ({"measures": Measure.ANGLE, "mounting": math.nan}, "not-finite", "mounting"),
        ({"mounting": Mounting(math.inf)}, "not-finite", "mounting.nose_up"),
        ({"mounting": Mounting(12.0)}, "out-of-range", "mounting.nose_up"),
        ({"mounting": Mounting(0.0, to_left=0.5)}, "out-of-range", "mounting.to_left"),
        ({"mounting": Mounting(0.0, left_up=1.5)}, "not-sensed-so", "mounting"),
        ({"place": "body", "measures": Measure.INCLINATION, "mounting": Mounting(1.5)}, "not-sensed-so", "mounting"),
        ({"range": Range(1.0, -1.0)}, "range-swapped", "range"),
        ({"range": Range(-180.0, 1.0)}, "out-of-range", "range.low"),
        ({"measures": Measure.INCLINATION, "range": Range(-1.0, 1.7)}, "out-of-range", "range.high"),
        ({"measures": Measure.LENGTH, "range": Range(0.9, 1300.0)}, "out-of-range", "range.high"),
        ({"noise": 0.0}, "out-of-range", "noise"),
        ({"noise": 0.1}, "out-of-range", "noise"),
        ({"noise": "0.1"}, "not-a-number", "noise"),
        ({"latency_s": -0.1}, "out-of-range", "latency_s"),
        ({"latency_s": 20.0}, "out-of-range", "latency_s"),
        ({"latency_s": 0.3, "age_limit_s": 0.3}, "out-of-range", "age_limit_s"),
        ({"age_limit_s": math.inf}, "not-finite", "age_limit_s"),
        ({"side_sign": 1}, "half-described", "side_sign"),
        ({"measures": Measure.PITCH_ROLL, "side_sign": None}, "half-described", "side_sign"),
        ({"measures": Measure.PITCH_ROLL, "side_sign": 2}, "not-a-side", "side_sign"),
        ({"branch": 1}, "not-sensed-so", "branch"),
        ({"measures": Measure.INCLINATION, "branch": 0}, "not-a-side", "branch"),
        ({"place": "body", "measures": Measure.INCLINATION, "branch": 1}, "not-sensed-so", "branch"),
    ],
)  # fmt: skip
def test_a_sensor_that_cannot_be(changes: dict[str, Any], code: str, where: str) -> None:
    assert one_sensor(**changes) == [(code, where)]


def test_all_that_is_wrong_with_a_sensor() -> None:
    found = one_sensor(
        sign=3, noise=-1.0, latency_s=math.nan, range=Range(0.0, 0.0), mounting=Mounting(math.nan)
    )
    assert found == [
        ("not-a-side", "sign"), ("not-finite", "mounting.nose_up"), ("range-swapped", "range"), ("out-of-range", "noise"),
        ("not-finite", "latency_s"),
    ]  # fmt: skip
