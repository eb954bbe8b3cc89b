"""Exported URDF read by Pinocchio (package `pin`), a rigid-body library with its own reader of the format: the same
places as ours, with the body leaning, over the joint ranges."""

import math
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.arm import Pose, pose
from kinematics.assembly import STOP_SLACK_RAD, Assembly
from machine_profiles.exchange import Attitude, Provenance, urdf
from tests.kinematics.machines import random_angles, seeded
from tests.kinematics.referee import REFEREE_M, REFEREE_RAD
from tests.need import need

from .models import MADE, joints_of, pairs

POSES = 4
MACHINES = 60


@pytest.fixture(scope="module")
def pin() -> ModuleType:
    return need("pinocchio", "pin")


class Read:
    """A model that Pinocchio made of our text, in one pose of ours."""

    def __init__(self, pin: ModuleType, found: Pose, made: Provenance, attitude: Attitude) -> None:
        self.model: Any = pin.buildModelFromXML(urdf(found.assembly, attitude, made))
        self.data = self.model.createData()
        at = pin.neutral(self.model)
        for name, angle in joints_of(found).items():
            assert self.model.existJointName(name)
            index = self.model.joints[self.model.getJointId(name)].idx_q
            low, high = self.model.lowerPositionLimit[index], self.model.upperPositionLimit[index]
            assert low - STOP_SLACK_RAD <= angle <= high + STOP_SLACK_RAD, name
            at[index] = angle
        self.names = set(self.model.names) - {"universe"}
        pin.framesForwardKinematics(self.model, self.data, at)

    def at(self, name: str) -> NDArray[np.float64]:
        place: NDArray[np.float64] = self.data.oMf[self.model.getFrameId(name)].translation
        return place

    def upward(self, name: str) -> NDArray[np.float64]:
        axis: NDArray[np.float64] = self.data.oMf[self.model.getFrameId(name)].rotation[:, 2]
        return axis


def hold(pin: ModuleType, assembly: Assembly, made: Provenance, rng: np.random.Generator) -> None:
    angles = random_angles(rng, assembly)
    found = pose(assembly, **angles)
    read = Read(pin, found, made, Attitude(angles["pitch"], angles["roll"]))
    assert read.names == set(joints_of(found))
    for name, (level, _) in found.places().items():
        assert math.dist(level, read.at(name)) <= REFEREE_M, name
    turn, origin = read.data.oMf[read.model.getFrameId("body")].rotation, read.at("body")
    for name, place in found.pins().items():
        if not name.startswith("bucket_cylinder_eye"):
            assert math.dist(origin + turn @ place, read.at(name)) <= REFEREE_M, name
    if found.four_bar() is not None:
        assert math.dist(read.at("power_link_end"), read.at("link_pin")) <= REFEREE_M
    for name, length in found.cylinders().items():
        eye = "idler_pin" if name == "bucket" else f"{name}_cylinder_eye"
        assert abs(math.dist(read.at(f"{name}_cylinder_foot"), read.at(eye)) - length) <= REFEREE_M
    if assembly.machine.receiver is not None:
        up = math.acos(max(-1.0, min(1.0, float(read.upward("receiver")[2]))))
        assert (
            abs(up - found.mast_angle) <= 10 * REFEREE_RAD
        )  # acos near 0 and pi, as in tests.kinematics.referee
    line = found.edge_line()
    if len(line) > 3:
        for i, place in enumerate(line):
            assert math.dist(place, read.at(f"edge_{i}")) <= REFEREE_M


@pytest.mark.parametrize("pair", pairs())
def test_places_of_shipped_pairs(pin: ModuleType, pair: str) -> None:
    assembly, made = pairs()[pair]
    rng = np.random.default_rng([21, len(pair)])
    for _ in range(POSES):
        hold(pin, assembly, made, rng)


def test_places_of_random_machines(pin: ModuleType) -> None:
    for seed in range(MACHINES):
        hold(pin, seeded(seed), MADE, np.random.default_rng([22, seed]))
    for seed in range(MACHINES):
        hold(pin, seeded(seed, linkage=True, driven=True), MADE, np.random.default_rng([23, seed]))


def test_limits_are_the_ranges(pin: ModuleType) -> None:
    for assembly, made in pairs().values():
        model = pin.buildModelFromXML(urdf(assembly, Attitude(0.0, 0.0), made))
        for name, span in assembly.ranges.items():
            index = model.joints[model.getJointId(name)].idx_q
            ends = model.lowerPositionLimit[index], model.upperPositionLimit[index]
            assert ends == (span.low, span.high), name  # the same doubles: the text loses nothing


def test_an_edge_rises_with_its_boom(pin: ModuleType) -> None:
    """One worked sign: boom from 0.3 to 0.4 lifts an edge at reach."""
    assembly, made = pairs()["crawler-14t with digging-1500"]
    angles = {"pitch": 0.0, "roll": 0.0, "stick": -1.0, "bucket": 0.5}
    low, high = (
        Read(pin, pose(assembly, boom=boom, **angles), made, Attitude(0.0, 0.0)).at("centre")[2]
        for boom in (0.3, 0.4)
    )
    assert high > low + 0.3
