"""The whole chain against Pinocchio (package `pin`), a rigid-body library: a model a machine, built from lengths,
points and axes alone, joint by joint."""

import math
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.arm import Pose, pose
from kinematics.machine import Axis, BucketLinkage, Cylinder, Held, Offset
from kinematics.parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS
from tests.need import need

from .machines import random_angles, seeded
from .referee import REFEREE_M, Places, assert_same, yaw_to_level

MACHINES = 300
POSES = 3


@pytest.fixture(scope="module")
def pin() -> ModuleType:
    return need("pinocchio", "pin")


class Chain:
    """A model that grows by one joint at a time; a frame is a joint and a fixed step from it."""

    def __init__(self, pin: ModuleType) -> None:
        self.pin = pin
        self.model = pin.Model()
        self.joint = 0
        self.step = pin.SE3.Identity()
        self.frames: dict[str, tuple[int, Any]] = {}
        self.turns: list[str] = []

    def hinge(self, name: str, axis: tuple[float, ...], point: tuple[float, ...] = (0.0, 0.0, 0.0)) -> None:
        """Turn about a line in the present frame; the frame keeps its origin while the joint is at zero."""
        se3 = self.pin.SE3
        at, back = se3(np.eye(3), np.array(point)), se3(np.eye(3), -np.array(point))
        turn = self.pin.JointModelRevoluteUnaligned(*axis)
        self.joint = self.model.addJoint(self.joint, turn, self.step * at, name)
        self.step = back
        self.turns.append(name)

    def shift(self, x: float, y: float, z: float, angle: float = 0.0) -> None:
        """A fixed step, turned about -y by `angle`."""
        turned = self.pin.AngleAxis(angle, np.array([0.0, -1.0, 0.0])).toRotationMatrix()
        self.step = self.step * self.pin.SE3(turned, np.array([x, y, z]))

    def name(self, frame: str) -> None:
        """Remember the present frame."""
        self.frames[frame] = self.joint, self.step


def built(pin: ModuleType, found: Pose) -> Chain:
    """The machine's chain, from body attitude to the bucket."""
    machine, attachment = found.assembly.machine, found.assembly.attachment
    chain = Chain(pin)
    chain.hinge("pitch", (0.0, -1.0, 0.0))
    chain.hinge("roll", (1.0, 0.0, 0.0))
    chain.name("body")
    chain.shift(machine.swing_post_x, machine.swing_post_y, 0.0)
    if machine.swing_boom is not None:
        chain.hinge("swing_boom", (0.0, 0.0, 1.0))
    chain.shift(machine.boom_foot_x, machine.boom_foot_y, 0.0)
    chain.name("boom seat")
    chain.hinge("boom", (0.0, -1.0, 0.0))
    chain.name("boom")
    chain.shift(machine.boom_length, 0.0, 0.0)
    if machine.fore_boom_length is not None:
        chain.name("fore_boom seat")
        chain.hinge("fore_boom", (0.0, -1.0, 0.0))
        chain.name("fore_boom")
        chain.shift(machine.fore_boom_length, 0.0, 0.0)
    chain.name("stick seat")
    chain.hinge("stick", (0.0, -1.0, 0.0))
    chain.name("stick")
    chain.shift(machine.stick_length, 0.0, 0.0)
    chain.hinge("bucket", (0.0, -1.0, 0.0))
    chain.name("hitch")
    _step(chain, attachment.coupler)
    _turn(chain, "tilt", attachment.tilt)
    _turn(chain, "rotate", attachment.rotate)
    _step(chain, attachment.mount)
    chain.name("bucket")
    return chain


def _step(chain: Chain, offset: Offset | None) -> None:
    if offset is not None:
        chain.shift(offset.x, 0.0, offset.z, offset.angle)


def _turn(chain: Chain, name: str, axis: Axis | None) -> None:
    if axis is not None:
        chain.hinge(name, axis.direction, axis.point)


class Solved:
    """One pose of a chain: places in the body and in the level frame."""

    def __init__(self, pin: ModuleType, chain: Chain, angles: dict[str, float]) -> None:
        data = chain.model.createData()
        pin.forwardKinematics(chain.model, data, np.array([angles[name] for name in chain.turns]))
        self.world = {name: data.oMi[joint] * step for name, (joint, step) in chain.frames.items()}
        yaw = yaw_to_level(angles["pitch"], angles["roll"])
        self.level_from_world = pin.AngleAxis(yaw, np.array([0.0, 0.0, 1.0])).toRotationMatrix()

    def body(self, frame: str, point: tuple[float, ...]) -> NDArray[np.float64]:
        place: NDArray[np.float64] = self.world["body"].actInv(self.world[frame].act(np.array(point)))
        return place

    def level(self, frame: str, point: tuple[float, ...]) -> NDArray[np.float64]:
        place: NDArray[np.float64] = self.level_from_world @ self.world[frame].act(np.array(point))
        return place


