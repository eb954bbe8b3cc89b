"""How deep, far and high the shipped machines work, against what is usual for their class and by hand."""

import math
import re
from functools import cache
from pathlib import Path

import pytest

from kinematics.envelope import digging_envelope
from kinematics.machine import Machine
from machine_profiles import shipped
from tests.reference.class_dimensions import BUCKETS, CLASSES

from .envelope import Envelope, by_hand, envelope_of
from .pairing import pair

DIMENSIONS = ("depth", "reach", "dump")
README = Path(__file__).parents[2] / "machine_profiles" / "README.md"
# The extremes are found to a micrometre of their constraints; a profile is written in whole millimetres.
FOUND_M = 1e-5


@cache
def computed(machine: str) -> Envelope:
    return envelope_of(pair(machine, BUCKETS[machine]))


def test_every_machine_whose_ground_is_known_has_a_class() -> None:
    known = {
        name
        for (kind, name), profile in shipped().items()
        if kind == "machine"
        and isinstance(profile.geometry, Machine)
        and profile.geometry.boom_foot_height is not None
    }
    assert known == set(CLASSES) == set(BUCKETS)


@pytest.mark.parametrize("machine", CLASSES)
@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_dimension_is_usual_for_the_class(machine: str, dimension: str) -> None:
    """Ranges from memory, see `tests/reference/class_dimensions.py`."""
    metres = getattr(computed(machine), dimension).metres
    low, high = getattr(CLASSES[machine], dimension)
    assert math.isfinite(metres)
    assert low <= metres <= high


@pytest.mark.parametrize("machine", CLASSES)
def test_extremes_are_those_of_plane_geometry(machine: str) -> None:
    """Depth and reach worked by hand from lengths and stops alone."""
    depth, reach = by_hand(pair(machine, BUCKETS[machine]))
    found = computed(machine)
    assert abs(found.depth.metres - depth) <= FOUND_M
    assert abs(found.reach.metres - reach) <= FOUND_M


@pytest.mark.parametrize("machine", CLASSES)
def test_extremes_are_poses_of_the_machine(machine: str) -> None:
    """Each is a pose within the stops, on the ground where it should be, the tip plumb below the pin at the dump."""
    assembly = pair(machine, BUCKETS[machine])
    found = computed(machine)
    ground = assembly.machine.boom_foot_height
    assert ground is not None
    for dimension in DIMENSIONS:
        at = getattr(found, dimension).found
        for name, span in assembly.ranges.items():
            assert span.low - 1e-9 <= at.joint(name) <= span.high + 1e-9
    assert abs(found.reach.found.height("centre") + ground) <= FOUND_M
    tip = "tooth_centre" if found.dump.found.has_teeth else "centre"
    pin = found.dump.found.pins()["bucket_pin"]
    assert abs(found.dump.found.level(tip)[0] - pin[0]) <= FOUND_M
    assert found.dump.found.height(tip) < pin[2]


def test_the_readme_has_these_numbers() -> None:
    rows = re.findall(
        r"^\| `([a-z0-9-]+)` \| `([a-z0-9-]+)` \| (.+) \|$", README.read_text("utf-8"), re.MULTILINE
    )
    assert {machine: bucket for machine, bucket, _ in rows} == BUCKETS
    for machine, _, rest in rows:
        *cells, origin = rest.split(" | ")
        assert origin == CLASSES[machine].origin
        for dimension, cell in zip(DIMENSIONS, cells, strict=True):
            low, high = getattr(CLASSES[machine], dimension)
            metres = getattr(computed(machine), dimension).metres
            assert cell == f"{metres:.2f} ({low:.1f} to {high:.1f})"


@pytest.mark.parametrize("machine", CLASSES)
def test_the_exact_envelope_is_what_a_search_finds(machine: str) -> None:
    """Against constrained minimisation (scipy's SLSQP) over joint angles; no search of ours in between."""
    assembly, searched = pair(machine, BUCKETS[machine]), computed(machine)
    edge, tip = digging_envelope(assembly, point="centre"), digging_envelope(assembly)
    assert abs(edge.dimensions["digging_depth"].value - searched.depth.metres) <= FOUND_M
    assert abs(edge.dimensions["reach_at_ground"].value - searched.reach.metres) <= FOUND_M
    assert abs(tip.dimensions["dump_height"].value - searched.dump.metres) <= FOUND_M
