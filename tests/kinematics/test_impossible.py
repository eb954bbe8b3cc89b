"""What no machine can be is refused where it is described, and where it is varied into being."""

import dataclasses

import numpy as np
import pytest

from kinematics import Refused, pose, sensitivity, solve_columns, varied
from kinematics.assembly import assemble
from kinematics.columns import differentiable
from kinematics.fleet import fleet
from kinematics.machine import BucketLinkage, Cylinder

from .machines import DIGGING, LEVEL, plain_bucket, plain_machine, seeded, tiltrotator_bucket

PLAIN = assemble(plain_machine(), plain_bucket())


def test_the_bucket_cylinder_holds_the_idlers_outer_pin() -> None:
    """One pin, one place: two truths of it would give two depths."""
    bar = seeded(1, linkage=True, driven=True).machine.bucket
    assert isinstance(bar, BucketLinkage)
    drive = bar.drive
    assert isinstance(drive, Cylinder)
    for off in (
        dataclasses.replace(drive, eye_x=drive.eye_x + 0.01),
        dataclasses.replace(drive, eye_z=0.01),
    ):
        faults = list(dataclasses.replace(bar, drive=off).faults("bucket"))
        assert [(fault.code, fault.where) for fault in faults] == [("eye-off-idler", "bucket.drive.eye")]
    assert not list(bar.faults("bucket"))


@pytest.mark.parametrize("y", [0.7, 0.9, -0.7, -1.0])
def test_a_centre_outside_its_corners(y: float) -> None:
    with pytest.raises(Refused) as refused:
        plain_bucket(edge=((-0.2, 0.7, -1.2), (-0.2, y, -1.2), (-0.2, -0.7, -1.2)))
    assert [(fault.code, fault.where) for fault in refused.value.faults] == [("centre-outside", "edge")]


@pytest.mark.parametrize(
    ("parameters", "code"),
    [
        ({"boom_length": -5.0}, "zero-length-link"),
        ({"stick_length": [2.5, 0.0]}, "zero-length-link"),
        ({"pin_spacing": 0.001}, "zero-length-link"),
        ({"tilt_axis_x": 5.0}, "not-a-direction"),
        ({"rotate_axis_z": [1.0, 0.9]}, "not-a-direction"),
        ({"centre_y": 0.9}, "centre-outside"),
        ({"left_y": -0.1}, "centre-outside"),
    ],
)
def test_varied_into_what_no_machine_is(parameters: dict[str, float | list[float]], code: str) -> None:
    with pytest.raises(Refused) as refused:
        varied(assemble(plain_machine(), tiltrotator_bucket()), parameters)
    assert {fault.code for fault in refused.value.faults} == {code}
    assert all(fault.where for fault in refused.value.faults)


@pytest.mark.parametrize(
    "name", ["tilt_point_x", "rotate_axis_z", "coupler_angle", "mount_x", "fore_boom_length"]
)
def test_a_part_that_is_not_there_has_no_dimension(name: str) -> None:
    """Its place in the record keeps the chain whole; varied, it would answer with a column that does not move."""
    with pytest.raises(Refused) as refused:
        varied(PLAIN, {name: [0.0, 0.5]})
    assert refused.value.code == "no-such-parameter"
    assert name not in differentiable(fleet([PLAIN]))
    assert name not in sensitivity(pose(PLAIN, **LEVEL, **DIGGING), "left_height").parameters


def test_a_dimension_of_a_thousand_kilometres() -> None:
    with pytest.raises(Refused) as refused:
        varied(PLAIN, {"centre_z": 1e6})
    assert [(fault.code, fault.where) for fault in refused.value.faults] == [("length-absurd", "centre_z.0")]


def test_masked_values_are_none() -> None:
    masked = np.ma.MaskedArray([0.6, 9.9], mask=[False, True])
    with pytest.raises(Refused) as refused:
        solve_columns(fleet([PLAIN]), {**LEVEL, **DIGGING, "boom": masked}, ["left_height"])
    assert refused.value.code == "not-a-number"


def test_every_cylinder_that_was_never_measured_is_named() -> None:
    rest = {name: angle for name, angle in DIGGING.items() if name == "bucket"}
    with pytest.raises(Refused) as refused:
        solve_columns(
            fleet([PLAIN]), {**LEVEL, **rest}, ["left_height"], cylinders={"boom": 1.0, "stick": 2.0}
        )
    assert [fault.where for fault in refused.value.faults] == ["boom_cylinder", "stick_cylinder"]
    assert {fault.code for fault in refused.value.faults} == {"no-cylinder"}
