"""Calibration by the machine's own touches: planted values come back, bad input is refused, what is doubtful is told."""

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.arm import pose
from kinematics.calibration import Calibrated, calibrate
from kinematics.calibration_values import offered, value_of, with_values
from kinematics.errors import Refused
from kinematics.mounting_lines import Level, PlumbLine
from kinematics.sensing import angles_from, readings_of
from kinematics.sensor_set import SensorSet
from kinematics.touched import HeightSeen, LineSeen, Seen
from tests.amounts import several

from .calibration_rig import (
    CONTACT_M,
    ORIGIN_M,
    ROD,
    STONE,
    on_stone,
    postures,
    seen_exactly,
    sensors_of,
    sources_so,
    tells,
    zeros_of,
)
from .fitting_rig import RIGS, rig

# The fit ends where a step is 1e-11 of a scale; rounding of heights of some metres over rates of some m/rad.
BACK = 1e-10
STONE_M = -1.1
FOOT = 0.3048


def kit(name: str) -> tuple[SensorSet, tuple[str, ...], Any]:
    """Sensors, unknowns, and sources that know all but them exactly."""
    sensors = sensors_of(name)
    unknowns = (*zeros_of(sensors), "boom_length", "stick_length")
    own = {
        zero: 0.02 if sensors.sensors[zero.partition(".")[0]].unit == "rad" else 0.01 for zero in unknowns[:3]
    }
    return sensors, unknowns, sources_so(sensors, own | dict.fromkeys(unknowns[3:], 0.02), alone=True)


def planted(sensors: SensorSet, by: dict[str, float]) -> SensorSet:
    return with_values(sensors, {name: value_of(sensors, name) + change for name, change in by.items()})


@pytest.mark.parametrize("name", RIGS)
@settings(max_examples=several(6), deadline=None)
@given(seed=st.integers(0, 2**20), parts=st.tuples(*[st.floats(-1.0, 1.0)] * 5))
def test_planted_values_come_back(name: str, seed: int, parts: tuple[float, ...]) -> None:
    sensors, unknowns, sources = kit(name)
    most = [0.02 if sources.lengths[sources.names.index(one)] else 0.03 for one in unknowns]
    by = {one: part * size for one, part, size in zip(unknowns, parts, most, strict=True)}
    true = planted(sensors, by)
    places = postures(sensors, np.random.default_rng(seed), 26)
    stood = [on_stone(true.assembly, angles, STONE_M) for angles in places[18:]]
    rods, touches = (
        [at for at in each if at is not None and tells(sensors, true, at) and tells(true, true, at)]
        for each in (places[:18], stood)
    )
    seen: list[HeightSeen] = seen_exactly(true, rods)
    stone = seen_exactly(true, touches, STONE)
    seen += [dataclasses.replace(one, height=0.0) for one in stone]
    found = calibrate(sensors, sources, unknowns, seen)
    assert np.all(np.isfinite(found.found))
    assert np.max(np.abs(found.change - list(by.values()))) <= BACK
    assert not found.suspects
    assert found.rms_after <= 1e-6
    assert abs(found.offsets[ROD] - ORIGIN_M) <= BACK
    if touches:
        assert abs(found.offsets[STONE] + STONE_M) <= BACK
    told = [pose(found.sensors.assembly, **angles_from(found.sensors, one.readings)) for one in seen]
    for there, one in zip(told, seen, strict=True):
        assert abs(there.height("centre") + found.offsets[one.group] - one.height) <= 1e-8


def test_the_edge_the_receiver_and_the_body_come_back() -> None:
    """Strikes, and a body's pair by levels: what no edge height alone would show."""
    sensors = sensors_of("gravity")
    by = {"centre_x": 0.012, "centre_z": -0.02, "receiver_x": 0.03, "receiver_z": -0.02, "body.zero.roll": 0.01,
          "body.zero.pitch": -0.008, "boom.zero": 0.01, "stick.zero": 0.012}  # fmt: skip
    true = planted(sensors, by)
    own = dict.fromkeys(by, 0.02)
    sources = sources_so(sensors, own, alone=True)
    places = postures(sensors, np.random.default_rng(3), 20, lean=0.1)
    seen: list[Seen] = [*seen_exactly(true, places), *seen_exactly(true, places, "plane", "receiver")]
    for i, angles in enumerate(places[:3]):
        there = pose(true.assembly, **angles)
        x, y, _ = there.plumb
        said = readings_of(true, there)
        seen.append(LineSeen(f"nose {i}", said, "body", Level(math.asin(x), 0.001), "pitch"))
        seen.append(LineSeen(f"side {i}", said, "body", Level(math.asin(y), 0.001), "roll"))
    found = calibrate(sensors, sources, tuple(by), seen)
    assert np.max(np.abs(found.change - list(by.values()))) <= BACK


