"""What each sensor reads, against turns of bodies by `scipy.spatial.transform.Rotation`."""

import math

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.machine import Range
from kinematics.sensing import angles_from, misread, readings_of
from kinematics.sensor import LEFT, Measure, Mounting
from kinematics.sensor_set import SensorSet

from .machines import plain_bucket, plain_machine, random_angles, seeded
from .sensor_sets import random_set, reading, sensor

# Ten turns as quaternions and back, some 1e-15; near the vertical an arcsine or Euler angles make 1e-8 of it.
TURNS_RAD = 1e-12
NEAR_VERTICAL_RAD = 1e-7


def test_every_sensor_reads_its_definition() -> None:
    seen: dict[tuple[str, Measure], int] = {}
    for seed in range(300):
        assembly = seeded(seed % 30, linkage=seed % 2 == 0, driven=seed % 3 == 0)
        rng = np.random.default_rng([33, seed])
        angles = random_angles(rng, assembly)
        sensors = random_set(rng, assembly, angles)
        for name, told in readings_of(sensors, pose(assembly, **angles)).items():
            one = sensors.sensors[name]
            ours, theirs = numbers_of(told), numbers_of(reading(assembly, one, angles))
            steep = one.unit == "rad" and any(abs(abs(a) - 0.5 * math.pi) < 1e-3 for a in ours)
            for a, b in zip(ours, theirs, strict=True):
                assert math.isfinite(a)
                assert abs(math.remainder(a - b, math.tau)) <= (NEAR_VERTICAL_RAD if steep else TURNS_RAD), (
                    one
                )
            seen[one.place, one.measures] = seen.get((one.place, one.measures), 0) + 1
    kinds = {kind for _, kind in seen}
    assert kinds == set(Measure)
    # fmt: off
    assert {place for place, _ in seen} == {
        "body", "swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate", "idler", "power_link", "coupler",
    }
    # fmt: on


def numbers_of(told: float | tuple[float, float]) -> tuple[float, ...]:
    return told if isinstance(told, tuple) else (told,)


def body_set(**body: object) -> SensorSet:
    """Encoders on the arm of a plain machine, these on its body."""
    arm = {joint: sensor(joint, Measure.ANGLE) for joint in ("boom", "stick", "bucket")}
    return SensorSet(assemble(plain_machine(), plain_bucket()), arm | body)  # type: ignore[arg-type]


LEVEL_ARM = {"boom": 0.6, "stick": -1.6, "bucket": 1.0}


@pytest.mark.parametrize(
    ("pitch_deg", "roll_deg", "sideways_deg", "last_digit_deg"),
    [
        # Euler pitch and roll apart from tilt angles: public inclinometer manuals; figures derived from them.
        (10.0, 20.0, 19.6835, 0.00005),
        (10.0, 10.0, 9.85, 0.005),
    ],
)
def test_euler_roll_is_not_the_side_axis_inclination(
    pitch_deg: float, roll_deg: float, sideways_deg: float, last_digit_deg: float
) -> None:
    unit = body_set(unit=sensor("body", Measure.PITCH_ROLL))
    levels = body_set(
        nose=sensor("body", Measure.INCLINATION), side=sensor("body", Measure.INCLINATION, axis=LEFT)
    )
    lean = {"pitch": math.radians(pitch_deg), "roll": math.radians(roll_deg)}
    told = readings_of(unit, pose(unit.assembly, **lean, **LEVEL_ARM))["unit"]
    assert isinstance(told, tuple)
    assert math.dist(told, (lean["pitch"], lean["roll"])) <= 1e-15
    by_levels = readings_of(levels, pose(levels.assembly, **lean, **LEVEL_ARM))
    nose, side = by_levels["nose"], by_levels["side"]
    assert isinstance(nose, float)
    assert isinstance(side, float)
    assert abs(math.degrees(nose) - pitch_deg) <= 1e-12
    assert abs(math.degrees(side) - sideways_deg) <= last_digit_deg
    back = angles_from(levels, by_levels)
    assert abs(back["roll"] - lean["roll"]) <= 1e-14
    assert abs(back["pitch"] - lean["pitch"]) <= 1e-14


