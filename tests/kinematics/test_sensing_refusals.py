"""Readings that cannot be trusted: every refusal, with its place, several at once; nothing clipped, no mean taken."""

import dataclasses
import math
from typing import Any

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.drives import four_bar_from_idler
from kinematics.errors import Refused
from kinematics.machine import Axis, Range
from kinematics.sensing import angles_from, readings_of
from kinematics.sensing_gravity import meeting, turns_onto
from kinematics.sensor import LEFT, Measure, Mounting, Sensor
from kinematics.sensor_set import SensorSet

from .machines import mini_bucket, mini_machine, plain_bucket, plain_machine, seeded
from .sensor_sets import NOISE_RAD, sensor

PLAIN = assemble(plain_machine(), plain_bucket())
LEAN = {"pitch": math.radians(2.0), "roll": math.radians(5.0)}
ARM = {"boom": 0.6, "stick": -1.6, "bucket": 1.0}


def gravity(**changes: Sensor) -> SensorSet:
    """Gravity angles on every link of the plain machine, some of them others."""
    parts = {"body": sensor("body", Measure.PITCH_ROLL)}
    parts |= {joint: sensor(joint) for joint in ("boom", "stick", "bucket")}
    return SensorSet(PLAIN, parts | changes)


def faults_of(sensors: SensorSet, readings: Any, ages_s: Any = None) -> list[tuple[str, str]]:
    with pytest.raises(Refused) as caught:
        angles_from(sensors, readings, ages_s)
    for fault in caught.value.faults:
        assert fault.found
        assert fault.expected
    return [(fault.code, fault.where) for fault in caught.value.faults]


def read(sensors: SensorSet, **changes: float) -> dict[str, Any]:
    return dict(readings_of(sensors, pose(sensors.assembly, **(LEAN | ARM | changes))))


def test_all_bad_readings_at_once() -> None:
    sensors = gravity(boom=sensor("boom", range=Range(-1.0, 1.0)))
    bad = {"body": (math.nan, 9.0), "boom": 1.5, "stick": math.inf, "bukcet": 0.1}
    assert faults_of(sensors, bad) == [
        ("no-such-sensor", "bukcet"), ("not-finite", "body.0"), ("out-of-range", "body.1"), ("out-of-range", "boom"),
        ("not-finite", "stick"), ("missing-reading", "bucket"),
    ]  # fmt: skip


@pytest.mark.parametrize("bad", ["0.5", None, True, 1j, [0.5], np.array([0.5])])
def test_what_is_no_number(bad: Any) -> None:
    sensors = gravity()
    assert faults_of(sensors, read(sensors) | {"boom": bad}) == [("not-a-number", "boom")]


@pytest.mark.parametrize("bad", [0.5, "ab", (0.1,), (0.1, 0.2, 0.3), None])
def test_what_is_no_pair(bad: Any) -> None:
    sensors = gravity()
    assert faults_of(sensors, read(sensors) | {"body": bad}) == [("not-a-number", "body")]


def test_numbers_of_other_libraries_are_numbers() -> None:
    sensors = gravity()
    readings = read(sensors)
    same = angles_from(sensors, readings | {"boom": np.float64(readings["boom"])})
    assert same == angles_from(sensors, readings)


def test_a_pitch_past_a_right_angle_is_none() -> None:
    sensors = gravity()
    assert faults_of(sensors, read(sensors) | {"body": (1.6, 0.0)}) == [("out-of-range", "body.0")]


