"""Exported MJCF read by MuJoCo (package `mujoco`): the same places as ours, its own closed loop and tendons the same
bucket linkage and cylinders."""

import math
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import root

from kinematics.arm import Pose, pose
from kinematics.assembly import STOP_SLACK_RAD, Assembly
from kinematics.drives import four_bar_from_idler
from kinematics.linkage import wrapped
from machine_profiles.exchange import Attitude, Provenance, mjcf
from tests.kinematics.machines import random_angles, seeded
from tests.kinematics.referee import REFEREE_M, REFEREE_RAD
from tests.need import need

from .models import MADE, joints_of, pairs

POSES = 4
MACHINES = 60
# A cylinder's length to its angle: both solve to the last bits, and shipped strokes end where a millimetre is a degree
# at the most, a nanometre a hundred-millionth.
DRIVEN_RAD = 1e-8


@pytest.fixture(scope="module")
def mujoco() -> ModuleType:
    return need("mujoco")


def read(mujoco: ModuleType, assembly: Assembly, made: Provenance, attitude: Attitude) -> tuple[Any, Any]:
    model = mujoco.MjModel.from_xml_string(mjcf(assembly, attitude, made))
    return model, mujoco.MjData(model)


def posed(mujoco: ModuleType, model: Any, data: Any, joints: dict[str, float]) -> None:
    assert {model.joint(i).name for i in range(model.njnt)} == set(joints)
    for name, angle in joints.items():
        data.joint(name).qpos[0] = angle
    mujoco.mj_fwdPosition(model, data)


def hold(mujoco: ModuleType, found: Pose, model: Any, data: Any) -> None:
    posed(mujoco, model, data, joints_of(found))
    for i in range(model.njnt):
        low, high = model.jnt_range[i]
        assert low - STOP_SLACK_RAD <= data.qpos[model.jnt_qposadr[i]] <= high + STOP_SLACK_RAD, model.joint(
            i
        ).name
    for name, (level, _) in found.places().items():
        assert math.dist(level, data.site(name).xpos) <= REFEREE_M, name
    turn, origin = data.body("body").xmat.reshape(3, 3), data.body("body").xpos
    for name, place in found.pins().items():
        assert math.dist(origin + turn @ place, data.site(name).xpos) <= REFEREE_M, name
    for name, length in found.cylinders().items():
        assert abs(data.tendon(f"{name}_cylinder").length[0] - length) <= REFEREE_M, name
    if found.four_bar() is not None:
        assert data.ne == 3, "the equality constraint is not in the model"
        assert float(np.max(np.abs(data.efc_pos[:3]))) <= REFEREE_M
    if found.assembly.machine.receiver is not None:
        up = math.acos(max(-1.0, min(1.0, float(data.site("receiver").xmat[8]))))
        assert abs(up - found.mast_angle) <= 10 * REFEREE_RAD
    line = found.edge_line()
    if len(line) > 3:
        for i, place in enumerate(line):
            assert math.dist(place, data.site(f"edge_{i}").xpos) <= REFEREE_M


@pytest.mark.parametrize("pair", pairs())
def test_places_of_shipped_pairs(mujoco: ModuleType, pair: str) -> None:
    assembly, made = pairs()[pair]
    rng = np.random.default_rng([31, len(pair)])
    for _ in range(POSES):
        angles = random_angles(rng, assembly)
        attitude = Attitude(angles["pitch"], angles["roll"])
        hold(mujoco, pose(assembly, **angles), *read(mujoco, assembly, made, attitude))


def test_places_of_random_machines(mujoco: ModuleType) -> None:
    folds = set()
    for seed in range(2 * MACHINES):
        assembly = seeded(seed, linkage=True, driven=True) if seed % 2 else seeded(seed)
        folds.add(assembly.idler_side)
        angles = random_angles(np.random.default_rng([32, seed]), assembly)
        attitude = Attitude(angles["pitch"], angles["roll"])
        hold(mujoco, pose(assembly, **angles), *read(mujoco, assembly, MADE, attitude))
    assert folds >= {-1.0, 1.0}


