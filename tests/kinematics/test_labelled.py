"""Labelled arrays against single poses: the same numbers, at the labels they belong to; what would be matched or guessed
is refused."""

import math
import subprocess
import sys
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from kinematics import (
    STATUS,
    Refused,
    along,
    differentiate_labelled,
    pose,
    sensitivity,
    solve_labelled,
    varied,
)
from kinematics.assembly import Assembly, assemble
from kinematics.columns import solve_columns
from kinematics.machine import Attachment, Machine
from machine_profiles import shipped
from tests.need import need

OUTPUTS = ["centre_height", "centre_reach", "cross_slope"]
BOOM, STICK = [-20.0, 10.0, 45.0], [-140.0, -100.0, -60.0, -35.0]


def fitted(machine: str, attachment: str = "digging-1500") -> Assembly:
    carrier, tool = shipped()["machine", machine].geometry, shipped()["attachment", attachment].geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    return assemble(carrier, tool)


MACHINE = fitted("crawler-14t")


@pytest.fixture(scope="module", autouse=True)
def xarray() -> ModuleType:
    return need("xarray")


def asked(**more: Any) -> dict[str, Any]:
    return {"pitch": 0.01, "roll": -0.02, "bucket": 1.0, "boom": 0.3, "stick": -1.5} | more


def codes(act: Any) -> list[str]:
    with pytest.raises(Refused) as refused:
        act()
    return [fault.code for fault in refused.value.faults]


def test_a_table_of_boom_and_stick() -> None:
    """Twelve poses by their labels in degrees, in whatever order the dimensions come."""
    found = solve_labelled(
        MACHINE, asked(boom=along("boom", BOOM, "deg"), stick=along("stick", STICK, "deg")), OUTPUTS
    )
    assert dict(found.sizes) == {"boom": 3, "stick": 4}
    for boom in BOOM:
        for stick in STICK:
            one = pose(MACHINE, **asked(boom=math.radians(boom), stick=math.radians(stick)))
            at = found.sel(boom=boom, stick=stick)
            for name in OUTPUTS:
                assert abs(float(at[name]) - one.output(name)) <= 1e-12, name
    assert found["centre_height"].attrs["units"] == "m"
    assert found["cross_slope"].attrs["units"] == "1"
    assert found["boom"].attrs["units"] == "deg"
    assert float(found["bucket"]) == 1.0
    assert found["bucket"].attrs["units"] == "rad"


def test_plain_arrays_lie_along_one_dimension() -> None:
    given = asked(boom=np.linspace(-0.3, 0.9, 7), stick=np.linspace(-2.4, -0.6, 7))
    found = solve_labelled(MACHINE, given, OUTPUTS)
    assert dict(found.sizes) == {"pose": 7}
    plain = solve_columns(varied(MACHINE, {"boom_length": 4.6}), given, OUTPUTS)
    for name in OUTPUTS:
        assert np.array_equal(found[name].values, plain.values[name])
    assert np.array_equal(found["boom"].values, given["boom"])


def test_one_pose_has_no_dimension() -> None:
    found = solve_labelled(MACHINE, asked(), OUTPUTS)
    assert dict(found.sizes) == {}
    assert abs(float(found["centre_height"]) - pose(MACHINE, **asked()).height("centre")) <= 1e-12


def test_what_cannot_be_trusted_is_nan_and_says_why() -> None:
    found = solve_labelled(MACHINE, asked(boom=along("boom", [10.0, 80.0], "deg")), OUTPUTS)
    assert np.isnan(found["centre_height"].sel(boom=80.0))
    assert np.isfinite(found["centre_height"].sel(boom=10.0))
    assert STATUS[int(found["status"].sel(boom=80.0))] == "beyond-joint"
    attrs = found["status"].attrs  # as the CF Conventions, section 3.5, write flags
    told = dict(zip(attrs["flag_values"].tolist(), attrs["flag_meanings"].split(), strict=True))
    assert told == dict(STATUS)


def test_dimensions_vary_along_their_own() -> None:
    lengths = [2400.0, 2500.0, 2600.0]
    found = solve_labelled(
        MACHINE, asked(boom=along("boom", BOOM, "deg")), OUTPUTS,
        dimensions={
            "stick_length": along("stick_length", lengths, "mm"), "boom_foot_x": along("boom_foot_x", [0.2, 0.3], "m"),
        },
    )  # fmt: skip
    assert dict(found.sizes) == {"stick_length": 3, "boom_foot_x": 2, "boom": 3}
    for length in lengths:
        other = varied(MACHINE, {"stick_length": length / 1e3, "boom_foot_x": 0.3})
        plain = solve_columns(other, asked(boom=np.radians(BOOM)), OUTPUTS)
        at = found.sel(stick_length=length, boom_foot_x=0.3)
        assert np.max(np.abs(at["centre_reach"].values - plain.values["centre_reach"])) <= 1e-12


def test_several_machines_by_name() -> None:
    both = {"small": MACHINE, "large": fitted("crawler-21t")}
    found = solve_labelled(both, asked(boom=along("boom", BOOM, "deg")), OUTPUTS)
    assert found["centre_reach"].dims == ("machine", "boom")
    for name, machine in both.items():
        one = pose(machine, **asked(boom=math.radians(10.0)))
        assert abs(float(found["centre_reach"].sel(machine=name, boom=10.0)) - one.reach) <= 1e-12