def test_error_codes_of_a_16_bit_slope_message() -> None:
    """J1939 SSI (PGN 61459), 0.002 deg a bit, offset -64 deg: valid up to 0xFAFF, 64.51 deg; 0xFExx error, 0xFFxx not
    available (SAE J1939-71, from memory). Decoded as if they were angles, those lie outside the sensor's range."""
    slope = {raw: math.radians(raw * 0.002 - 64.0) for raw in (0, 32000, 0xFAFF, 0xFE00, 0xFFFF)}
    assert slope[32000] == 0.0
    assert abs(math.degrees(slope[0xFAFF]) - 64.51) <= 0.0005
    sensors = gravity(body=sensor("body", Measure.PITCH_ROLL, range=Range(slope[0], slope[0xFAFF])))
    level = read(sensors)
    for raw in (0xFE00, 0xFFFF):
        assert faults_of(sensors, level | {"body": (slope[raw], 0.0)}) == [("out-of-range", "body.0")]
    # A payload seen in a log, 1.814301 and -0.500336 deg.
    found = angles_from(sensors, level | {"body": (math.radians(1.814301), math.radians(-0.500336))})
    assert abs(math.degrees(found["pitch"]) - 1.814301) <= 1e-12
    assert abs(math.degrees(found["roll"]) + 0.500336) <= 1e-12


def test_ages() -> None:
    sensors = gravity(stick=sensor("stick", latency_s=0.25))
    readings = read(sensors)
    fresh = dict.fromkeys(readings, 0.04)
    assert angles_from(sensors, readings, fresh) == angles_from(sensors, readings)
    # 0.1 s since it came and 0.25 s on the way are past 0.3 s.
    old = fresh | {"stick": 0.1, "boom": math.nan, "body": "1", "spare": 0.0}
    del old["bucket"]
    assert sorted(faults_of(sensors, readings, old)) == [
        ("missing-reading", "ages_s.bucket"), ("no-such-sensor", "ages_s.spare"), ("not-a-number", "ages_s.body"),
        ("not-finite", "ages_s.boom"), ("stale-reading", "stick"),
    ]  # fmt: skip
    assert sensors.latency_s == 0.25


def test_a_sine_past_one_is_never_clipped() -> None:
    """At 5 deg of roll no boom reads more than 85 deg along one axis."""
    sensors = gravity(boom=sensor("boom", Measure.INCLINATION, branch=1))
    level = read(sensors, pitch=0.0)
    with pytest.raises(Refused) as caught:
        angles_from(sensors, level | {"boom": math.radians(86.0)})
    assert [(fault.code, fault.where) for fault in caught.value.faults] == [("impossible-reading", "boom")]
    sine = math.sin(math.radians(86.0)) / math.cos(math.radians(5.0))
    assert sine > 1.0
    assert abs(caught.value.faults[0].numbers["sine"] - sine) <= 1e-12


def test_one_axis_near_the_vertical() -> None:
    """9 deg off the vertical refused, 11 deg taken; a stated branch or a second axis reads there too."""
    machine = plain_machine(boom=Range(0.2, 2.6))
    assembly = assemble(machine, plain_bucket())

    def with_boom(one: Sensor) -> SensorSet:
        return SensorSet(assembly, dict(gravity().sensors) | {"boom": one})

    def stands(deg: float) -> Any:
        return pose(assembly, pitch=0.0, roll=0.0, **(ARM | {"boom": math.radians(deg)}))

    one_axis = with_boom(sensor("boom", Measure.INCLINATION))
    assert faults_of(one_axis, readings_of(one_axis, stands(81.0))) == [("near-vertical", "boom")]
    # Off the vertical, 79 and 101 deg both lie in the joint's range.
    assert faults_of(one_axis, readings_of(one_axis, stands(79.0))) == [("ambiguous", "boom.boom")]
    for deg, branch in ((79.0, 1), (88.0, 1), (92.0, -1), (101.0, -1)):
        stated = with_boom(sensor("boom", Measure.INCLINATION, branch=branch))
        found = angles_from(stated, readings_of(stated, stands(deg)))
        assert abs(math.degrees(found["boom"]) - deg) <= 1e-10
    for kind in (Measure.PITCH_ROLL, Measure.GRAVITY_ANGLE):
        two_axes = with_boom(sensor("boom", kind))
        for deg in (81.0, 89.999, 90.0, 101.0):
            found = angles_from(two_axes, readings_of(two_axes, stands(deg)))
            assert abs(math.degrees(found["boom"]) - deg) <= 1e-10
    narrow = assemble(plain_machine(boom=Range(0.2, 1.5)), plain_bucket())
    alone = SensorSet(narrow, one_axis.sensors)
    at = pose(narrow, pitch=0.0, roll=0.0, **(ARM | {"boom": math.radians(79.0)}))
    assert abs(math.degrees(angles_from(alone, readings_of(alone, at))["boom"]) - 79.0) <= 1e-10


