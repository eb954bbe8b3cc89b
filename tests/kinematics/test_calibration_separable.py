"""Which unknowns postures can tell apart, against singular values of MuJoCo's heights by finite differences; how that is
said; and the next posture that would help most."""

import dataclasses
import math
from collections.abc import Mapping
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.arm import pose
from kinematics.assembly import Assembly
from kinematics.calibration import calibrate
from kinematics.calibration_next import next_posture
from kinematics.calibration_separable import separable
from kinematics.errors import Refused
from kinematics.sensing import angles_from, readings_of
from kinematics.sensor_set import SensorSet
from kinematics.sources import Sources, plain_sensors
from kinematics.touched import HeightSeen
from tests.need import need

from .calibration_rig import (
    CONTACT_M,
    ROD,
    STONE,
    Angles,
    on_stone,
    postures,
    seen_exactly,
    sensors_of,
    sources_so,
    zeros_of,
)
from .fitting_rig import RIGS
from .referee import yaw_to_level
from .test_against_mujoco import description
from .trust_rig import changed

Floats = NDArray[np.float64]
Rods = tuple[SensorSet, list[Angles], list[HeightSeen]]
Session = tuple[SensorSet, tuple[str, ...], Sources, list[HeightSeen]]
OWN = {"body.zero.pitch": 0.01, "boom.zero": 0.02, "stick.zero": 0.03, "bucket.zero": 0.05, "boom_length": 0.01,
       "centre_z": 0.02}  # fmt: skip
STEP = 1e-5
# Of the largest singular value: what central differences over 1e-5 leave of some 10 m/rad, as in test_trust_rates.
APART = 1e-7
LEVEL = 0.0  # roll: with it the pitch of a square pair moves with its zero alone


@pytest.fixture(scope="module")
def mujoco() -> ModuleType:
    return need("mujoco")


@pytest.fixture(scope="module")
def rods() -> Rods:
    sensors = plain_sensors(sensors_of("gravity").assembly)
    places = [at | {"pitch": 0.05, "roll": LEVEL} for at in postures(sensors, np.random.default_rng(12), 12)]
    return sensors, places, seen_exactly(sensors, places)


def heights(mujoco: ModuleType, assembly: Assembly, places: list[Angles], by: dict[str, float]) -> Floats:
    """The centre's height in each place by MuJoCo, with readings as they were and zeros this much larger."""
    model = mujoco.MjModel.from_xml_string(description(assembly))
    data = mujoco.MjData(model)
    found = []
    for angles in places:
        turned = {name: angle - by.get(f"{name}.zero", 0.0) for name, angle in angles.items()}
        turned["pitch"] -= by.get("body.zero.pitch", 0.0)
        for name, angle in (turned | {"yaw": yaw_to_level(turned["pitch"], turned["roll"])}).items():
            data.joint(name).qpos[0] = angle
        mujoco.mj_kinematics(model, data)
        found.append(float(data.site("centre").xpos[2] - data.body("body").xpos[2]))
    return np.array(found)


def by_mujoco(
    mujoco: ModuleType, sensors: SensorSet, places: list[Angles], unknowns: list[str]
) -> tuple[Floats, Floats]:
    """(singular values, right singular vectors) of heights against their mean, in standard uncertainties."""
    columns = []
    for name in unknowns:
        ends = []
        for step in (STEP, -STEP):
            if "." in name:
                ends.append(heights(mujoco, sensors.assembly, places, {name: step}))
            else:
                ends.append(heights(mujoco, changed(sensors.assembly, {name: step}), places, {}))
        rate = (ends[0] - ends[1]) / (2.0 * STEP)
        columns.append((rate - rate.mean()) * OWN[name] / CONTACT_M)
    _, s, vectors = np.linalg.svd(np.stack(columns, axis=1), full_matrices=False)
    return s, vectors


