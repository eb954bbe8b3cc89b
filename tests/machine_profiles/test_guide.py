"""The guide on measuring: its files parse, its worked figures are right."""

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import get_args

from kinematics.arm import pose
from kinematics.machine import (
    MOST_PLAY_RAD,
    MOST_SLOP_M,
    MOST_UNKNOWN_M,
    MOST_UNKNOWN_RAD,
    Attachment,
    Machine,
    MachineUncertainty,
)
from kinematics.sensing import misread, readings_of
from kinematics.sensor import Measure, Mounting
from kinematics.sensor_set import SensorSet
from machine_profiles import parse_profile, sensor_set, shipped
from machine_profiles.schema_sensors import AttachmentSensor, CaseMounting, MachineSensor
from machine_profiles.schema_uncertainty import AttachmentUncertaintyTable, MachineUncertaintyTable

from .pairing import pair
from .texts import completed

GUIDE = Path(__file__).parents[2] / "service" / "guide" / "measuring.md"


def blocks() -> list[str]:
    return re.findall(r"```toml\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)


def test_every_example_is_a_profile_or_completes_one() -> None:
    taken = [parse_profile(text) for text in completed(blocks())]
    assert [profile.id for profile in taken] == [
        "our-digger",
        "our-bucket",
        "our-bucket",
        "our-digger",
        "our-digger",
    ]
    assert isinstance(taken[0].geometry, Machine)
    assert taken[0].geometry.boom_length == 4.6
    assert isinstance(taken[2].geometry, Attachment)
    assert taken[2].geometry.tilt is not None
    assert list(taken[3].sensors) == ["body", "boom"]
    assert isinstance(taken[4].geometry, Machine)
    assert taken[4].geometry.uncertainty == MachineUncertainty(
        lengths=0.002, angles=math.radians(0.1), of={"boom_length": 0.004}, pin_slop=0.0015, flex=0.003
    )


def test_the_guide_names_what_may_be_measured_besides() -> None:
    text = GUIDE.read_text(encoding="utf-8")
    assert "`boom.foot_above_ground`" in text
    assert "`coupler.play`" in text
    most_deg = math.degrees(MOST_PLAY_RAD)
    assert f"More than {most_deg:g} degrees is refused" in text


def test_the_worked_edge_and_the_taped_edge_agree_with_the_formula() -> None:
    s, a, b, p, q = 420, 312, -281, -1064, -831
    x, z = (p * a + q * b) / s, (q * a - p * b) / s
    assert f"gives x = {x:.0f}, z = {z:.0f}." in GUIDE.read_text(encoding="utf-8")
    taped = parse_profile(blocks()[1]).geometry
    assert isinstance(taped, Attachment)
    assert math.dist(taped.edge[1], (x / 1e3, 0.0, z / 1e3)) <= 0.0015  # tape read to whole millimetres


def test_a_short_base_costs_what_the_guide_says() -> None:
    block = blocks()[1]
    assert "moves the edge by 3.6 mm" in GUIDE.read_text(encoding="utf-8")
    exact, wrong = (parse_profile(text).geometry for text in (block, block.replace("1481", "1482")))
    assert isinstance(exact, Attachment)
    assert isinstance(wrong, Attachment)
    assert abs(math.dist(exact.edge[1], wrong.edge[1]) * 1e3 - 3.6) <= 0.05


def test_what_a_skewed_sensor_costs() -> None:
    """Boom level, body 5 deg left side up, its sensor 1 deg to the left and taken for square."""
    assert "costs 0.09 degree." in GUIDE.read_text(encoding="utf-8")
    machine, tool = shipped()["machine", "crawler-14t"], shipped()["attachment", "digging-1500"]
    assembly = pair("crawler-14t", "digging-1500")
    believed = sensor_set(machine, tool, assembly)
    assert believed is not None
    boom = replace(believed.sensors["boom"], mounting=Mounting(0.0))
    skewed = replace(boom, mounting=Mounting(0.0, to_left=math.radians(1.0)))
    as_said, as_is = (SensorSet(assembly, {**believed.sensors, "boom": each}) for each in (boom, skewed))
    angles = {"pitch": 0.0, "roll": math.radians(5.0), "boom": 0.0, "stick": -1.6, "bucket": 0.8}
    off = misread(as_is, as_said, pose(assembly, **angles))
    assert abs(math.degrees(off["boom"]) - 0.09) <= 0.005


def test_the_guide_names_every_key_and_kind_of_sensor() -> None:
    text = GUIDE.read_text(encoding="utf-8").partition("## Sensors")[2].partition("## How accurate")[0]
    for model in (MachineSensor, AttachmentSensor, CaseMounting):
        for key in model.model_fields:
            assert f"`{key}" in text or f"\n{key} = " in text, key
    for model in (MachineSensor, AttachmentSensor):
        for place in get_args(model.model_fields["place"].annotation):
            assert f"`{place}`" in text, place
    for kind in Measure:
        assert f"| `{kind}` |" in text


def test_the_guide_names_every_key_of_how_well_it_is_known() -> None:
    text = GUIDE.read_text(encoding="utf-8").partition("## How well")[2].partition("## How accurate")[0]
    for model in (MachineUncertaintyTable, AttachmentUncertaintyTable):
        for key in model.model_fields:
            assert f"`{key}`" in text, key
    most = f"{MOST_UNKNOWN_M:g} m, {math.degrees(MOST_UNKNOWN_RAD):g} degrees or {MOST_SLOP_M * 1e3:g} mm of slop"
    assert f"More than {most} is refused" in text


def test_the_figures_of_how_well_it_is_known() -> None:
    """Two numbers alike good differ by 1.4 of one's own; a limit is 1.7 standard ones, what lies anywhere up to D has a
    root mean square of 0.58 D (GUM 4.3.7: half-width over the root of 3); the straightedge shows 0.5 degree."""
    text = GUIDE.read_text(encoding="utf-8")
    for said, value, within in (
        ("divided by 1.4", math.sqrt(2.0), 0.05), ("divided by 1.7", math.sqrt(3.0), 0.05),
        ("0.6 of it", 1.0 / math.sqrt(3.0), 0.05), ("1 mm on 115 mm is 0.5", math.degrees(math.atan2(1, 115)), 0.01),
    ):  # fmt: skip
        assert said in text
        number = float(re.findall(r"\d+\.\d+", said)[-1])
        assert abs(number - value) <= within, said


def test_half_a_turn_finds_the_mounting_of_a_body_sensor() -> None:
    """The mean of what it says before and after is the mounting, half the difference the lean; 0.01 deg: second order."""
    assembly = pair("crawler-14t", "digging-1500")
    sensors = sensor_set(
        shipped()["machine", "crawler-14t"], shipped()["attachment", "digging-1500"], assembly
    )
    assert sensors is not None
    sensor = sensors.sensors["body"]
    assert isinstance(sensor.mounting, Mounting)
    assert sensor.side_sign is not None
    lean = (math.radians(1.2), math.radians(-0.8))
    said = []
    for way in (1, -1):
        angles = {"pitch": way * lean[0], "roll": way * lean[1], "boom": 0.2, "stick": -1.6, "bucket": 0.8}
        told = readings_of(sensors, pose(assembly, **angles))["body"]
        assert isinstance(told, tuple)
        said.append((sensor.sign * told[0], sensor.side_sign * told[1]))
    for i, mounted in enumerate((sensor.mounting.nose_up, sensor.mounting.left_up)):
        assert abs(math.degrees(0.5 * (said[0][i] + said[1][i]) - mounted)) <= 0.01
        assert abs(math.degrees(0.5 * (said[0][i] - said[1][i]) - lean[i])) <= 0.01


def test_the_table_of_costs() -> None:
    text = GUIDE.read_text(encoding="utf-8")
    for lever_m, said in ((8.0, "14 mm"), (2.0, "3.5 mm"), (1.06, "1.9 mm")):
        cost_mm = lever_m * math.radians(0.1) * 1e3
        assert abs(cost_mm - float(said.split()[0])) <= 0.06
        assert f"| {said} |" in text
    assert abs(5 * math.sin(math.radians(45)) - 3.5) <= 0.04