def test_a_wrong_sign_is_beyond_the_joint() -> None:
    """The stick 57 deg below the horizontal would stand 57 above it."""
    wrong = gravity(stick=sensor("stick", sign=-1))
    assert faults_of(wrong, read(gravity())) == [("beyond-joint", "stick.stick")]


def test_the_other_sign_of_gravity_is_half_a_turn() -> None:
    """A sensor that calls free fall's opposite -1 g reads 180 deg more: no link has that, nor any body."""
    sensors = gravity()
    readings = read(sensors)
    turned = {n: math.remainder(readings[n] + math.pi, math.tau) for n in ("boom", "stick", "bucket")}
    assert {code for code, _ in faults_of(sensors, readings | turned)} == {"beyond-joint"}
    pitch, roll = readings["body"]
    over = readings | {"body": (-pitch, math.remainder(roll + math.pi, math.tau))}
    assert ("too-steep", "body.roll") in faults_of(sensors, over)


def test_a_body_that_no_lean_has() -> None:
    levels = {
        "nose": sensor("body", Measure.INCLINATION), "side": sensor("body", Measure.INCLINATION, axis=LEFT),
    }  # fmt: skip
    arm = {joint: sensor(joint, Measure.ANGLE) for joint in ARM}
    sensors = SensorSet(PLAIN, levels | arm)
    assert faults_of(sensors, ARM | {"nose": 1.0, "side": 1.0}) == [
        ("impossible-reading", "nose"), ("impossible-reading", "side"),
    ]  # fmt: skip
    assert faults_of(sensors, ARM | {"nose": 0.8, "side": 0.0}) == [("too-steep", "nose.pitch")]
    angles = SensorSet(PLAIN, {"nose": sensor("body"), "side": sensor("body", axis=LEFT)} | arm)
    upside_down = ARM | {"nose": math.pi - 0.1, "side": math.pi - 0.1}
    assert {code for code, _ in faults_of(angles, upside_down)} == {"too-steep"}


def test_two_idlers_that_one_inclination_has() -> None:
    """Mirrored in the vertical, both within the stroke: one axis cannot tell them apart, a stated branch can."""
    assembly = seeded(0, linkage=True)
    span = assembly.idler
    assert span is not None
    assert assembly.links is not None
    middle = 0.5 * (span.low + span.high)
    # The stick stood so that the idler's middle is plumb; 15 deg either way are within its stroke.
    kinds = {joint: sensor(joint, Measure.ANGLE) for joint in assembly.ranges if joint != "bucket"}
    kinds |= {"body": sensor("body", Measure.PITCH_ROLL), "idler": sensor("idler", Measure.INCLINATION)}
    angles = {joint: 0.5 * (reach.low + reach.high) for joint, reach in assembly.ranges.items()}
    angles["stick"] = 0.5 * math.pi - middle - angles["boom"] - angles.get("fore_boom", 0.0)
    around = Range(angles["stick"] - 1.0, angles["stick"] + 1.0)
    assembly = assemble(dataclasses.replace(assembly.machine, stick=around), assembly.attachment)
    angles["bucket"] = four_bar_from_idler(assembly, middle + math.radians(15.0)).bucket
    stands = pose(assembly, pitch=0.0, roll=0.0, **angles)
    alone = SensorSet(assembly, kinds)
    assert faults_of(alone, readings_of(alone, stands)) == [("ambiguous", "idler.bucket")]
    stated = SensorSet(assembly, kinds | {"idler": sensor("idler", Measure.INCLINATION, branch=-1)})
    assert abs(angles_from(stated, readings_of(stated, stands))["bucket"] - angles["bucket"]) <= 1e-12