def test_cylinders_and_stand_ins() -> None:
    """2.1 m of boom cylinder, an idler at 80 deg: as drives have them."""
    from kinematics import four_bar_from_idler, joint_angle  # noqa: PLC0415

    given = asked(idler=along("idler", [80.0], "deg"))
    del given["boom"], given["bucket"]
    found = solve_labelled(
        MACHINE, given, OUTPUTS, cylinders={"boom": along("boom_cylinder", [2100.0], "mm")}
    )
    boom = joint_angle(MACHINE, "boom", 2.1)
    bucket = four_bar_from_idler(MACHINE, math.radians(80.0)).bucket
    one = pose(MACHINE, **asked(boom=boom, bucket=bucket))
    at = found.sel(idler=80.0, boom_cylinder=2100.0)
    assert abs(float(at["centre_height"]) - one.height("centre")) <= 1e-9


def test_rates_by_name() -> None:
    rates = differentiate_labelled(
        MACHINE, asked(boom=along("boom", BOOM, "deg")), "centre_height", ["boom", "stick_length"]
    )
    told = sensitivity(pose(MACHINE, **asked(boom=math.radians(10.0))), "centre_height")
    at = rates.sel(boom=10.0)
    assert abs(float(at.sel(by="boom")) - told.joints["boom"]) <= 1e-9
    assert abs(float(at.sel(by="stick_length")) - told.parameters["stick_length"]) <= 1e-9
    assert rates["by_units"].sel(by="boom").item() == "m/rad"
    assert rates["by_units"].sel(by="stick_length").item() == "m/m"


def test_labels_are_never_matched_or_filled_in(xarray: ModuleType) -> None:
    one = xarray.DataArray([0.1, 0.2], dims="t", coords={"t": [0.0, 1.0]}, attrs={"units": "rad"})
    other = xarray.DataArray([-1.1, -1.2], dims="t", coords={"t": [0.0, 2.0]}, attrs={"units": "rad"})
    assert codes(lambda: solve_labelled(MACHINE, asked(boom=one, stick=other), OUTPUTS)) == ["labels-differ"]
    same = other.assign_coords(t=one["t"])
    found = solve_labelled(MACHINE, asked(boom=one, stick=same), OUTPUTS)
    assert found["t"].values.tolist() == [0.0, 1.0]
    assert found["boom"].dims == ("t",)


@pytest.mark.parametrize(("change", "expected"), [
    ({"boom": np.zeros((2, 2))}, ["ragged"]),
    ({"boom": np.zeros(3), "stick": np.zeros(4)}, ["labels-differ"]),
    ({"boom": [0.1, math.nan]}, ["not-finite"]),
    ({"boom": "high"}, ["not-a-number"]),
    ({"boom": [[0.1], [0.1, 0.2]]}, ["not-a-number"]),
    ({"boom": np.ma.masked_array([0.1, 0.2], mask=[True, False]), "stick": True}, ["not-a-number", "not-a-number"]),
    ({"tilt": 0.0}, ["no-such-joint"]),
])  # fmt: skip
def test_refusals(change: dict[str, Any], expected: list[str]) -> None:
    assert codes(lambda: solve_labelled(MACHINE, asked(**change), OUTPUTS)) == expected


def test_no_label_is_dropped_or_chosen(xarray: ModuleType) -> None:
    one, other = (
        xarray.DataArray([value], dims="t", coords={"run": run}, attrs={"units": "rad"})
        for value, run in ((0.3, 1), (-1.5, 2))
    )
    assert codes(lambda: solve_labelled(MACHINE, asked(boom=one, stick=other), OUTPUTS)) == ["labels-differ"]
    kept = solve_labelled(MACHINE, asked(boom=one, stick=other.assign_coords(run=1)), OUTPUTS)
    assert int(kept["run"]) == 1
    words = xarray.DataArray(["high"], dims="t", attrs={"units": "rad"})
    assert codes(lambda: solve_labelled(MACHINE, asked(boom=words), OUTPUTS)) == ["not-a-number"]
    taken = one.assign_coords(status=3)
    assert codes(lambda: solve_labelled(MACHINE, asked(boom=taken), OUTPUTS)) == ["dimension-shared"]


def test_a_unit_is_stated_or_refused(xarray: ModuleType) -> None:
    bare = xarray.DataArray([10.0, 20.0], dims="boom")
    assert codes(lambda: solve_labelled(MACHINE, asked(boom=bare), OUTPUTS)) == ["unknown-unit"]
    grads = bare.assign_attrs(units="gon")
    assert codes(lambda: solve_labelled(MACHINE, asked(boom=grads), OUTPUTS)) == ["unknown-unit"]
    metres = bare.assign_attrs(units="m")
    assert codes(lambda: solve_labelled(MACHINE, asked(boom=metres), OUTPUTS)) == ["unknown-unit"]
    assert codes(lambda: along("boom", BOOM, "gon")) == ["unknown-unit"]
    assert codes(lambda: along("boom", [BOOM], "deg")) == ["ragged"]


def test_dimensions_of_their_own() -> None:
    moved = along("boom", BOOM, "deg").rename("stick_length")
    shared = {"stick_length": moved.assign_attrs(units="m")}
    assert codes(
        lambda: solve_labelled(MACHINE, asked(boom=along("boom", BOOM, "deg")), OUTPUTS, dimensions=shared)
    ) == ["dimension-shared"]
    both = {"a": MACHINE, "b": MACHINE}
    lengths = {"stick_length": along("stick_length", [2.4, 2.5], "m")}
    assert codes(lambda: solve_labelled(both, asked(), OUTPUTS, dimensions=lengths)) == ["one-machine-varied"]


def test_without_the_library_it_says_so() -> None:
    """In an interpreter that cannot import it; the rest of the package goes on."""
    program = (
        "import sys; sys.modules['xarray'] = None\n"
        "from kinematics import Refused, along, pose\n"
        "try:\n    along('boom', [1.0], 'deg')\nexcept Refused as refused:\n    print(refused.faults[0].code)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=True
    )
    assert done.stdout == "no-library\n"
