"""How fast a pass goes with the flow that its cylinders get."""

import dataclasses
import math
from itertools import pairwise

import pytest

from kinematics.assembly import Assembly, assemble
from kinematics.errors import Refused
from kinematics.hydraulics import L_PER_MIN, Hydraulics
from kinematics.machine import Attachment, Machine, Range
from kinematics.pass_speed import ALL, pass_speed
from kinematics.passes import Pass, longest_pass
from kinematics.reach import Line
from machine_profiles import shipped
from tests.kinematics.machines import plain_bucket, plain_machine


def dug() -> tuple[Assembly, Pass, Hydraulics]:
    profiles = shipped()
    carrier, tool = profiles["machine", "crawler-14t"], profiles["attachment", "digging-1500"]
    assert isinstance(carrier.geometry, Machine)
    assert isinstance(tool.geometry, Attachment)
    assert carrier.hydraulics is not None
    assembly = assemble(carrier.geometry, tool.geometry)
    found = longest_pass(
        assembly,
        pitch=0.0,
        roll=0.0,
        line=Line(-2.4),
        floor=Range(0.0, 0.5),
        preferred=0.1,
        between=Range(4.0, 7.0),
    )
    return assembly, found, carrier.hydraulics


def test_no_cylinder_gets_more_than_its_flow_and_one_gets_it_all() -> None:
    _, found, hydraulics = dug()
    told = pass_speed(found, hydraulics)
    assert len(told.edge) == len(found.places) - 1
    for i, limited in enumerate(told.limited_by):
        for name, speeds in told.cylinders.items():
            ram = hydraulics.rams[name]
            assert ram.flow is not None
            drawn = abs(speeds[i]) * ram.area(pushing=speeds[i] > 0.0)
            assert drawn <= ram.flow * (1.0 + 1e-12)
            if name == limited:
                assert drawn == pytest.approx(ram.flow, rel=1e-12)


def test_the_edge_goes_its_way_in_the_time_told() -> None:
    _, found, hydraulics = dug()
    told = pass_speed(found, hydraulics)
    ways = [math.hypot(b.reach - a.reach, b.height - a.height) for a, b in pairwise(found.places)]
    assert sum(way / speed for way, speed in zip(ways, told.edge, strict=True)) == pytest.approx(
        told.duration
    )


def test_a_pump_for_all_shares_its_flow_and_is_named() -> None:
    _, found, hydraulics = dug()
    told = pass_speed(found, hydraulics, pump=50.0 * L_PER_MIN)
    assert set(told.limited_by) == {ALL}
    for i in range(len(told.edge)):
        drawn = sum(
            abs(speeds[i]) * hydraulics.rams[name].area(pushing=speeds[i] > 0.0)
            for name, speeds in told.cylinders.items()
        )
        assert drawn == pytest.approx(50.0 * L_PER_MIN, rel=1e-12)


def test_the_way_out_fills_the_other_side() -> None:
    _, found, hydraulics = dug()
    alone = {"boom": 1.0, "bucket": 1.0, "stick": hydraulics.rams["stick"].flow or 0.0}
    towards, outwards = (pass_speed(found, hydraulics, flows=alone, outwards=way) for way in (False, True))
    ram = hydraulics.rams["stick"]
    bore, ring = ram.area(pushing=True), ram.area(pushing=False)
    # The stick cylinder mostly runs out as the edge comes in.
    assert sum(speed > 0.0 for speed in towards.cylinders["stick"]) > 0.8 * len(towards.edge)
    pairs = list(zip(towards.limited_by, outwards.limited_by, strict=True))
    by_stick = [i for i, pair in enumerate(pairs) if pair == ("stick", "stick")]
    assert len(by_stick) > 0.8 * len(pairs)  # where the stick hardly moves another cylinder is slower
    for i in by_stick:
        speed = towards.cylinders["stick"][i]
        assert speed * outwards.cylinders["stick"][i] < 0.0
        expected = ring / bore if speed > 0.0 else bore / ring
        assert towards.edge[i] / outwards.edge[i] == pytest.approx(expected, rel=1e-12)


def test_twice_the_flow_is_twice_as_fast() -> None:
    _, found, hydraulics = dug()
    doubled = Hydraulics({
        name: dataclasses.replace(ram, flow=2.0 * (ram.flow or 0.0)) for name, ram in hydraulics.rams.items()
    })  # fmt: skip
    assert pass_speed(found, doubled).duration == pytest.approx(0.5 * pass_speed(found, hydraulics).duration)


def test_what_is_missing_is_said_all_at_once() -> None:
    _, found, hydraulics = dug()
    less = {
        name: dataclasses.replace(ram, flow=None) for name, ram in hydraulics.rams.items() if name != "boom"
    }
    with pytest.raises(Refused) as refused:
        pass_speed(found, Hydraulics(less), flows={"tail": 1.0, "stick": -1.0}, pump=None)
    assert [(fault.code, fault.where) for fault in refused.value.faults] == [
        ("not-positive", "flows.stick"), ("no-such-joint", "flows.tail"), ("no-bore", "boom"),
        ("no-flow", "flows.bucket"),
    ]  # fmt: skip
    with pytest.raises(Refused) as refused:
        pass_speed(found, hydraulics, pump=math.inf)
    assert refused.value.code == "not-finite"


def test_a_joint_without_a_cylinder_is_refused() -> None:
    assembly = assemble(plain_machine(), plain_bucket())
    found = longest_pass(assembly, pitch=0.0, roll=0.0, line=Line(-1.0), floor=Range(0.0, 0.5))
    with pytest.raises(Refused) as refused:
        pass_speed(found, Hydraulics({}))
    assert [fault.code for fault in refused.value.faults] == ["no-cylinder"] * 3


def test_a_fore_boom_that_is_held_needs_no_flow_and_no_bore() -> None:
    profiles = shipped()
    carrier, tool = profiles["machine", "wheeled-16t"], profiles["attachment", "digging-1500"]
    assert isinstance(carrier.geometry, Machine)
    assert isinstance(tool.geometry, Attachment)
    assert carrier.hydraulics is not None
    found = longest_pass(
        assemble(carrier.geometry, tool.geometry), pitch=0.0, roll=0.0, fore_boom=-0.5, line=Line(-2.0),
        floor=Range(0.0, 0.5), preferred=0.1, between=Range(4.0, 6.0),
    )  # fmt: skip
    told = pass_speed(found, carrier.hydraulics)
    assert set(told.cylinders) == {"boom", "stick", "bucket"}
    less = {name: ram for name, ram in carrier.hydraulics.rams.items() if name != "fore_boom"}
    assert pass_speed(found, Hydraulics(less)) == told