def test_a_dual_axis_unit_by_iso_8855() -> None:
    """That standard has pitch nose down, roll left side up (from memory): signs -1 and +1."""
    unit = body_set(unit=sensor("body", Measure.PITCH_ROLL, sign=-1))
    found = angles_from(unit, {"unit": (math.radians(-3.0), math.radians(5.0)), **LEVEL_ARM})
    assert abs(found["pitch"] - math.radians(3.0)) <= 1e-15
    assert abs(found["roll"] - math.radians(5.0)) <= 1e-15


def arm_set(**changes: object) -> SensorSet:
    """Gravity angles on every link of a plain machine whose boom goes up to 80 deg and over; some of them others."""
    machine = plain_machine(boom=Range(-0.8, 1.7))
    parts = {"body": sensor("body", Measure.PITCH_ROLL)}
    parts |= {joint: sensor(joint) for joint in ("boom", "stick", "bucket")}
    return SensorSet(assemble(machine, plain_bucket()), parts | changes)  # type: ignore[arg-type]


def test_an_inclination_taken_for_a_gravity_angle() -> None:
    """5 deg of roll, boom at 60: asin(cos 5 sin 60) is 59.62, 0.38 deg less, some 20 mm where a 6 m boom leads to 3 m."""
    right = arm_set()
    wrong = arm_set(boom=sensor("boom", Measure.INCLINATION))
    stands = pose(
        wrong.assembly, pitch=0.0, roll=math.radians(5.0), boom=math.radians(60.0), stick=-1.6, bucket=1.0
    )
    told = readings_of(wrong, stands)["boom"]
    assert isinstance(told, float)
    assert abs(math.degrees(told) - 59.62) <= 0.005
    believed = SensorSet(wrong.assembly, right.sensors)
    off = {name: math.degrees(angle) for name, angle in misread(wrong, believed, stands).items()}
    by_hand = math.degrees(math.asin(math.cos(math.radians(5.0)) * math.sin(math.radians(60.0)))) - 60.0
    assert abs(by_hand + 0.38) <= 0.005
    assert abs(off["boom"] - by_hand) <= 1e-10
    assert abs(off["stick"] + by_hand) <= 1e-10
    assert max(abs(off[name]) for name in ("pitch", "roll", "bucket")) <= 1e-10
    drop_mm = 6000.0 * (math.sin(math.radians(60.0)) - math.sin(math.radians(60.0 + by_hand)))
    assert abs(drop_mm - 20.0) <= 0.5
    assert max(map(abs, misread(wrong, wrong, stands).values())) <= 1e-12


@pytest.mark.parametrize(("boom_deg", "lost_deg"), [(0.0, 0.0875), (30.0, 0.0757), (60.0, 0.0434)])
def test_a_skewed_sensor_taken_for_square(boom_deg: float, lost_deg: float) -> None:
    """1 deg out of the plane, 5 deg of roll: 0.09 deg on a level link, cos a of it on one raised by a. By hand: the
    skewed axis picks up sin k of plumb's part across the arm, sin r, which turns atan2(g x, g z) by k sin r cos a."""
    skewed = arm_set(boom=sensor("boom", mounting=Mounting(0.0, to_left=math.radians(1.0))))
    believed = SensorSet(skewed.assembly, arm_set().sensors)
    stands = pose(
        skewed.assembly,
        pitch=0.0,
        roll=math.radians(5.0),
        boom=math.radians(boom_deg),
        stick=-1.6,
        bucket=1.0,
    )
    off = misread(skewed, believed, stands)
    first_order = math.radians(1.0) * math.sin(math.radians(5.0)) * math.cos(math.radians(boom_deg))
    # The second order is the skew squared, 0.0003 of a turned part of at most a rad, and the roll squared of the first.
    assert abs(off["boom"] - first_order) <= 2e-4
    assert abs(math.degrees(off["boom"]) - lost_deg) <= 0.006
    assert abs(off["boom"] + off["stick"]) <= 1e-12
