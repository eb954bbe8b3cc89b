"""Variants assembled row by row against `assemble`, one by one: the same verdict, the same ranges."""

import math

import numpy as np
import pytest

from kinematics.assembly import JOINTS, Assembly, assemble
from kinematics.assembly_rows import VARIANT_STATUS, built
from kinematics.drives import four_bar_from_idler
from kinematics.errors import Refused
from kinematics.machine import Attachment, Machine
from machine_profiles import shipped

from .machines import mini_bucket, mini_machine, plain_bucket, plain_machine
from .rebuilt import dimensions, rebuilt

EACH = 60
# Half-angle formulas a rounding apart: near the ends of what closes a last bit moves an angle by its root.
SAME_RAD = 1e-9


def crawler() -> Assembly:
    profiles = shipped()
    machine, attachment = (
        profiles["machine", "crawler-14t"].geometry,
        profiles["attachment", "tilting-1800"].geometry,
    )
    assert isinstance(machine, Machine)
    assert isinstance(attachment, Attachment)
    return assemble(machine, attachment)


def machines() -> list[Assembly]:
    return [crawler(), assemble(mini_machine(), mini_bucket())]


def _refusal_code(refused: Refused) -> set[str]:
    """Codes of VARIANT_STATUS that a refusal of `assemble` stands for."""
    found = set()
    for fault in refused.faults:
        part = fault.where.removesuffix(".cylinder")
        found.add(f"{part}-cylinder-{fault.code}" if part != fault.where else f"{fault.where}-{fault.code}")
    return found


@pytest.mark.parametrize("which", [0, 1])
def test_as_assembled_one_by_one(which: int) -> None:
    assembly = machines()[which]
    generator = np.random.Generator(np.random.PCG64(which))
    seen: set[str] = set()
    for name in dimensions(assembly):
        value = float(assembly.parameters[name][0])
        more = generator.normal(0.0, 0.25 * max(abs(value), 0.2), EACH)
        more = more[np.abs(value + more) > 0.02] if name.endswith(("_length", "spacing")) else more
        records = np.repeat(assembly.parameters, more.size)
        records[name] = value + more
        found = built(assembly, records, (name,))
        for i in range(more.size):
            try:
                one = rebuilt(assembly, name, float(more[i]))
            except Refused as refused:
                codes = _refusal_code(refused)
                if codes & set(VARIANT_STATUS.values()):
                    assert VARIANT_STATUS[int(found.status[i])] in codes, (name, more[i])
                    seen |= codes
                else:  # a link that no machine has: `machine` refuses it before it is assembled
                    assert found.status[i] != 0, (name, more[i], codes)
                assert np.isnan(found.ranges[i]).all()
                continue
            assert found.status[i] == 0, (name, more[i], VARIANT_STATUS.get(int(found.status[i])))
            assert np.abs(found.limits[i] - one.limits).max() <= SAME_RAD, (name, more[i])
            for k, joint in enumerate(JOINTS):
                if joint in one.ranges:
                    span = one.ranges[joint]
                    assert abs(found.ranges[i, 2 * k] - span.low) <= SAME_RAD
                    assert abs(found.ranges[i, 2 * k + 1] - span.high) <= SAME_RAD
    assert {"bucket-no-closure", "bucket-cylinder-no-closure", "boom-cylinder-no-closure"} <= seen


@pytest.mark.parametrize("which", [0, 1])
def test_least_transmission_is_the_least_of_the_whole_stroke(which: int) -> None:
    assembly = machines()[which]
    assert assembly.idler is not None
    angles = [
        four_bar_from_idler(assembly, float(idler)).transmission
        for idler in np.linspace(assembly.idler.low, assembly.idler.high, 2001)
    ]
    least = min(min(angle, math.pi - angle) for angle in angles)
    found = float(built(assembly, assembly.parameters, ()).transmission[0])
    assert least - 1e-6 <= found <= least + 1e-12  # samples 1 mrad apart miss the least by its curvature


def test_what_no_machine_is() -> None:
    plain = assemble(plain_machine(), plain_bucket())
    records = np.repeat(plain.parameters, 5)
    records["boom_length"][1] = 2000.0
    records["boom_length"][2] = 0.0
    records["mast_x"][3] = 3.0
    records["left_y"][4] = -9.0
    names = (
        ("boom_length", "left_y")
        if math.isnan(plain.parameters["mast_x"][0])
        else ("boom_length", "mast_x", "left_y")
    )
    found = built(plain, records, names)
    told = [VARIANT_STATUS.get(int(code), "ok") for code in found.status]
    assert told[:3] == ["ok", "length-absurd", "zero-length-link"]
    assert told[4] == "centre-outside"
    assert np.isnan(found.limits[1:3]).all()
    assert np.isnan(found.transmission).all()  # it has no linkage
