"""Every shipped pair that closes, against MuJoCo (package `mujoco`): all places over the joint ranges, and the bucket
four-bar against its closed loop over the whole stroke."""

import contextlib
import dataclasses
import math
from types import ModuleType

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.drives import four_bar_from_bucket, four_bar_from_idler
from kinematics.errors import Refused
from kinematics.machine import Attachment, BucketLinkage, Machine
from machine_profiles import shipped
from tests.need import need

from .machines import random_angles
from .referee import REFEREE_M, assert_same
from .test_against_mujoco import description, solved
from .test_four_bar_mujoco import ANGLE_RAD, Loop, turned_apart

POSES = 12
IDLERS = 61


def fitted() -> dict[str, Assembly]:
    """Every shipped machine with every shipped attachment that closes on it."""
    found = {}
    for (_, machine), carrier in shipped().items():
        for (_, attachment), tool in shipped().items():
            if not isinstance(carrier.geometry, Machine) or not isinstance(tool.geometry, Attachment):
                continue
            with contextlib.suppress(
                Refused
            ):  # which pairs, and why not: tests/machine_profiles/test_pairs.py
                found[f"{machine} with {attachment}"] = assemble(carrier.geometry, tool.geometry)
    return found


PAIRS = fitted()


@pytest.fixture(scope="module")
def mujoco() -> ModuleType:
    return need("mujoco")


def test_there_are_pairs() -> None:
    assert len(PAIRS) == 42


@pytest.mark.parametrize("pair", PAIRS)
def test_places_over_the_ranges(mujoco: ModuleType, pair: str) -> None:
    assembly = PAIRS[pair]
    model = mujoco.MjModel.from_xml_string(description(assembly))
    rng = np.random.default_rng([11, len(pair)])
    stops = [
        {name: getattr(reach, end) for name, reach in assembly.ranges.items()} for end in ("low", "high")
    ]
    level = {"pitch": 0.0, "roll": 0.0}
    for angles in (*(level | at for at in stops), *(random_angles(rng, assembly) for _ in range(POSES))):
        found = pose(assembly, **angles)
        assert_same(found, *solved(mujoco, model, found, angles))


def test_every_vertex_of_an_edge_given_by_points(mujoco: ModuleType) -> None:
    assembly = PAIRS["crawler-21t with v-bucket-1200"]
    tool = assembly.attachment
    assert len(tool.edge) == 5
    angles = random_angles(np.random.default_rng(12), assembly)
    line = pose(assembly, **angles).edge_line()
    for index in range(1, len(tool.edge) - 1):
        three = dataclasses.replace(tool, edge=(tool.edge[0], tool.edge[index], tool.edge[-1]), centre=1)
        part = assemble(assembly.machine, three)
        model = mujoco.MjModel.from_xml_string(description(part))
        _, level, _ = solved(mujoco, model, pose(part, **angles), angles)
        assert np.all(np.isfinite(line[index]))
        assert math.dist(line[index], level["centre"]) <= REFEREE_M


@pytest.mark.parametrize("pair", PAIRS)
def test_four_bar_over_the_stroke(mujoco: ModuleType, pair: str) -> None:
    assembly = PAIRS[pair]
    bar, span = assembly.machine.bucket, assembly.idler
    assert isinstance(bar, BucketLinkage)
    assert span is not None
    idlers = np.linspace(span.low, span.high, IDLERS).tolist()
    for idler, (power_link, bucket) in Loop(mujoco, assembly, bar).walk(idlers).items():
        found = four_bar_from_idler(assembly, idler)
        # Towards dead centre what is left of the loop's residual turns the links by its inverse sine.
        allowed = ANGLE_RAD / math.sin(found.transmission)
        assert turned_apart(found.power_link, power_link) <= allowed
        assert turned_apart(found.bucket, bucket) <= allowed
        back = four_bar_from_bucket(assembly, found.bucket).idler
        assert abs(back - idler) <= ANGLE_RAD * (1.0 + 1.0 / abs(found.ratio))