@pytest.mark.parametrize(
    "unknowns",
    [
        ["boom.zero", "stick.zero", "bucket.zero", "boom_length", "centre_z"],
        ["body.zero.pitch", "boom.zero", "stick.zero", "bucket.zero"],
        ["boom.zero", "body.zero.pitch"],
    ],
)
def test_singular_values_and_directions_are_mujocos(
    mujoco: ModuleType, rods: Rods, unknowns: list[str]
) -> None:
    sensors, places, seen = rods
    sources = sources_so(sensors, {name: OWN[name] for name in unknowns}, alone=True)
    found = separable(sensors, sources, unknowns, seen)
    s, vectors = by_mujoco(mujoco, sensors, places, unknowns)
    assert np.all(np.isfinite(found.singular_values))
    assert np.max(np.abs(found.singular_values - s)) <= APART * s[0]
    gaps = np.abs(np.diff(s, append=0.0)) / s[0]
    for ours, theirs, gap in zip(found.directions, vectors, gaps, strict=True):
        assert abs(abs(float(ours @ theirs)) - 1.0) <= APART / max(gap, 1e-3) ** 2


def test_what_moves_the_edge_alike_is_named_together(rods: Rods) -> None:
    """The body's pitch and the boom lift all that hangs on the boom, but for 0.25 m to the boom's foot: the same in every
    posture, and gone with what the group counts from."""
    sensors, _, seen = rods
    unknowns = ["boom.zero", "stick.zero", "body.zero.pitch"]
    sources = sources_so(sensors, {name: OWN[name] for name in unknowns}, alone=True)
    found = separable(sensors, sources, unknowns, seen)
    assert found.singular_values[-1] <= APART * found.singular_values[0]
    assert not found.well
    lost = [each for each in found.together if each.lost]
    assert len(lost) == 1
    assert set(lost[0].names) == {"boom.zero", "body.zero.pitch"}
    assert lost[0].by[0] == pytest.approx(
        -lost[0].by[1], rel=1e-6
    )  # as much of the one as there is less of the other
    assert lost[0].moves <= 1e-9
    assert "together: +" in lost[0].words
    assert "these postures cannot tell them apart" in lost[0].words
    with pytest.raises(Refused) as refused:
        calibrate(sensors, sources, unknowns, seen)
    assert [fault.code for fault in refused.value.faults] == ["not-separable"]
    assert refused.value.faults[0].found == lost[0].words


def test_what_nothing_changes_with_is_named_alone(rods: Rods) -> None:
    sensors, _, seen = rods
    unknowns = ["boom.zero", "left_z", "receiver_x"]
    found = separable(sensors, sources_so(sensors, {}), unknowns, seen)
    alone = {each.names: each.words for each in found.together if each.lost}
    assert alone[("left_z",)] == "left_z: no observation changes with it"
    assert ("receiver_x",) in alone
    assert ("boom.zero",) not in alone


def test_what_the_profile_knows_better_is_told_not_refused(rods: Rods) -> None:
    sensors, _, seen = rods
    sources = sources_so(sensors, {"boom.zero": 2e-4, "stick.zero": 0.03}, alone=True)
    unknowns = ["boom.zero", "stick.zero"]
    found = separable(sensors, sources, unknowns, seen)
    assert found.well
    assert [each.names[0] for each in found.together] == ["boom.zero"]
    told = calibrate(sensors, sources, unknowns, seen)
    assert len(told.worse_known) == 1
    assert told.worse_known[0].startswith("boom.zero: now known to 0.0")
    assert found.together[0].words in told.doubts


def sessions(name: str, *, free: bool) -> Session:
    """Three touches: rods, or of a stone 1 m below the boom's foot."""
    sensors = sensors_of(name)
    unknowns = zeros_of(sensors)
    sources = sources_so(sensors, dict.fromkeys(unknowns, 0.01))
    places = postures(sensors, np.random.default_rng(2), 40)
    if not free:
        there = [on_stone(sensors.assembly, angles, -1.0) for angles in places]
        places = [angles for angles in there if angles is not None]
    return sensors, unknowns, sources, seen_exactly(sensors, places[:3], ROD if free else STONE)


