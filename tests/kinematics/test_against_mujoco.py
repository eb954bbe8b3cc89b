"""The whole chain against MuJoCo (package `mujoco`), a simulator: one model description (MJCF) a machine, written
from lengths, points and axes alone."""

import math
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.machine import Axis, Offset
from kinematics.parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS
from tests.need import need

from .machines import random_angles, seeded
from .referee import REFEREE_M, Places, assert_same, yaw_to_level

MACHINES = 25
POSES = 20
FIRST_SEED = 5000  # other machines than those of the other referee


@pytest.fixture(scope="module")
def mujoco() -> ModuleType:
    return need("mujoco")


def numbers(*values: float) -> str:
    """Attribute text that reads back to the same doubles."""
    return " ".join(repr(float(value)) for value in values)


def hinge(name: str, axis: str, point: tuple[float, ...] = (0.0, 0.0, 0.0)) -> str:
    return f'<joint name="{name}" type="hinge" axis="{axis}" pos="{numbers(*point)}"/>'


def site(name: str, place: tuple[float, ...]) -> str:
    return f'<site name="{name}" pos="{numbers(*place)}"/>'


def body(name: str, inside: str, x: float = 0.0, y: float = 0.0, z: float = 0.0, angle: float = 0.0) -> str:
    """A body at (x, y, z), turned by `angle` about -y."""
    half = 0.5 * angle
    turn = numbers(math.cos(half), 0.0, -math.sin(half), 0.0)
    return f'<body name="{name}" pos="{numbers(x, y, z)}" quat="{turn}">{inside}</body>'


def _turned(axis: Axis | None, name: str, inside: str) -> str:
    joint = "" if axis is None else hinge(name, numbers(*axis.direction), axis.point)
    return body(name, joint + inside)


def _stepped(offset: Offset | None, name: str, inside: str) -> str:
    step = offset or Offset(0.0, 0.0, 0.0)
    return body(name, inside, step.x, 0.0, step.z, step.angle)


def description(assembly: Assembly) -> str:
    """MJCF text of a machine with its attachment."""
    machine, attachment = assembly.machine, assembly.attachment
    edge = attachment.edge[0], attachment.edge[attachment.centre], attachment.edge[-1]
    points = dict(zip(EDGE_POINTS + HEEL_POINTS, edge + attachment.heel, strict=True))
    if attachment.teeth is not None:
        points |= dict(zip(TOOTH_POINTS, attachment.teeth, strict=True))
    sites = "".join(site(name, place) for name, place in points.items())
    mounted = _stepped(attachment.mount, "mount", sites)
    turned = _turned(attachment.tilt, "tilt", _turned(attachment.rotate, "rotate", mounted))
    hitch = hinge("bucket", "0 -1 0") + _stepped(attachment.coupler, "coupler", turned)
    stick = hinge("stick", "0 -1 0") + site("bucket_pin", (machine.stick_length, 0.0, 0.0))
    if machine.receiver is not None:
        place, mast = machine.receiver.place, machine.receiver.mast
        top = tuple(p + m for p, m in zip(place, mast, strict=True))
        stick += site("receiver", place) + site("mast_top", top)
    arm = body("stick", stick + body("hitch", hitch, machine.stick_length), machine.fore_boom_length or 0.0)
    fore = hinge("fore_boom", "0 -1 0") if machine.fore_boom is not None else ""
    arm = body("fore_boom", fore + arm, machine.boom_length)
    arm = body("boom", hinge("boom", "0 -1 0") + arm, machine.boom_foot_x, machine.boom_foot_y)
    swing = hinge("swing_boom", "0 0 1") if machine.swing_boom is not None else ""
    arm = body("post", swing + arm, machine.swing_post_x, machine.swing_post_y)
    lean = hinge("yaw", "0 0 1") + hinge("pitch", "0 -1 0") + hinge("roll", "1 0 0")
    return (
        '<mujoco><compiler angle="radian" boundmass="1" boundinertia="1"/><worldbody>'
        + body("body", lean + arm)
        + "</worldbody></mujoco>"
    )


def solved(
    mujoco: ModuleType, model: Any, found: Pose, angles: dict[str, float]
) -> tuple[Places, Places, NDArray[np.float64] | None]:
    """(body places, level places, mast direction in the level frame) of one pose."""
    data = mujoco.MjData(model)
    yaw = yaw_to_level(angles["pitch"], angles["roll"])
    for name, angle in (angles | {"yaw": yaw}).items():
        data.joint(name).qpos[0] = angle
    mujoco.mj_kinematics(model, data)
    turn, origin = data.body("body").xmat.reshape(3, 3), data.body("body").xpos
    level = {model.site(i).name: np.array(data.site_xpos[i]) for i in range(model.nsite)}
    level.pop("bucket_pin")
    mast = level.pop("mast_top") - level["receiver"] if "mast_top" in level else None
    return {name: turn.T @ (place - origin) for name, place in level.items()}, level, mast


def test_places_of_random_machines(mujoco: ModuleType) -> None:
    for seed in range(FIRST_SEED, FIRST_SEED + MACHINES):
        assembly = seeded(seed)
        model = mujoco.MjModel.from_xml_string(description(assembly))
        rng = np.random.default_rng([3, seed])
        for _ in range(POSES):
            angles = random_angles(rng, assembly)
            found = pose(assembly, **angles)
            assert_same(found, *solved(mujoco, model, found, angles))


def test_bucket_pin_of_random_machines(mujoco: ModuleType) -> None:
    for seed in range(FIRST_SEED, FIRST_SEED + MACHINES):
        assembly = seeded(seed)
        model = mujoco.MjModel.from_xml_string(description(assembly))
        angles = random_angles(np.random.default_rng([4, seed]), assembly) | {"pitch": 0.0, "roll": 0.0}
        data = mujoco.MjData(model)
        for name, angle in angles.items():
            data.joint(name).qpos[0] = angle
        mujoco.mj_kinematics(model, data)
        pin = pose(assembly, **angles).pins()["bucket_pin"]
        assert math.dist(pin, data.site("bucket_pin").xpos) <= REFEREE_M
