"""Fleets: one record a machine; what does not belong together, or is no machine, is refused."""

import math

import numpy as np
import pytest

from kinematics.assembly import JOINTS, assemble
from kinematics.errors import Refused
from kinematics.fleet import fleet, varied
from kinematics.parameters import NAMES

from .machines import plain_bucket, plain_machine, seeded, tiltrotator_bucket
from .rows import alike, refusal

PLAIN = assemble(plain_machine(), plain_bucket())


def test_records_lie_one_below_the_other() -> None:
    machines = alike(3, linkage=True)
    together = fleet(machines)
    assert len(together) == 3
    assert together.assemblies == tuple(machines)
    assert together.joints == tuple(name for name in JOINTS if name in machines[0].ranges)
    assert together.flat.shape == (3, len(NAMES))
    assert together.limits.shape == (3, 2 * len(JOINTS))
    for k, machine in enumerate(machines):
        assert np.array_equal(together.limits[k], machine.limits)
        for i, name in enumerate(NAMES):
            value = float(machine.parameters[name][0])
            for found in (float(together.flat[k, i]), float(together.records[name][k])):
                assert found == value or (math.isnan(found) and math.isnan(value)), name


def test_no_one_can_write_to_a_fleet() -> None:
    for found in (fleet([PLAIN, PLAIN]), varied(PLAIN, {"boom_length": [5.0, 5.1]})):
        for array in (found.records, found.flat, found.limits):
            assert not array.flags.writeable
    assert PLAIN.parameters["boom_length"][0] == 5.0


def test_has_what_every_machine_has() -> None:
    teeth = ((-0.3, 0.7, -1.2), (-0.3, 0.0, -1.2), (-0.3, -0.7, -1.2))
    toothed = assemble(plain_machine(), plain_bucket(teeth=teeth))
    assert fleet([toothed]).has("tooth_left_x")
    assert not fleet([toothed, PLAIN]).has("tooth_left_x")
    assert not fleet([PLAIN, toothed]).has("tooth_left_x")
    assert fleet([toothed, PLAIN]).has("left_x")
    assert not fleet([PLAIN]).has("idler_length")


def test_no_machine() -> None:
    assert refusal(lambda: fleet([])).code == "no-machine"


def test_joints_differ() -> None:
    turned = assemble(plain_machine(), tiltrotator_bucket())
    refused = refusal(lambda: fleet([PLAIN, turned, PLAIN, turned]))
    assert [(fault.code, fault.where) for fault in refused.faults] == [
        ("joints-differ", "machines.1"),
        ("joints-differ", "machines.3"),
    ]
    assert refusal(lambda: fleet([turned, PLAIN])).code == "joints-differ"


def test_varied_changes_what_it_is_told_to() -> None:
    found = varied(PLAIN, {"boom_length": [5.0, 5.01, 5.02], "left_z": -1.3})
    assert len(found) == 3
    assert found.joints == fleet([PLAIN]).joints
    assert found.flat[:, NAMES.index("boom_length")].tolist() == [5.0, 5.01, 5.02]
    assert found.flat[:, NAMES.index("left_z")].tolist() == [-1.3] * 3
    others = [i for i, name in enumerate(NAMES) if name not in {"boom_length", "left_z"}]
    assert all(
        np.array_equal(row[others], PLAIN.parameters.view(np.float64)[others], equal_nan=True)
        for row in found.flat
    )
    assert (found.limits == PLAIN.limits).all()
    assert len(varied(PLAIN, {})) == 1
    assert len(varied(PLAIN, {"boom_length": 5.5})) == 1


def test_varied_takes_no_memory_of_the_caller() -> None:
    lengths = np.array([5.0, 5.1])
    found = varied(PLAIN, {"boom_length": lengths})
    lengths[:] = 0.0
    assert found.records["boom_length"].tolist() == [5.0, 5.1]


def test_varied_refuses_all_at_once() -> None:
    refused = refusal(
        lambda: varied(
            PLAIN,
            {
                "arm_length": 1.0,
                "idler_length": 0.4,
                "boom_length": [5.0, math.nan, math.inf],
                "stick_length": [2.5, 2.6],
                "left_x": np.zeros((3, 1)),
            },
        )
    )
    assert {(fault.code, fault.where) for fault in refused.faults} >= {
        ("unknown-parameter", "arm_length"), ("no-such-parameter", "idler_length"), ("not-finite", "boom_length.1"),
        ("ragged", "stick_length"), ("ragged", "left_x"),
    }  # fmt: skip
    for bad in (math.nan, math.inf, -math.inf):
        assert refusal(lambda bad=bad: varied(PLAIN, {"boom_length": bad})).code == "not-finite"  # type: ignore[misc]
    # A receiver and teeth that were never measured cannot be varied into being.
    for name in ("receiver_x", "mast_z", "tooth_left_x", "boom_cylinder_eye_x", "pin_spacing_m", ""):
        refused = refusal(lambda name=name: varied(PLAIN, {name: 0.1}))  # type: ignore[misc]
        assert refused.code in {"no-such-parameter", "unknown-parameter"}, name


def test_varied_over_no_values_is_no_machine() -> None:
    """Rows of no machine would be read from beyond the end of the records."""
    with pytest.raises(Refused):
        varied(PLAIN, {"boom_length": []})


@pytest.mark.parametrize("bad", ["5.0", True, ["5.0"], [True]])
def test_varied_by_what_is_no_number(bad: object) -> None:
    with pytest.raises(Refused):
        varied(PLAIN, {"boom_length": bad})  # type: ignore[dict-item]


@pytest.mark.parametrize("bad", ["five", 1j, [[1.0], [1.0, 2.0]]])
def test_varied_by_what_numpy_cannot_read(bad: object) -> None:
    with pytest.raises(Refused):
        varied(PLAIN, {"boom_length": bad})  # type: ignore[dict-item]


def test_varied_four_bar_keeps_its_measured_stops() -> None:
    assembly = seeded(1, linkage=True, driven=True)
    found = varied(
        assembly, {"idler_length": assembly.parameters["idler_length"][0] + np.array([0.0, 0.001])}
    )
    assert found.assemblies == (assembly,)
    assert (found.limits == assembly.limits).all()