def points_of(found: Pose) -> dict[str, tuple[str, tuple[float, ...]]]:
    """Point name to (frame, place in it), from the profile."""
    machine, attachment = found.assembly.machine, found.assembly.attachment
    edge = attachment.edge[0], attachment.edge[attachment.centre], attachment.edge[-1]
    points = dict(zip(EDGE_POINTS + HEEL_POINTS, edge + attachment.heel, strict=True))
    if attachment.teeth is not None:
        points |= dict(zip(TOOTH_POINTS, attachment.teeth, strict=True))
    named: dict[str, tuple[str, tuple[float, ...]]] = {name: ("bucket", p) for name, p in points.items()}
    if machine.receiver is not None:
        named["receiver"] = "stick", machine.receiver.place
    return named


def pins_of(found: Pose, idler: float | None) -> dict[str, tuple[str, tuple[float, ...]]]:
    """Pin name to (frame, place in it), from the profile and the idler's angle (rad)."""
    machine = found.assembly.machine
    pins: dict[str, tuple[str, tuple[float, ...]]] = {
        "boom_foot_pin": ("boom seat", (0.0, 0.0, 0.0)),
        "stick_pin": ("stick seat", (0.0, 0.0, 0.0)),
        "bucket_pin": ("stick", (machine.stick_length, 0.0, 0.0)),
        "link_pin": ("hitch", (found.assembly.attachment.pin_spacing, 0.0, 0.0)),
    }
    if machine.fore_boom is not None:
        pins["fore_boom_pin"] = "fore_boom seat", (0.0, 0.0, 0.0)
    holders: dict[str, Held | None] = {
        "boom": machine.boom, "fore_boom": machine.fore_boom, "stick": machine.stick,
    }  # fmt: skip
    for joint, held in holders.items():
        if isinstance(held, Cylinder):
            pins[f"{joint}_cylinder_foot"] = f"{joint} seat", (held.foot_x, 0.0, held.foot_z)
            pins[f"{joint}_cylinder_eye"] = joint, (held.eye_x, 0.0, held.eye_z)
    bar = machine.bucket
    if isinstance(bar, BucketLinkage) and idler is not None:
        x, z = bar.pivot_x, bar.pivot_z
        pins["idler_pivot"] = "stick", (x, 0.0, z)
        outer = x + bar.idler_length * math.cos(idler), 0.0, z + bar.idler_length * math.sin(idler)
        pins["idler_pin"] = "stick", outer
        if isinstance(bar.drive, Cylinder):
            pins["bucket_cylinder_foot"] = "stick", (x + bar.drive.foot_x, 0.0, z + bar.drive.foot_z)
    return pins


def test_places_of_random_machines(pin: ModuleType) -> None:
    for seed in range(MACHINES):
        assembly = seeded(seed)
        rng = np.random.default_rng([1, seed])
        chain = None
        for _ in range(POSES):
            angles = random_angles(rng, assembly)
            found = pose(assembly, **angles)
            chain = chain or built(pin, found)
            solved = Solved(pin, chain, angles)
            points = points_of(found)
            body: Places = {name: solved.body(*place) for name, place in points.items()}
            level: Places = {name: solved.level(*place) for name, place in points.items()}
            receiver = assembly.machine.receiver
            mast = None
            if receiver is not None:
                top = tuple(p + m for p, m in zip(receiver.place, receiver.mast, strict=True))
                mast = solved.level("stick", top) - level["receiver"]
            assert_same(found, body, level, mast)
            line = np.array([solved.level("bucket", p) for p in assembly.attachment.edge])
            assert float(np.max(np.abs(found.edge_line() - line))) <= REFEREE_M


def test_pins_of_random_machines(pin: ModuleType) -> None:
    for seed in range(60):
        assembly = seeded(seed, linkage=True, driven=True)
        rng = np.random.default_rng([2, seed])
        angles = random_angles(rng, assembly)
        found = pose(assembly, **angles)
        pins = found.pins()
        solved = Solved(pin, built(pin, found), angles)
        pivot, outer = np.array(pins["idler_pivot"]), np.array(pins["idler_pin"])
        # The idler's angle is the linkage's own answer, refereed elsewhere; here only its place is.
        along = np.array(solved.body("stick", (1.0, 0.0, 0.0)) - solved.body("stick", (0.0, 0.0, 0.0)))
        upwards = np.array(solved.body("stick", (0.0, 0.0, 1.0)) - solved.body("stick", (0.0, 0.0, 0.0)))
        idler = math.atan2(float((outer - pivot) @ upwards), float((outer - pivot) @ along))
        expected = pins_of(found, idler)
        assert set(pins) == set(expected)
        for name, (frame, place) in expected.items():
            assert math.dist(pins[name], solved.body(frame, place)) <= REFEREE_M, name
