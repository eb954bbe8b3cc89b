"""Rates of readouts by every source, against steps: sensors, machines and attachments really changed."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.arm import pose
from kinematics.assembly import Assembly
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.parameters import NAMES
from kinematics.place_rates import JOINTS
from kinematics.rates_at import RatesAt
from kinematics.sensing import angles_from, readings_of
from kinematics.sensor_set import LEAN, SensorSet
from kinematics.sources import sources_of
from kinematics.trust import Trust
from kinematics.trust_desk import pins_to
from kinematics.trust_rates import ROWS
from tests.amounts import several

from .machines import random_angles, seeded
from .plainly import in_plain_python
from .sensor_sets import random_set
from .test_sensing_block import SENSED, flat, unchecked
from .trust_rig import added, believed, changed, skewed, squared, told_of, worn

STEP = 1e-5
STEP_OF_DIRECTION = 4e-7  # within the allowance for a direction's length
FALL = (0.12, -0.07)
# Of a rate of some 10 m/rad over 1e-5: curvature 1e-9, rounding of a height 1e-15 / 1e-5.
APART = 3e-7
APART_OF_DIRECTION = 3e-7
HEIGHTS = ("left", "centre", "right")


class Steps:
    """Central differences at one pose, readings held."""

    def __init__(self, sensors: SensorSet, angles: dict[str, float], line: str) -> None:
        self.sensors, self.line = sensors, line
        self.found = pose(sensors.assembly, **angles)
        self.readings = readings_of(sensors, self.found)
        told = angles_from(sensors, self.readings)
        off = max(abs(told[name] - angle) for name, angle in angles.items())
        self.usable = off < STEP

    def rows(self, sensors: SensorSet, readings: Any) -> np.ndarray:
        found = believed(sensors, readings)
        receiver = [found.height("receiver")] if self.sensors.assembly.machine.receiver is not None else []
        return np.array([*told_of(found, self.line, FALL), *receiver])

    def reading(self, name: str, part: int, by: float) -> np.ndarray:
        return self.rows(self.sensors, added(self.readings, {(name, part): by}))

    def skew(self, name: str, by: float) -> np.ndarray:
        really = SensorSet(self.sensors.assembly, skewed(self.sensors.sensors, {name: by}))
        return self.rows(self.sensors, readings_of(really, self.found))

    def machine(self, assembly: Assembly) -> np.ndarray:
        return self.rows(SensorSet(assembly, self.sensors.sensors), self.readings)


def by_steps(steps: Steps, source: str) -> tuple[np.ndarray, np.ndarray] | None:
    """Differences over a step and over half of it; None where a step leaves the pose's neighbourhood, or is none."""
    name, _, rest = source.partition(".")
    what, _, part = rest.partition(".")
    size = STEP_OF_DIRECTION if "_axis_" in name or name.startswith("mast_") else STEP
    at = LEAN.index(part) if part else 0

    def rows(by: float) -> np.ndarray:
        if what in ("zero", "noise", "drift"):
            return steps.reading(name, at, by)
        if what == "skew":
            return steps.skew(name, by)
        if name == "edge_wear":
            return steps.machine(worn(steps.sensors.assembly, by))
        return steps.machine(changed(steps.sensors.assembly, {name: by}))

    try:
        return tuple((rows(h) - rows(-h)) / (2.0 * h) for h in (size, 0.5 * size))
    except Refused:
        return None


