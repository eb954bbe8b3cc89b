"""Sensors that are not bought yet: a plain set tells every joint, other figures stay where they were put."""

import dataclasses
import math

import pytest

from kinematics.arm import pose
from kinematics.candidate_sensors import Figures, plain_set, refigured, remeasured
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.sensing import angles_from, readings_of
from kinematics.sources import USUAL, sources_of
from machine_profiles import shipped

from .zones import arm_of, sensors_of

TOLD_RAD = 1e-9  # what a joint that is told through a linkage comes home to


def pairs() -> list[tuple[str, str]]:
    found = []
    for kind, machine in shipped():
        for other, attachment in shipped():
            if (kind, other) == ("machine", "attachment"):
                try:
                    arm_of(machine, attachment)
                except Refused:  # not every pair fits
                    continue
                found.append((machine, attachment))
    return found


@pytest.mark.parametrize("by", ["gravity", "encoder"])
@pytest.mark.parametrize(("machine", "attachment"), pairs())
def test_a_plain_set_tells_every_joint(machine: str, attachment: str, by: str) -> None:
    arm = arm_of(machine, attachment)
    sensors = plain_set(arm, by, Figures(noise=0.001, zero_uncertainty=0.002, skew_uncertainty=0.003))
    joints = {name: 0.55 * span.low + 0.45 * span.high for name, span in arm.ranges.items()}
    there = pose(arm, pitch=0.05, roll=-0.04, **joints)
    found = angles_from(sensors, readings_of(sensors, there))
    assert set(found) == {"pitch", "roll", *joints}
    for name, angle in joints.items():
        assert abs(math.remainder(found[name] - angle, 2.0 * math.pi)) <= TOLD_RAD
    for sensor in sensors.sensors.values():
        assert (sensor.noise, sensor.zero_uncertainty, sensor.per_kelvin) == (0.001, 0.002, None)
        assert sensor.skew_uncertainty == (0.003 if sensor.by_gravity else None)


def test_what_is_not_said_is_usual() -> None:
    sensors = plain_set(arm_of("crawler-14t", "digging-1500"), "encoder", Figures())
    assert {sensor.noise for sensor in sensors.sensors.values()} == {USUAL.noise}
    assert "zero of boom: 0.1 deg" in sources_of(sensors, Estimates()).assumed


def test_other_figures_stay_where_they_were_put() -> None:
    own = sensors_of("crawler-14t", "digging-1500", "own")
    found = refigured(own, {"boom": Figures(noise=0.0001)})
    assert found.sensors["boom"].noise == 0.0001
    assert dataclasses.replace(found.sensors["boom"], noise=own.sensors["boom"].noise) == own.sensors["boom"]
    assert {name: each for name, each in found.sensors.items() if name != "boom"} == {
        name: each for name, each in own.sensors.items() if name != "boom"
    }


def test_every_fault_of_a_sensor_at_once() -> None:
    own = sensors_of("crawler-14t", "digging-1500", "own")
    wrong = {
        "bom": Figures(),
        "boom": Figures(noise=-1.0, zero_uncertainty=math.nan),
        "stick": Figures(per_kelvin=9.0),
    }
    with pytest.raises(Refused) as refused:
        refigured(own, wrong)
    assert {fault.where: fault.code for fault in refused.value.faults} == {
        "sensors.bom": "no-such-sensor", "sensors.boom.noise": "out-of-range",
        "sensors.boom.zero_uncertainty": "not-finite", "sensors.stick.per_kelvin": "out-of-range",
    }  # fmt: skip
    assert "did you mean boom?" in refused.value.faults[0].advice
    with pytest.raises(Refused) as refused:
        plain_set(own.assembly, "sonar", Figures())
    assert refused.value.code == "not-a-choice"


def test_dimensions_known_otherwise() -> None:
    arm = arm_of("crawler-14t", "digging-1500")
    found = remeasured(arm, {"boom_length": 0.002, "centre_x": 0.001, "flex": 0.0, "edge_wear": 0.004})
    sensors = plain_set(found, "encoder", Figures())
    sources = sources_of(sensors, Estimates())
    size = dict(zip(sources.names, sources.standard, strict=True))
    assert (size["boom_length"], size["centre_x"], size["flex"], size["edge_wear"]) == (
        0.002,
        0.001,
        0.0,
        0.004,
    )
    before = sources_of(plain_set(arm, "encoder", Figures()), Estimates())
    assert size["stick_length"] == dict(zip(before.names, before.standard, strict=True))["stick_length"]
    with pytest.raises(Refused) as refused:
        remeasured(arm, {"boom_lenght": 0.002, "fore_boom_length": 0.001})
    assert [(fault.where, fault.code) for fault in refused.value.faults] == [
        ("boom_lenght", "unknown-parameter"), ("fore_boom_length", "unknown-parameter"),
    ]  # fmt: skip
    assert "did you mean boom_length?" in refused.value.faults[0].advice
    with pytest.raises(Refused) as refused:
        remeasured(arm, {"boom_length": -0.1, "edge_wear": 5.0})
    assert {fault.where: fault.code for fault in refused.value.faults} == {
        "boom_length": "out-of-range",
        "edge_wear": "out-of-range",
    }