def test_levels_and_plumb_lines_alone() -> None:
    sensors = sensors_of("encoders")
    by = {"boom.zero": 0.01, "stick.zero": -0.02}
    true = planted(sensors, by)
    seen: list[Seen] = []
    for i, angles in enumerate(postures(sensors, np.random.default_rng(4), 6, lean=0.0)):
        upright = angles | {"stick": -0.5 * math.pi - angles["boom"]}
        for kind, at in (("level", angles), ("plumb", upright)):
            there = pose(true.assembly, **at)
            said = readings_of(true, there)
            if kind == "level":
                seen.append(LineSeen(f"{kind} {i}", said, "boom", Level(there.joint("boom"), 0.0005)))
            else:
                seen.append(LineSeen(f"{kind} {i}", said, "stick", PlumbLine(below=True, uncertainty=0.001)))
    found = calibrate(sensors, sources_so(sensors, dict.fromkeys(by, 0.01), alone=True), tuple(by), seen)
    assert np.max(np.abs(found.change - list(by.values()))) <= BACK
    # Six levels of 0.5 mrad on the boom: its zero to a sixth of their variance, as a mean is.
    assert found.standard[0] == pytest.approx(0.0005 / math.sqrt(6.0), rel=0.05)
    assert found.offsets == {}


@pytest.fixture(scope="module")
def job() -> tuple[SensorSet, tuple[str, ...], Any, list[HeightSeen]]:
    """Gravity sensors, three zeros off by 0.3 to 0.6 deg, twenty rods to the millimetre."""
    sensors = sensors_of("gravity")
    unknowns = zeros_of(sensors)
    true = planted(sensors, dict(zip(unknowns, (0.005, -0.01, 0.008), strict=True)))
    rng = np.random.default_rng(8)
    exact = seen_exactly(true, postures(sensors, rng, 20))
    seen = [dataclasses.replace(one, height=one.height + float(rng.normal(0.0, CONTACT_M))) for one in exact]
    return sensors, unknowns, sources_so(sensors, dict.fromkeys(unknowns, 0.01), alone=True), seen


def faults(job: Any, seen: list[Any], unknowns: tuple[str, ...] | None = None) -> dict[str, str]:
    """Code by place of what is refused."""
    sensors, given, sources, _ = job
    with pytest.raises(Refused) as refused:
        calibrate(sensors, sources, unknowns or given, seen)
    return {fault.where: fault.code for fault in refused.value.faults}


def test_what_is_told(job: Any) -> None:
    sensors, unknowns, sources, seen = job
    found = calibrate(sensors, sources, unknowns, seen)
    assert found.consistent
    assert found.widened == 1.0
    assert found.freedom == 20 - 1 - 3
    assert np.all(np.abs(found.change - [0.005, -0.01, 0.008]) <= 4.0 * found.standard)
    assert found.rms_before > 3.0 * found.rms_after
    assert 0.4 <= found.rms_after <= 1.6
    assert found.lengths.tolist() == [False] * 3
    assert all(0.0 <= one.checked <= 1.0 for one in found.residuals)
    # Redundancies add up to the freedom where errors are one each (Baarda); the group's offset takes one.
    assert sum(one.checked for one in found.residuals) == pytest.approx(found.freedom, rel=1e-9)
    assert [value_of(found.sensors, name) for name in unknowns] == found.found.tolist()
    assert np.allclose(found.standard**2, np.diagonal(found.covariance), rtol=1e-12)