def test_without_plumb_no_link_is_told() -> None:
    """The body's fault stands alone: nothing is said of links that hang on it."""
    levels = {
        "nose": sensor("body", Measure.INCLINATION),
        "side": sensor("body", Measure.INCLINATION, axis=LEFT),
    }
    sensors = SensorSet(PLAIN, levels | {joint: sensor(joint) for joint in ARM})
    readings = {"nose": 1.0, "side": 1.0, "boom": 0.6, "stick": -1.0, "bucket": 0.0}
    assert faults_of(sensors, readings) == [("impossible-reading", "nose"), ("impossible-reading", "side")]


def test_one_fault_does_not_hide_another() -> None:
    sensors = gravity(
        boom=sensor("boom", Measure.ANGLE),
        stick=sensor("stick", Measure.ANGLE),
        bucket=sensor("bucket", Measure.ANGLE),
    )
    bad = {"body": (1.2, 0.0), "boom": 1.5, "stick": 0.5, "bucket": 1.0}
    assert faults_of(sensors, bad) == [
        ("too-steep", "body.pitch"), ("beyond-joint", "boom.boom"), ("beyond-joint", "stick.stick"),
    ]  # fmt: skip


def test_whole_turns() -> None:
    """An encoder's reading is taken into the joint's range. Two turns there are ambiguous, the ends of one alike."""

    def on_rotator(span: Range) -> SensorSet:
        tool = plain_bucket(rotate=Axis((0.2, 0.0, -0.6), (0.0, 0.0, 1.0), span))
        arm = {joint: sensor(joint, Measure.ANGLE) for joint in (*ARM, "rotate")}
        return SensorSet(assemble(plain_machine(), tool), {"body": sensor("body", Measure.PITCH_ROLL)} | arm)

    once = on_rotator(Range(-math.pi, math.pi))
    base: dict[str, Any] = {"body": (0.0, 0.0), **ARM}
    for given, taken in (
        (4.0, 4.0 - math.tau),
        (-5.0, math.tau - 5.0),
        (math.pi, math.pi),
        (-math.pi, -math.pi),
    ):
        assert abs(angles_from(once, base | {"rotate": given})["rotate"] - taken) <= 1e-15
    # A hair past the end is the other end's inside.
    past = angles_from(once, base | {"rotate": math.pi + 1e-3})["rotate"]
    assert abs(past - (1e-3 - math.pi)) <= 1e-15
    wide = on_rotator(Range(-1.5 * math.pi, 1.5 * math.pi))
    assert faults_of(wide, base | {"rotate": 4.0}) == [("ambiguous", "rotate.rotate")]
    assert abs(angles_from(wide, base | {"rotate": 1.0})["rotate"] - 1.0) <= 1e-15


def tilting(axis: tuple[float, float, float], *extra: tuple[str, Sensor]) -> SensorSet:
    tool = plain_bucket(tilt=Axis((0.2, 0.0, -0.3), axis, Range(-0.7, 0.7)))
    arm = {joint: sensor(joint, Measure.ANGLE) for joint in ARM}
    body = {"body": sensor("body", Measure.PITCH_ROLL), "tilt": sensor("tilt", axis=LEFT)}
    return SensorSet(assemble(plain_machine(), tool), body | arm | dict(extra))


