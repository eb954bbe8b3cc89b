"""How sensors' errors come through: gravity's and encoders', and a whole machine's against a measured one."""

import dataclasses
import math

import numpy as np

from kinematics.arm import pose
from kinematics.sensing import angles_from, misread, readings_of
from kinematics.sensor import Measure, Mounting
from kinematics.sensor_set import SensorSet

from .machines import random_angles
from .sensor_sets import sensor
from .test_profiles_mujoco import PAIRS

ASSEMBLY = PAIRS["crawler-21t with digging-1500"]
UNITS = {"body": sensor("body", Measure.PITCH_ROLL)} | {
    name: sensor(name) for name in ("boom", "stick", "bucket")
}
ENCODERS = {"body": UNITS["body"]} | {
    name: sensor(name, Measure.ANGLE) for name in ("boom", "stick", "bucket")
}


def biased(sensors: dict[str, object], name: str, bias: float) -> dict[str, float]:
    """Error of each link's in-plane angle where one sensor has slipped by `bias` (rad)."""
    believed = SensorSet(ASSEMBLY, sensors)  # type: ignore[arg-type]
    one = believed.sensors[name]
    mounting = Mounting(bias) if isinstance(one.mounting, Mounting) else bias
    slipped = SensorSet(
        ASSEMBLY, dict(believed.sensors) | {name: dataclasses.replace(one, mounting=mounting)}
    )
    middle = {joint: 0.5 * (span.low + span.high) for joint, span in ASSEMBLY.ranges.items()}
    off = misread(slipped, believed, pose(ASSEMBLY, pitch=0.02, roll=0.03, **middle))
    boom, stick, bucket = off["boom"], off["boom"] + off["stick"], off["boom"] + off["stick"] + off["bucket"]
    return {"boom": boom, "stick": stick, "bucket": bucket}


def test_a_boom_bias_by_gravity_stays_in_the_boom_and_by_encoder_goes_through() -> None:
    bias = math.radians(0.1)
    by_gravity = biased(dict(UNITS), "boom", bias)
    assert abs(by_gravity["boom"] - bias) <= 1e-12
    assert max(abs(by_gravity["stick"]), abs(by_gravity["bucket"])) <= 1e-12
    by_encoder = biased(dict(ENCODERS), "boom", bias)
    assert max(abs(angle - bias) for angle in by_encoder.values()) <= 1e-12


def test_an_idler_bias_is_multiplied_by_the_linkage() -> None:
    """By d bucket / d idler of the pose, of which a bias of 0.001 deg is small enough to be a differential."""
    bias = math.radians(0.001)
    sensors = {name: one for name, one in UNITS.items() if name != "bucket"} | {"bucket": sensor("idler")}
    middle = {joint: 0.5 * (span.low + span.high) for joint, span in ASSEMBLY.ranges.items()}
    bar = pose(ASSEMBLY, pitch=0.0, roll=0.0, **middle).four_bar()
    assert bar is not None
    off = biased(dict(sensors), "bucket", bias)
    assert abs(off["bucket"] / bias - bar.ratio) <= 1e-4


def test_four_ordinary_units_come_as_near_as_four_measured_ones() -> None:
    """Four inclination units on body, boom, stick and bucket against a total station: mean height error 1.03 cm, at most
    5.0 cm allowed (ffpri 19(3) 269 at jstage.jst.go.jp, abstract). Ordinary units are good for 0.1 deg (common
    practice, no source): the same order of size, not the same number, since their machine is another."""
    rng = np.random.default_rng(35)
    sensors = SensorSet(ASSEMBLY, UNITS)
    wrong_m: list[float] = []
    while len(wrong_m) < 400:
        angles = random_angles(rng, ASSEMBLY) | dict(
            zip(("pitch", "roll"), rng.uniform(-0.05, 0.05, 2), strict=True)
        )
        # Off the end stops, so that no unit's error carries a joint past one.
        inside = all(s.low + 0.02 < angles[n] < s.high - 0.02 for n, s in ASSEMBLY.ranges.items())
        if not inside:
            continue
        true = pose(ASSEMBLY, **angles)
        noisy: dict[str, float | tuple[float, float]] = {}
        for name, told in readings_of(sensors, true).items():
            off = rng.normal(0.0, math.radians(0.1), 2).tolist()
            noisy[name] = (told[0] + off[0], told[1] + off[1]) if isinstance(told, tuple) else told + off[0]
        found = pose(ASSEMBLY, **angles_from(sensors, noisy))
        wrong_m.append(abs(found.height("centre") - true.height("centre")))
    mean = sum(wrong_m) / len(wrong_m)
    assert math.isfinite(mean)
    assert 0.003 <= mean <= 0.03
    assert max(wrong_m) <= 0.05