def test_a_rod_two_feet_off_is_a_suspect(job: Any) -> None:
    sensors, unknowns, sources, seen = job
    bad = [dataclasses.replace(one, height=one.height + 2.0 * FOOT * (i == 7)) for i, one in enumerate(seen)]
    found = calibrate(sensors, sources, unknowns, bad)
    without = calibrate(sensors, sources, unknowns, [one for i, one in enumerate(seen) if i != 7])
    assert [one.name for one in found.suspects] == ["rod 7"]
    assert abs(found.suspects[0].off - 2.0 * FOOT) <= 4.0 * found.suspects[0].standard
    assert "higher than the other 19 say, 2.00 ft: mistyped or misread?" in found.suspects[0].words
    assert [one.suspect for one in found.residuals] == [i == 7 for i in range(20)]
    # Left out and never averaged in: as if it had not been read.
    assert found.change == pytest.approx(without.change, abs=1e-12)
    assert found.standard == pytest.approx(without.standard, rel=1e-9)


def test_a_height_with_the_wrong_sign_is_a_suspect(job: Any) -> None:
    sensors, unknowns, sources, seen = job
    bad = [dataclasses.replace(one, height=one.height * (-1 if i == 4 else 1)) for i, one in enumerate(seen)]
    found = calibrate(sensors, sources, unknowns, bad)
    assert [one.name for one in found.suspects] == ["rod 4"]
    assert "its sign?" in found.suspects[0].words


def test_noise_larger_than_told_widens(job: Any) -> None:
    sensors, unknowns, sources, seen = job
    finer = [dataclasses.replace(one, standard=CONTACT_M / 2.5) for one in seen]
    plain, found = (calibrate(sensors, sources, unknowns, each) for each in (seen, finer))
    assert not found.consistent
    assert not found.suspects
    assert found.widened == pytest.approx(math.sqrt(found.chi_square / found.freedom), rel=1e-12)
    assert 1.7 <= found.widened <= 3.3
    assert found.standard == pytest.approx(plain.standard * found.widened / 2.5, rel=0.01)
    assert any("widened" in words for words in found.doubts)


def test_too_few(job: Any) -> None:
    assert faults(job, job[3][:3]) == {"seen": "too-few"}
    with pytest.raises(Refused, match="at least 1 more"):
        calibrate(job[0], job[2], job[1], job[3][:3])


def test_all_in_one_posture(job: Any) -> None:
    same = [dataclasses.replace(job[3][0], name=f"again {i}", height=0.001 * i) for i in range(8)]
    assert faults(job, same) == {"seen": "all-in-one-posture"}


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (1.0 / FOOT, "feet"),
        (FOOT, "feet"),
        (1000.0, "millimetres"),
        (0.001, "metres"),
        (-1.0, "sign"),
        (10.0, "decimal"),
    ],
)
def test_wrong_units(job: Any, factor: float, words: str) -> None:
    sensors, unknowns, sources, seen = job
    # Heights over the body in this unit; beyond 200 m the number itself is refused.
    wrong = [dataclasses.replace(one, height=(one.height - ORIGIN_M) * factor) for one in seen]
    with pytest.raises(Refused) as refused:
        calibrate(sensors, sources, unknowns, wrong)
    codes = {fault.code for fault in refused.value.faults}
    assert codes == ({"out-of-range"} if factor == 1000.0 else {"wrong-units"})
    if factor != 1000.0:
        assert words in refused.value.faults[0].advice
        assert refused.value.faults[0].numbers["factor"] == pytest.approx(factor)


def test_readings_in_degrees_are_out_of_range(job: Any) -> None:
    bad = list(job[3])
    readings = bad[2].readings
    bad[2] = dataclasses.replace(bad[2], readings=dict(readings) | {"stick": math.degrees(readings["stick"])})
    assert faults(job, bad) == {"seen.2.readings.stick": "out-of-range"}


def test_every_fault_at_once(job: Any) -> None:
    sensors, unknowns, _, seen = job
    bad: list[Any] = list(seen)
    bad[0] = dataclasses.replace(bad[0], height=math.nan)
    bad[1] = dataclasses.replace(bad[1], name="rod 0", standard=0.0)
    bad[2] = dataclasses.replace(bad[2], point="edge")
    bad[3] = dataclasses.replace(bad[3], readings={**bad[3].readings, "boom": math.nan})
    bad[4] = dataclasses.replace(bad[4], readings={name: 0.0 for name in bad[4].readings if name != "boom"})
    bad[5] = dataclasses.replace(bad[5], point="tooth_left")
    assert sensors.assembly.attachment.teeth is None or bad.pop(5)
    found = faults(job, bad, (*unknowns, "boom.zero", "boom_lenght", "mast_x"))
    expected = {
        "unknowns.3": "given-twice", "unknowns.boom_lenght": "unknown-parameter", "unknowns.mast_x": "unknown-parameter",
        "seen.0.height": "not-finite", "seen.1.name": "given-twice", "seen.1.standard": "not-positive",
        "seen.2.point": "no-such-point", "seen.3.readings.boom": "not-finite", "seen.4.readings.boom": "missing-reading",
    }  # fmt: skip
    assert expected.items() <= found.items()
    with pytest.raises(Refused, match=r"did you mean boom_length\?"):
        calibrate(sensors, job[2], ("boom_lenght",), seen)