def test_a_tilt_axis_near_plumb() -> None:
    """Pin line at 0.6 - 1.6 + 2.5 = 86 deg: the axis stands 4 deg from plumb, and gravity sees nothing turn about it."""
    sensors = tilting((1.0, 0.0, 0.0))
    wide = assemble(plain_machine(bucket=Range(-1.5, 2.6)), sensors.assembly.attachment)
    sensors = SensorSet(wide, sensors.sensors)

    def curled(bucket: float) -> Any:
        return readings_of(sensors, pose(wide, pitch=0.0, roll=0.0, **(ARM | {"bucket": bucket}), tilt=0.3))

    assert faults_of(sensors, curled(2.5)) == [("axis-plumb", "tilt.tilt")]
    assert abs(angles_from(sensors, curled(2.3))["tilt"] - 0.3) <= 1e-12


def test_a_second_axis_that_contradicts_the_lean() -> None:
    """A dual-axis unit whose roll has the wrong sign is off by 12 deg where the body leans 6: no arm twists so far."""
    sensors = gravity(boom=sensor("boom", Measure.PITCH_ROLL))
    wrong = gravity(boom=sensor("boom", Measure.PITCH_ROLL, side_sign=-1))
    level = {"boom": 0.0, "roll": math.radians(6.0)}
    assert faults_of(wrong, read(sensors, **level))[0] == ("sensors-disagree", "boom")


# Checks.


def test_a_check_agrees_or_is_named() -> None:
    """An encoder against gravity: four readings' noise, and the first sensor's value either way, never a mean."""
    encoder = sensor("stick", Measure.ANGLE)
    plain = gravity()
    checked = SensorSet(PLAIN, plain.sensors, {"encoder": encoder})
    readings = read(plain)
    alone = angles_from(plain, readings)
    # The stick's joint is a difference of two gravity angles; the body's noise falls out of it.
    noise = math.sqrt(3.0) * NOISE_RAD
    for off in (0.0, 4.9 * noise, -4.9 * noise):
        assert angles_from(checked, readings | {"encoder": alone["stick"] + off}) == alone
    for off in (5.1 * noise, -5.1 * noise, 1.0, -3.0):
        with pytest.raises(Refused) as caught:
            angles_from(checked, readings | {"encoder": alone["stick"] + off})
        (fault,) = caught.value.faults
        assert (fault.code, fault.where) == ("sensors-disagree", "encoder")
        assert abs(fault.numbers["apart"] - abs(off)) <= 1e-12
        assert abs(fault.numbers["noise"] - noise) <= 1e-6
    whole_turn = readings | {"encoder": alone["stick"] + math.tau}
    assert angles_from(checked, whole_turn) == alone


def test_a_check_of_gravity_rests_on_the_body_too() -> None:
    """Encoders on the arm, gravity as check: body pitch, boom, stick and its own noise, four alike."""
    arm = {joint: sensor(joint, Measure.ANGLE) for joint in ARM}
    sensors = SensorSet(
        PLAIN,
        {"body": sensor("body", Measure.PITCH_ROLL)} | arm,
        {"tilted": sensor("stick", Measure.GRAVITY_ANGLE)},
    )
    angles = {"pitch": 0.0, "roll": 0.0} | ARM
    right = readings_of(sensors, pose(PLAIN, **angles))
    tilted = right["tilted"]
    assert isinstance(tilted, float)
    with pytest.raises(Refused) as caught:
        angles_from(sensors, right | {"tilted": tilted + 0.1})
    assert abs(caught.value.faults[0].numbers["noise"] - 2.0 * NOISE_RAD) <= 1e-6


@pytest.mark.parametrize("kind", [Measure.PITCH_ROLL, Measure.INCLINATION])
def test_checks_of_other_kinds(kind: Measure) -> None:
    sensors = SensorSet(PLAIN, gravity().sensors, {"second": sensor("boom", kind)})
    right = read(sensors)
    assert angles_from(sensors, right) == angles_from(gravity(), {n: right[n] for n in gravity().sensors})
    knocked = SensorSet(PLAIN, gravity().sensors, {"second": sensor("boom", kind, mounting=Mounting(0.02))})
    assert faults_of(sensors, read(knocked)) == [("sensors-disagree", "second")]