def check(sensors: SensorSet, angles: dict[str, float], *, line: str = "edge") -> int:
    """Every rate of every row, and those of `of_height`; how many sources were looked at."""
    steps = Steps(sensors, angles, line)
    if not steps.usable:
        return 0  # square, an inclination is on its other branch
    sources = sources_of(sensors, Estimates())
    trust = Trust(sensors, sources, Estimates(), None, None, line=line, fall=FALL)
    assert trust.judge(flat(sensors, steps.readings), steps.found.q)
    points = [*(name if line == "edge" else f"tooth_{name}" for name in HEIGHTS)]
    here = RatesAt(sensors, sources)
    heights = {point: here.of_height(steps.found, point) for point in points}
    if sensors.assembly.machine.receiver is not None:
        heights["receiver"] = here.of_height(steps.found, "receiver")
    looked = 0
    for i, source in enumerate(sources.names):
        if sources.standard[i] == 0.0 or source in ("pin_slop", "coupler_play", "flex"):
            continue
        found = by_steps(steps, source)
        if found is None:
            continue
        whole, half = found
        assert np.all(np.isfinite(whole))
        assert np.all(np.isfinite(half))
        direction = "_axis_" in source or source.startswith("mast_")
        allowed = (APART_OF_DIRECTION if direction else APART) * (1.0 + float(np.max(np.abs(half))))
        allowed += 4.0 * float(np.max(np.abs(whole - half)))  # what the step itself costs, near a dead centre
        told = trust.rows()[:, i]
        assert np.all(np.isfinite(told))
        assert np.max(np.abs(told - half[:ROWS])) <= allowed, (source, told, half)
        for k, rates in enumerate(heights.values()):
            assert abs(rates[i] - half[k if k < 3 else ROWS]) <= allowed, (source, k)
        looked += 1
    return looked


def square(sensors: SensorSet) -> SensorSet:
    return SensorSet(sensors.assembly, squared(sensors.sensors))


@pytest.mark.parametrize("pair", SENSED)
def test_shipped_machines(pair: str) -> None:
    sensors = square(unchecked(SENSED[pair]))
    rng = np.random.default_rng(11)
    looked = 0
    for _ in range(4):
        try:
            looked += check(sensors, random_angles(rng, sensors.assembly))
        except Refused:  # an inclination near the vertical, a tilt axis near plumb
            continue
    assert looked > 60


@given(st.integers(0, 10_000))
@settings(deadline=None, max_examples=several(100))
def test_any_sensors_on_any_machine(seed: int) -> None:
    rng = np.random.default_rng(seed)
    assembly = seeded(seed, linkage=bool(seed % 2), driven=bool(seed % 3))
    angles = random_angles(rng, assembly)
    line = "teeth" if assembly.attachment.teeth is not None and rng.random() < 0.5 else "edge"
    try:
        check(square(random_set(rng, assembly, angles)), angles, line=line)
    except Refused:
        return


def test_all_joints_are_summed() -> None:
    """`source_rates` writes the nine of them out: a tenth must be added there."""
    assert JOINTS == 9


@pytest.mark.parametrize("pair", ["crawler-14t with coupled-900", "midi-8t with digging-1500"])
def test_what_gives(pair: str) -> None:
    """Flex moves the edge as it is; slop by the root of as many squares as there are pins, and of two more through idler
    and power link where the bucket is told by them; play as the coupler's angle."""
    sensors = unchecked(SENSED[pair])
    sources = sources_of(sensors, Estimates())
    found = pose(sensors.assembly, **{
        name: 0.5 * (span.low + span.high) for name, span in sensors.assembly.ranges.items()
    }, pitch=0.02, roll=-0.03)  # fmt: skip
    rates = dict(
        zip(sources.names, RatesAt(sensors, sources).of_height(found, "centre").tolist(), strict=True)
    )
    link = rates["power_link_length"]
    assert link != 0.0
    assert rates["flex"] == 1.0
    pins = 3.0 + (sensors.assembly.machine.fore_boom is not None)
    assert pins_to(sensors.assembly, "centre") == pins
    assert rates["pin_slop"] == pytest.approx(math.sqrt(pins + 2.0 * link * link), rel=1e-12)
    assert rates["coupler_play"] == rates["coupler_angle"]


def some_rates() -> list[float]:
    """What both ways of running give, in a row: rates and numbers."""
    every: list[float] = []
    for pair in ("crawler-14t with digging-1500", "crawler-14t with tilting-1800"):
        sensors = unchecked(SENSED[pair])
        found = pose(sensors.assembly, **random_angles(np.random.default_rng(3), sensors.assembly))
        sources = sources_of(sensors, Estimates())
        trust = Trust(sensors, sources, Estimates(), None, None, fall=FALL)
        assert trust.judge(flat(sensors, readings_of(sensors, found)), found.q)
        every += [*trust.rows().ravel().tolist(), *np.nan_to_num(trust.numbers, nan=-1.0).tolist()]
    assert len(every) > len(NAMES)
    return every


def test_plain_python_gives_the_same() -> None:
    assert some_rates() == pytest.approx(in_plain_python("test_trust_rates", "some_rates"), abs=1e-12)