def one_more(sensors: SensorSet, angles: Mapping[str, float], group: str) -> HeightSeen:
    return dataclasses.replace(seen_exactly(sensors, [dict(angles)], group)[0], name="next")


@pytest.mark.parametrize("free", [True, False])
@pytest.mark.parametrize("name", [name for name in RIGS if name != "inclinations"])
def test_the_next_posture_can_be_touched_and_helps(name: str, free: bool) -> None:
    sensors, unknowns, sources, seen = sessions(name, free=free)
    if not free:
        seen = [dataclasses.replace(one, height=0.0) for one in seen]
    found = next_posture(sensors, sources, unknowns, seen, free=free)
    assert 1 <= len(found) <= 3
    first = pose(sensors.assembly, **angles_from(sensors, seen[0].readings))
    for each in found:
        there = pose(sensors.assembly, **each.angles)
        for joint, span in sensors.assembly.ranges.items():
            assert span.low <= there.joint(joint) <= span.high
        assert angles_from(sensors, readings_of(sensors, there)) == pytest.approx(dict(each.angles), abs=1e-9)
        assert there.height("centre") == pytest.approx(each.height, abs=1e-12)
        assert each.after < each.before
        assert each.weakest in unknowns
        assert f"{each.reach:.2f} m ahead" in each.words
        if not free:  # on the stone
            assert abs(each.height - first.height("centre")) <= 1e-6
    apart = [each.angles for each in found]
    assert all(
        max(abs(one[joint] - other[joint]) for joint in one) > math.radians(8.0)
        for i, one in enumerate(apart) for other in apart[:i]
    )  # fmt: skip
    before = separable(sensors, sources, unknowns, seen)
    after = separable(sensors, sources, unknowns, [*seen, one_more(sensors, found[0].angles, seen[0].group)])
    assert after.singular_values[-1] > before.singular_values[-1]


def test_the_next_posture_beats_those_at_hand() -> None:
    """The least singular value grows more by what is proposed than by any of 40 other postures."""
    sensors, unknowns, sources, seen = sessions("gravity", free=True)
    found = next_posture(sensors, sources, unknowns, seen, free=True, count=1)[0]

    def least(angles: Angles) -> float:
        more = [*seen, one_more(sensors, angles, ROD)]
        return float(separable(sensors, sources, unknowns, more).singular_values[-1])

    others = [least(angles) for angles in postures(sensors, np.random.default_rng(5), 40)]
    assert least(dict(found.angles)) >= np.quantile(others, 0.9)


def test_the_first_posture_where_nothing_was_touched() -> None:
    sensors = sensors_of("gravity")
    sources = sources_so(sensors, dict.fromkeys(zeros_of(sensors), 0.01))
    found = next_posture(sensors, sources, zeros_of(sensors), [])
    assert len(found) == 3
    assert found[0].words.startswith("begin with centre")
    assert found[0].before == found[0].after
    foot = sensors.assembly.machine.boom_foot_height
    assert foot is not None
    assert all(each.height == pytest.approx(-foot, abs=1e-6) for each in found)
    strikes = next_posture(
        sensors, sources, zeros_of(sensors), [], point="receiver", group="plane", free=True
    )
    assert len(strikes) >= 2
    assert strikes[1].after < strikes[1].before


def test_what_is_asked_wrongly() -> None:
    sensors = sensors_of("gravity")
    sources = sources_so(sensors, {})
    with pytest.raises(Refused) as refused:
        next_posture(sensors, sources, ["boom.zeros"], [], point="edge", count=0)
    assert {fault.code for fault in refused.value.faults} == {
        "unknown-parameter",
        "no-such-point",
        "out-of-range",
    }
    with pytest.raises(Refused) as refused:
        separable(sensors, sources, ["boom.zero"], [])
    assert refused.value.code == "too-few"