def test_a_cylinder_checks_the_idler() -> None:
    """The published mini excavator: idler by gravity, bucket cylinder by draw-wire, 1 mm of noise; 12 mm are none."""
    mini = assemble(mini_machine(), mini_bucket())
    parts = {"body": sensor("body", Measure.PITCH_ROLL), "idler": sensor("idler")}
    parts |= {joint: sensor(joint, Measure.LENGTH) for joint in ("boom", "stick")}
    sensors = SensorSet(mini, parts, {"wire": sensor("bucket", Measure.LENGTH)})
    angles = {name: 0.5 * (span.low + span.high) for name, span in mini.ranges.items()}
    right = readings_of(sensors, pose(mini, **LEAN, **angles))
    wire = right["wire"]
    assert isinstance(wire, float)
    found = angles_from(sensors, right)
    for name, angle in angles.items():
        assert abs(found[name] - angle) <= 1e-12
    assert faults_of(sensors, right | {"wire": wire + 0.012}) == [("sensors-disagree", "wire")]
    # The boom's cylinder 50 mm past its stroke and the stick's as short: both named.
    assert faults_of(sensors, right | {"boom": 1.355, "stick": 0.9}) == [
        ("out-of-stroke", "boom.boom"), ("out-of-stroke", "stick.stick"),
    ]  # fmt: skip


def test_a_check_where_noise_leads_out_of_what_can_be() -> None:
    """A boom inclinometer at the most it can read, and a bucket at its stop: noise counts the one way that is left."""
    steep = assemble(plain_machine(boom=Range(-0.8, 1.7)), plain_bucket())
    given = dict(gravity().sensors) | {"boom": sensor("boom", Measure.INCLINATION, branch=1)}
    sensors = SensorSet(steep, given, {"pin": sensor("boom", Measure.ANGLE)})
    on_end = {"pitch": 0.0, "roll": math.radians(5.0)} | ARM | {"boom": 0.5 * math.pi - 1e-6}
    right = readings_of(sensors, pose(steep, **on_end))
    assert abs(angles_from(sensors, right)["boom"] - on_end["boom"]) <= 1e-8
    assert faults_of(sensors, right | {"pin": on_end["boom"] - 0.2}) == [("sensors-disagree", "pin")]

    mini = assemble(mini_machine(), mini_bucket())
    parts = {joint: sensor(joint, Measure.ANGLE) for joint in ARM} | {
        "body": sensor("body", Measure.PITCH_ROLL)
    }
    wired = SensorSet(mini, parts, {"wire": sensor("bucket", Measure.LENGTH)})
    at = {name: 0.5 * (span.low + span.high) for name, span in mini.ranges.items()}
    at["bucket"] = mini.stops["bucket"].high
    stopped = readings_of(wired, pose(mini, **LEAN, **at))
    wire = stopped["wire"]
    assert isinstance(wire, float)
    assert angles_from(wired, stopped)["bucket"] == at["bucket"]
    assert faults_of(wired, stopped | {"wire": wire + 0.1}) == [("sensors-disagree", "wire")]


def test_where_plumb_says_nothing() -> None:
    """Two body axes alike, and a turn about plumb itself: no number comes out."""
    alike = ((1.0, 0.0, 0.0), 0.1, None)
    assert meeting(alike, alike) is None
    sine, turns = turns_onto((0.0, 0.0, 1.0), (0.0, 0.0, 1.0), alike)
    assert sine == math.inf
    assert turns == ()


def test_a_pose_of_another_machine() -> None:
    sensors = gravity()
    other = assemble(plain_machine(), plain_bucket())
    with pytest.raises(Refused) as caught:
        readings_of(sensors, pose(other, **LEAN, **ARM))
    assert caught.value.code == "other-machine"
