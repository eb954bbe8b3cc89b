"""What a calibration costs: twelve unknowns from sixty observations, and whether they can be separated, with the sensors
of the demo's machine."""

import math

import numpy as np

from kinematics import HeightSeen, LineSeen, calibrate, pose, readings_of, separable, value_of, with_values
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.mounting_lines import Level
from kinematics.sensing import angles_from
from kinematics.sensor_set import SensorSet
from kinematics.sources import Sources, sources_of, with_standard
from kinematics.touched import Seen
from machine_profiles import shipped
from machine_profiles.sensor_pair import sensor_set
from tests.benchmarks.started import BenchmarkFailed
from tests.benchmarks.timed import median_ms
from tests.demo_machine import ATTACHMENT, MACHINE, arm_of_demo

RODS, STRIKES, LEVELS, RUNS = 34, 20, 6, 11
ZEROS = ("body.zero.pitch", "body.zero.roll", "boom.zero", "stick.zero", "idler.zero")
LENGTHS = (
    "boom_length", "stick_length", "pin_spacing", "centre_x", "centre_z", "receiver_x", "receiver_z",
)  # fmt: skip
UNKNOWNS = (*ZEROS, *LENGTHS)
_PLANTED_RAD, _PLANTED_M = 0.004, 0.006
_CONTACT_M, _LEVEL_RAD = 0.003, 0.0005
_SURE = 5.0  # standard uncertainties


def calibration() -> dict[str, float]:
    """Milliseconds, medians of runs after a first."""
    profiles = shipped()
    given = sensor_set(profiles["machine", MACHINE], profiles["attachment", ATTACHMENT], arm_of_demo())
    if given is None:
        raise BenchmarkFailed("expected the demo's machine to have sensors, it has none")
    sensors = SensorSet(given.assembly, given.sensors)
    own = dict.fromkeys(ZEROS, 0.01) | dict.fromkeys(LENGTHS, 0.01)
    sources = with_standard(sources_of(sensors, Estimates()), own)
    true = with_values(
        sensors,
        {name: value_of(sensors, name) + (_PLANTED_RAD if "." in name else _PLANTED_M) for name in UNKNOWNS},
    )
    seen = _seen(sensors, true)
    found = calibrate(sensors, sources, UNKNOWNS, seen)
    off = np.abs(found.found - [value_of(true, name) for name in UNKNOWNS])
    if len(seen) != RODS + STRIKES + LEVELS or not (off < _SURE * found.standard).all():
        raise BenchmarkFailed(f"expected the planted values of {UNKNOWNS}, they are off by {off}")
    return {
        "calibration_12x60_ms": median_ms(lambda: calibrate(sensors, sources, UNKNOWNS, seen), RUNS),
        "separable_12x60_ms": median_ms(lambda: _separable(sensors, sources, seen), RUNS),
    }


def _separable(sensors: SensorSet, sources: Sources, seen: list[Seen]) -> object:
    return separable(sensors, sources, UNKNOWNS, seen)


def _seen(sensors: SensorSet, true: SensorSet) -> list[Seen]:
    """Rods on the edge, strikes of the receiver and levels on the body, in postures all over the ranges."""
    rng = np.random.default_rng(11)
    found: list[Seen] = []
    while len(found) < RODS + STRIKES + LEVELS:
        angles = {"pitch": float(rng.uniform(-0.05, 0.05)), "roll": float(rng.uniform(-0.05, 0.05))}
        for name, span in true.assembly.ranges.items():
            angles[name] = span.low + float(rng.uniform(0.12, 0.88)) * (span.high - span.low)
        there = pose(true.assembly, **angles)
        said = readings_of(true, there)
        try:
            angles_from(sensors, said)
        except Refused:  # a tilt axis near plumb
            continue
        name, error = f"{len(found)}", float(rng.standard_normal())
        if len(found) < RODS + STRIKES:
            group, point = ("rods", "centre") if len(found) < RODS else ("strikes", "receiver")
            height = there.height(point) + _CONTACT_M * error
            found.append(HeightSeen(name, group, said, point, height, _CONTACT_M))
        else:
            axis = len(found) % 2
            line = Level(math.asin(there.plumb[axis]) + _LEVEL_RAD * error, _LEVEL_RAD)
            found.append(LineSeen(name, said, "body", line, ("pitch", "roll")[axis]))
    return found