def test_lines_that_cannot_be(job: Any) -> None:
    sensors, _, _, seen = job
    there = pose(sensors.assembly, **postures(sensors, np.random.default_rng(1), 1)[0])
    said = readings_of(sensors, there)
    lines = [
        LineSeen("back", said, "boom", Level(there.joint("boom"), 0.001, ahead=False)),
        LineSeen("steep", said, "stick", Level(math.radians(85.0), 0.001)),
        LineSeen("none", said, "fore_boom", Level(0.0, 0.001)),
        LineSeen("half", said, "body", Level(0.0, 0.001)),
        LineSeen("edge", said, "stick", Level(0.0, 0.001, to_edge=True)),
        LineSeen("sure", said, "stick", Level(-1.0, 0.0)),
    ]
    found = faults(job, [*lines, *seen])
    assert found["seen.0.line"] == "wrong-way"
    assert found["seen.1.line.inclination"] == "near-vertical"
    assert found["seen.2.link"] == "no-such-joint"
    assert found["seen.3.axis"] == "half-described"
    assert found["seen.4.line"] == "not-sensed-so"
    assert found["seen.5.line.uncertainty"] == "not-positive"


def test_nothing_that_explains_it(job: Any) -> None:
    """A machine that moved between touches: refused, not averaged."""
    sensors, unknowns, sources, seen = job
    rng = np.random.default_rng(2)
    moved = [dataclasses.replace(one, height=one.height + float(rng.normal(0.0, 0.1))) for one in seen]
    with pytest.raises(Refused) as refused:
        calibrate(sensors, sources, unknowns, moved)
    assert refused.value.code in ("not-explained", "too-many-suspects")


def test_checks_are_left_alone() -> None:
    whole = rig("encoders")
    assert whole.checks
    sensors, unknowns, sources = kit("encoders")
    true = planted(sensors, dict(zip(unknowns, (0.01, -0.01, 0.01, 0.005, -0.005), strict=True)))
    seen = seen_exactly(true, postures(sensors, np.random.default_rng(6), 16))
    with_check = [
        dataclasses.replace(one, readings=dict(one.readings) | {"stick-by-gravity": 0.1}) for one in seen
    ]
    one, other = (calibrate(whole, sources, unknowns, each) for each in (seen, with_check))
    assert one.change.tolist() == other.change.tolist()
    assert dict(one.sensors.checks) == dict(whole.checks)


@pytest.mark.parametrize("name", RIGS)
def test_every_value_is_read_as_it_was_set(name: str) -> None:
    sensors = sensors_of(name)
    for unknown in offered(sensors):
        value = value_of(sensors, unknown) + 1e-4
        changed = with_values(sensors, {unknown: value})
        assert value_of(changed, unknown) == value
        others = [each for each in offered(sensors) if each != unknown]
        same = [value_of(changed, each) == value_of(sensors, each) for each in others]
        assert all(same), unknown


def test_only_what_is_offered_is_set() -> None:
    sensors = sensors_of("gravity")
    with pytest.raises(Refused) as refused:
        with_values(sensors, {"boom.noise": 0.1, "tilt_axis_x": 0.0})
    assert [fault.code for fault in refused.value.faults] == ["unknown-parameter"] * 2
    with pytest.raises(Refused):
        with_values(sensors, {"boom_length": -1.0})


def test_correlations_are_told(job: Any) -> None:
    sensors, unknowns, sources, seen = job
    found: Calibrated = calibrate(sensors, sources, unknowns, seen)
    for one, other, coefficient in found.correlations:
        i, j = unknowns.index(one), unknowns.index(other)
        assert coefficient == pytest.approx(
            found.covariance[i, j] / (found.standard[i] * found.standard[j]), rel=1e-12
        )
        assert abs(coefficient) > 0.3