def test_ranges_hold_every_joint_and_the_keyframe(mujoco: ModuleType) -> None:
    for assembly, made in pairs().values():
        model, data = read(mujoco, assembly, made, Attitude(0.0, 0.0))
        for name, span in assembly.ranges.items():
            assert model.joint(name).range.tolist() == [span.low, span.high]
        for name, cylinder in assembly.cylinders.items():
            ends = model.tendon_range[model.tendon(f"{name}_cylinder").id].tolist()
            assert ends == [cylinder.stroke.low, cylinder.stroke.high]
        mujoco.mj_resetDataKeyframe(model, data, 0)
        mujoco.mj_fwdPosition(model, data)
        for i in range(model.njnt):
            low, high = model.jnt_range[i]
            assert low < data.qpos[model.jnt_qposadr[i]] < high, model.joint(i).name
        middles = {name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items()}
        found = pose(assembly, pitch=0.0, roll=0.0, **middles)
        assert math.dist(found.level("centre"), data.site("centre").xpos) <= REFEREE_M
        assert float(np.max(np.abs(data.efc_pos[: data.ne]), initial=0.0)) <= REFEREE_M


def missed(
    free: NDArray[np.float64], mujoco: ModuleType, model: Any, data: Any, wanted: dict[str, float]
) -> NDArray[np.float64]:
    """How far tendons are from their lengths, and the loop from closing, in MuJoCo's own numbers."""
    data.qpos[:] = free
    mujoco.mj_fwdPosition(model, data)
    lengths = [data.tendon(f"{name}_cylinder").length[0] - length for name, length in wanted.items()]
    return np.array([*lengths, *data.efc_pos[:3][[0, 2]]])


@pytest.mark.parametrize(
    "machine", ["crawler-14t", "crawler-21t", "long-reach-22t", "wheeled-16t", "midi-8t"]
)
def test_cylinders_alone_lead_to_the_same_edge(mujoco: ModuleType, machine: str) -> None:
    """Only lengths are given to MuJoCo's tendons and loop, from the keyframe on; every joint follows."""
    tried = 0
    for pair, (assembly, made) in pairs().items():
        if not pair.startswith(f"{machine} with") or set(assembly.ranges) - set(assembly.cylinders):
            continue
        model, data = read(mujoco, assembly, made, Attitude(0.0, 0.0))
        mujoco.mj_resetDataKeyframe(model, data, 0)
        rng = np.random.default_rng([33, len(pair)])
        middles = {name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items()}
        ends = {name: float(rng.uniform(span.low, span.high)) for name, span in assembly.ranges.items()}
        free = data.qpos.copy()
        for share in np.linspace(0.1, 1.0, 10).tolist():
            angles = {name: middles[name] + share * (ends[name] - middles[name]) for name in ends}
            found = pose(assembly, pitch=0.0, roll=0.0, **angles)
            answer = root(
                missed, free, args=(mujoco, model, data, found.cylinders()), options={"xtol": 1e-14}
            )
            free = answer.x
        assert float(np.max(np.abs(missed(free, mujoco, model, data, found.cylinders())))) <= REFEREE_M
        for name, angle in joints_of(found).items():
            assert abs(wrapped(float(data.joint(name).qpos[0]), angle) - angle) <= DRIVEN_RAD, name
        tried += 1
    assert tried >= 1


def test_a_machine_left_alone_stays_as_it_is(mujoco: ModuleType) -> None:
    """A hundred steps of time from the keyframe: no limit pushes, no constraint pulls, nothing is lost."""
    for assembly, made in pairs().values():
        model, data = read(mujoco, assembly, made, Attitude(0.02, -0.03))
        mujoco.mj_resetDataKeyframe(model, data, 0)
        before = data.qpos.copy()
        for _ in range(100):
            mujoco.mj_step(model, data)
        assert np.all(np.isfinite(data.qpos))
        assert float(np.max(np.abs(data.qpos - before))) <= 1e-9


def test_a_bucket_that_is_pushed_takes_its_linkage_along(mujoco: ModuleType) -> None:
    """A torque on the idler alone turns the bucket as the velocity ratio has it."""
    assembly, made = pairs()["crawler-14t with digging-1500"]
    model, data = read(mujoco, assembly, made, Attitude(0.0, 0.0))
    mujoco.mj_resetDataKeyframe(model, data, 0)
    start = {name: float(data.joint(name).qpos[0]) for name in ("idler", "bucket")}
    for _ in range(200):
        data.joint("idler").qfrc_applied[0] = 2.0
        mujoco.mj_step(model, data)
    idler, bucket = (float(data.joint(name).qpos[0]) for name in ("idler", "bucket"))
    assert abs(idler - start["idler"]) > 0.01
    assert abs(bucket - start["bucket"]) > 0.01
    # MuJoCo's constraints give a little under load; a tenth of a degree is far above that, far below the way it went.
    assert abs(four_bar_from_idler(assembly, idler).bucket - bucket) <= math.radians(0.1)
