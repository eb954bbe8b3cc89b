"""Lengths and levers of cylinders, and tool forces, over whole strokes against an open model's published polynomials."""

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.drives import drive_length
from kinematics.forces import stretches, tool_force
from kinematics.hydraulics import Hydraulics, Ram
from kinematics.linkage import idler_from_bucket
from tests.reference import mini_excavator as mini

from .machines import LUG_DIRECTION, mini_bucket, mini_machine

# What a polynomial of fourth order leaves over the stroke (m), and its derivative at the ends and between (m/rad): most
# of the bucket, whose linkage it has to stand for.
LEFT_M = {"boom": 0.0002, "stick": 0.0008, "bucket": 0.0014}
LEFT_M_RAD = {"boom": (0.0008, 0.0003), "stick": (0.0025, 0.0008), "bucket": (0.011, 0.0035)}
# Coefficients are printed with four decimals, and nobody says at which places they were fitted.
PRINTED = 5e-4
RADIUS_M = mini.TIP_M[0]


def assembly() -> Assembly:
    return assemble(mini_machine(), mini_bucket())


def places(machine: Assembly, joint: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Joint angles (rad) over the stroke: ours, and as published, where the bucket's runs to its tip."""
    span = machine.ranges[joint]
    ours = np.linspace(span.low, span.high, 401)
    return ours, ours - (LUG_DIRECTION if joint == "bucket" else 0.0)


def length(machine: Assembly, joint: str, angle: float) -> float:
    if joint == "bucket" and machine.links is not None:
        angle = idler_from_bucket(angle, *machine.links, machine.idler_side)[0]
    return drive_length(machine, joint, angle)


@pytest.mark.parametrize("joint", ["boom", "stick", "bucket"])
def test_lengths_over_the_stroke(joint: str) -> None:
    machine = assembly()
    ours, published = places(machine, joint)
    lengths = np.array([length(machine, joint, angle) for angle in ours.tolist()])
    assert np.abs(np.polyval(mini.LENGTHS[joint], published) - lengths).max() <= LEFT_M[joint]
    # Fitted as they were, ours come to the published numbers.
    assert np.abs(np.polyfit(published, lengths, 4) - mini.LENGTHS[joint]).max() <= PRINTED


@pytest.mark.parametrize("joint", ["boom", "stick", "bucket"])
def test_levers_over_the_stroke(joint: str) -> None:
    machine = assembly()
    ours, published = places(machine, joint)
    off = np.abs(np.polyval(mini.LEVERS[joint], published) - stretches(machine, joint, ours))
    ends, between = LEFT_M_RAD[joint]
    assert off.max() <= ends
    assert off[60:-60].max() <= between


@pytest.mark.parametrize("joint", ["stick", "bucket"])
def test_tool_forces_from_the_published_levers(joint: str) -> None:
    """Thrust times lever over the way from the joint's pin to the tip; bore and pressure invented, the others hold."""
    machine = assembly()
    ram = Ram(bore=0.09, rod=0.05, count=1, working_pressure=2.1e7, holding_pressure=2.4e7)
    thrust = ram.working_pressure * ram.area(pushing=True)
    ours, published = places(machine, joint)
    posed = {name: 0.5 * (span.low + span.high) for name, span in machine.ranges.items()}
    for angle, told in zip(ours[60:-60:20].tolist(), published[60:-60:20].tolist(), strict=True):
        at = pose(machine, pitch=0.0, roll=0.0, **(posed | {joint: angle}))
        found = tool_force(at, Hydraulics({joint: ram}), joint)
        tip = posed["bucket"] - LUG_DIRECTION  # of the stick's lever; the bucket's is the tip's own
        lever = RADIUS_M if joint == "bucket" else abs(mini.BUCKET_PIN_L[0] + RADIUS_M * np.exp(1j * tip))
        expected = thrust * abs(np.polyval(mini.LEVERS[joint], told)) / lever
        assert abs(found.force - expected) <= thrust * LEFT_M_RAD[joint][1] / lever
