"""How well a profile is known: every key, its units, every fault at its place, revisions."""

import math
from typing import Any

import pytest

from kinematics.assembly import assemble
from kinematics.machine import Attachment, AttachmentUncertainty, Machine, MachineUncertainty
from kinematics.parameters import ATTACHMENT_NAMES, MACHINE_NAMES, TURNS
from kinematics.sensor import Measure
from machine_profiles import check_profile, json_schema, parse_profile, shipped

from .texts import TWO_PIECE, bare, edited, faults_of, in_units, text_of

CRAWLER = bare(text_of("machine", "crawler-14t"))
COUPLED = bare(text_of("attachment", "coupled-900"))
DITCHING = bare(text_of("attachment", "ditching-1800"))
ENCODER = """
[sensors.one]
place = "boom"
measures = "angle"
sign = 1
mounting = 0
range = { low = -180, high = 180 }
noise = 0.05
latency_ms = 30
age_limit_ms = 500
"""
GRAVITY = edited(ENCODER, ('"angle"', '"gravity-angle"'), ("mounting = 0", "mounting = { nose_up = 3.2 }"))
WIRE = edited(ENCODER, ('"angle"', '"length"'), ("low = -180, high = 180", "low = 0, high = 2500"))


def known(text: str) -> MachineUncertainty | AttachmentUncertainty | None:
    return parse_profile(text).geometry.uncertainty


def test_every_key_reaches_its_field() -> None:
    text = "[uncertainty]\nlengths = 2\nangles = 0.1\nof = { boom_length = 4, mast_x = 0.5 }\npin_slop = 1.5\nflex = 7\n"
    assert known(CRAWLER + text) == MachineUncertainty(
        lengths=0.002, angles=math.radians(0.1), of={"boom_length": 0.004, "mast_x": math.radians(0.5)},
        pin_slop=0.0015, flex=0.007,
    )  # fmt: skip
    text = "[uncertainty]\nlengths = 2\nangles = 0.1\nedge_wear = 6\n[uncertainty.of]\ncoupler_angle = 0.2\nleft_x = 1\n"
    assert known(COUPLED + text) == AttachmentUncertainty(
        lengths=0.002, angles=math.radians(0.1), of={"coupler_angle": math.radians(0.2), "left_x": 0.001},
        edge_wear=0.006,
    )  # fmt: skip
    assert known(CRAWLER) is None
    assert known(CRAWLER + "[uncertainty]\nflex = 0\n") == MachineUncertainty(flex=0.0)


@pytest.mark.parametrize(
    ("sensor", "zero", "kelvin"),
    [
        (GRAVITY, math.radians(0.3), math.radians(0.01)),
        (ENCODER, math.radians(0.3), math.radians(0.01)),
        (WIRE, 3e-4, 1e-5),
    ],
)
def test_every_key_of_a_sensor_reaches_its_field(sensor: str, zero: float, kelvin: float) -> None:
    (plain,) = parse_profile(CRAWLER + sensor).sensors.values()
    assert (plain.zero_uncertainty, plain.skew_uncertainty, plain.per_kelvin) == (None, None, None)
    (read,) = parse_profile(CRAWLER + sensor + "zero_uncertainty = 0.3\nper_kelvin = 0.01\n").sensors.values()
    assert read.zero_uncertainty == pytest.approx(zero, rel=1e-12)
    assert read.per_kelvin == pytest.approx(kelvin, rel=1e-12)
    if sensor == GRAVITY:
        (read,) = parse_profile(CRAWLER + sensor + "skew_uncertainty = 0.5\n").sensors.values()
        assert read.skew_uncertainty == math.radians(0.5)


@pytest.mark.parametrize("length", ["m", "cm", "ft", "in"])
def test_units_do_not_change_what_single_dimensions_are_known_to(length: str) -> None:
    of = "[uncertainty]\nlengths = 2\nof = { coupler_angle = 0.2, left_x = 1, pin_spacing = 0.5 }\n"
    there = parse_profile(COUPLED + of)
    here = known(in_units(there.document, length, "rad"))
    want = there.geometry.uncertainty
    assert here is not None
    assert want is not None
    assert set(here.of) == set(want.of)
    for name, value in want.of.items():
        assert here.of[name] == pytest.approx(value, rel=1e-12)


def test_what_says_nothing_keeps_the_revision() -> None:
    base = parse_profile(CRAWLER).content_hash
    for more in ("[uncertainty]\n", "[uncertainty]\nof = {}\n", "[uncertainty.of]\n"):
        assert parse_profile(CRAWLER + more).content_hash == base
        assert known(CRAWLER + more) is None
    with_one = parse_profile(CRAWLER + "[uncertainty]\nlengths = 3\n").content_hash
    assert with_one != base
    assert parse_profile(CRAWLER + "[uncertainty]\nof = {}\nlengths = 3.0 # wide\n").content_hash == with_one
    zero, minus = (parse_profile(CRAWLER + f"[uncertainty]\nflex = {z}\n") for z in ("0", "-0.0"))
    assert zero.content_hash == minus.content_hash != base


# text, key and value, code, path below uncertainty
FAULTS: list[tuple[str, str, str, str]] = [
    *((CRAWLER, f"{key} = {value}", code, key) for key, most in (
        ("lengths", 201), ("angles", 5.1), ("pin_slop", 21), ("flex", 201),
    ) for value, code in (
        (most, "out-of-range"), (-1, "out-of-range"), ("nan", "not-finite"), ("inf", "not-finite"),
        (1e300, "out-of-range"), ('"3 mm"', "wrong-type"), ("true", "wrong-type"), ("{}", "wrong-type"),
    )),
    (DITCHING, "edge_wear = 201", "out-of-range", "edge_wear"),
    (DITCHING, "edge_wear = nan", "not-finite", "edge_wear"),
    (DITCHING, "flex = 3", "unknown-key", "flex"),
    (CRAWLER, "edge_wear = 3", "unknown-key", "edge_wear"),
    (CRAWLER, "lenghts = 3", "unknown-key", "lenghts"),
    (CRAWLER, "of = 3", "wrong-type", "of"),
    (CRAWLER, 'of = { boom_length = "3" }', "wrong-type", "of.boom_length"),
    (CRAWLER, "of = { boom_length = { } }", "wrong-type", "of.boom_length"),
    (CRAWLER, "of = { boom_length = -3 }", "out-of-range", "of.boom_length"),
    (CRAWLER, "of = { boom_length = nan }", "not-finite", "of.boom_length"),
    (CRAWLER, "of = { boom_length = 201 }", "out-of-range", "of.boom_length"),
    (CRAWLER, "of = { mast_x = 6 }", "out-of-range", "of.mast_x"),
    (CRAWLER, "of = { boom_lenght = 3 }", "unknown-parameter", "of.boom_lenght"),
    (CRAWLER, "of = { Number = 3 }", "unknown-parameter", "of.Number"),
    (CRAWLER, 'of = { "boom.length" = 3 }', "unknown-parameter", "of.boom.length"),
    (CRAWLER, 'of = { "" = 3 }', "unknown-parameter", "of"),
    (CRAWLER, "of = { pin_spacing = 3 }", "unknown-parameter", "of.pin_spacing"),
    (CRAWLER, "of = { fore_boom_length = 3 }", "unknown-parameter", "of.fore_boom_length"),
    (CRAWLER, "of = { swing_post_x = 3 }", "unknown-parameter", "of.swing_post_x"),
    (TWO_PIECE, "of = { boom_cylinder_foot_x = 3 }", "unknown-parameter", "of.boom_cylinder_foot_x"),
    (TWO_PIECE, "of = { receiver_x = 3 }", "unknown-parameter", "of.receiver_x"),
    (TWO_PIECE, "of = { idler_length = 3 }", "unknown-parameter", "of.idler_length"),
    (DITCHING, "of = { boom_length = 3 }", "unknown-parameter", "of.boom_length"),
    (DITCHING, "of = { tooth_left_x = 3 }", "unknown-parameter", "of.tooth_left_x"),
    (DITCHING, "of = { coupler_x = 3 }", "unknown-parameter", "of.coupler_x"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "code", "path"), FAULTS)
def test_each_fault_alone_with_its_place_and_line(text: str, line: str, code: str, path: str) -> None:
    whole = text + "[uncertainty]\n" + line + "\n"
    (fault,) = faults_of(whole)
    assert (fault.code, fault.path) == (code, f"uncertainty.{path}")
    assert whole.splitlines()[(fault.line or 0) - 1] == line
    assert fault.found
    assert fault.expected


@pytest.mark.parametrize("key", ["zero_uncertainty", "skew_uncertainty", "per_kelvin"])
@pytest.mark.parametrize("sensor", [GRAVITY, ENCODER, WIRE])
def test_each_fault_of_a_sensor(sensor: str, key: str) -> None:
    base = [("not-sensed-so", f"sensors.one.{key}")] if key[0] == "s" and sensor != GRAVITY else []
    for value, code in (
        ("-0.1", "out-of-range"), ("1e300", "out-of-range"), ("nan", "not-finite"), ("-inf", "not-finite"),
    ):  # fmt: skip
        faults = faults_of(CRAWLER + sensor + f"{key} = {value}\n")
        assert [(fault.code, fault.path) for fault in faults] == [*base, (code, f"sensors.one.{key}")]


def test_all_at_once_with_their_places() -> None:
    """Negative, not a number, no such name, another's, beyond its limit, in geometry and sensors: one answer."""
    text = edited(CRAWLER, ("[stick]\nlength = 2500", "[stick]\nlength = 0")) + (
        "[uncertainty]\nlengths = 1000\nangles = nan\nflex = -1\n"
        "[uncertainty.of]\nboom_length = -3\nstick_lenght = 3\nleft_x = nan\nidler_length = 900\n"
    ) + WIRE + "zero_uncertainty = nan\nper_kelvin = 1e9\nskew_uncertainty = -1\n"  # fmt: skip
    text = edited(text, ("high = 2500", "high = 2.5e6"))
    assert {(fault.code, fault.path) for fault in faults_of(text)} == {
        ("zero-length-link", "stick.length"),
        ("out-of-range", "uncertainty.lengths"),
        ("not-finite", "uncertainty.angles"),
        ("out-of-range", "uncertainty.flex"),
        ("out-of-range", "uncertainty.of.boom_length"),
        ("unknown-parameter", "uncertainty.of.stick_lenght"),
        ("unknown-parameter", "uncertainty.of.left_x"),
        ("not-finite", "uncertainty.of.left_x"),
        ("out-of-range", "uncertainty.of.idler_length"),
        ("too-long", "sensors.one.range.high"),
        ("not-finite", "sensors.one.zero_uncertainty"),
        ("out-of-range", "sensors.one.per_kelvin"),
        ("not-sensed-so", "sensors.one.skew_uncertainty"),
        ("out-of-range", "sensors.one.skew_uncertainty"),
    }


def test_a_part_that_is_not_there_comes_with_the_other_faults() -> None:
    of = "[uncertainty]\nflex = -1\nof = { fore_boom_length = 3, boom_length = -3 }\n"
    assert {(fault.code, fault.path) for fault in faults_of(CRAWLER + of)} == {
        ("out-of-range", "uncertainty.flex"),
        ("unknown-parameter", "uncertainty.of.fore_boom_length"),
        ("out-of-range", "uncertainty.of.boom_length"),
    }


def test_an_unknown_name_is_told_what_may_stand_there() -> None:
    (fault,) = faults_of(CRAWLER + "[uncertainty]\nof = { boom_lenght = 3 }\n")
    assert fault.advice == "did you mean boom_length?"
    assert "boom_length, stick_length, receiver_x" in fault.expected
    assert "pin_spacing" not in fault.expected
    assert "fore_boom" not in fault.expected


def test_more_names_than_there_are_is_one_fault() -> None:
    names = ", ".join(f"x{i} = 1" for i in range(len(MACHINE_NAMES) + 1))
    (fault,) = faults_of(CRAWLER + f"[uncertainty]\nof = {{ {names} }}\n")
    assert (fault.code, fault.path) == ("wrong-size", "uncertainty.of")
    assert fault.expected == f"a table of at most {len(MACHINE_NAMES)}"


@pytest.mark.parametrize(("kind", "names"), [("machine", MACHINE_NAMES), ("attachment", ATTACHMENT_NAMES)])
def test_the_schema_lists_the_names(kind: str, names: tuple[str, ...]) -> None:
    table = json_schema(kind)["$defs"][f"{kind.capitalize()}UncertaintyTable"]
    assert table.get("required", []) == []
    of: dict[str, Any] = table["properties"]["of"]["anyOf"][0]
    assert of["propertyNames"] == {"enum": list(names)}
    assert of["additionalProperties"] == {"minimum": 0, "type": "number"}
    for key, field in table["properties"].items():
        assert field["examples"], key
        assert key == "of" or field["anyOf"][0] == {"minimum": 0, "type": "number"}


def test_every_shipped_profile_says_how_well_it_is_known() -> None:
    for (_, name), profile in shipped().items():
        found = profile.geometry.uncertainty
        assert found is not None
        fine = name.startswith("published-mini")
        assert found.lengths == pytest.approx(0.0005 if fine else 0.003, abs=1e-12)
        # published-mini is in radians, to six decimals.
        assert math.degrees(found.angles or 0.0) == pytest.approx(0.1, abs=math.degrees(5e-7))
        assert "common practice, no source" in profile.source_text.partition("\n# Uncertainty:")[2]
        if isinstance(found, MachineUncertainty):
            assert (found.pin_slop, found.flex) == (0.001, 0.015 if "long-reach" in name else 0.003)
        else:
            assert found.edge_wear == 0.003
        for sensor in profile.sensors.values():
            wire = sensor.measures == Measure.LENGTH
            assert sensor.zero_uncertainty == (
                0.002 if wire else math.radians(0.1 if sensor.place == "idler" else 0.05)
            )
            assert sensor.skew_uncertainty == (math.radians(0.5) if sensor.by_gravity else None)
            assert sensor.per_kelvin == (0.0 if wire else math.radians(0.002))


def test_what_a_file_names_is_taken_where_the_two_meet() -> None:
    """Every name that one file may give is one that the assembly takes, and no other."""
    machine, tool = parse_profile(CRAWLER).geometry, parse_profile(COUPLED).geometry
    assert isinstance(machine, Machine)
    assert isinstance(tool, Attachment)
    taken = []
    for text, names in ((CRAWLER, MACHINE_NAMES), (COUPLED, ATTACHMENT_NAMES)):
        for name in names:
            verdict = check_profile(text + f"[uncertainty]\nof = {{ {name} = 1 }}\n")
            if verdict.ok:
                taken.append(name)
                assert not verdict.doubts, name
    row = assemble(machine, tool)
    assert taken == [
        name for name in MACHINE_NAMES + ATTACHMENT_NAMES
        if name not in row.lacks and not math.isnan(row.parameters[name][0])
    ]  # fmt: skip
    assert TURNS & set(taken) == {"mast_x", "mast_y", "mast_z", "coupler_angle"}


@pytest.mark.parametrize(
    ("text", "more", "said"),
    [
        (CRAWLER, "[uncertainty]\nlengths = 0.003\n", "uncertainty.lengths is 0.003 mm"),
        (CRAWLER, "[uncertainty]\nlengths = 0\n", "uncertainty.lengths is 0 mm"),
        (CRAWLER, "[uncertainty]\nlengths = 51\n", "uncertainty.lengths is 51 mm"),
        (CRAWLER, "[uncertainty]\nangles = 0.001\n", "uncertainty.angles is 0.001 deg"),
        (CRAWLER, "[uncertainty]\nof = { boom_length = 0.002 }\n", "uncertainty.of.boom_length is 0.002 mm"),
        (COUPLED, "[uncertainty]\nof = { coupler_angle = 3 }\n", "uncertainty.of.coupler_angle is 3 deg"),
        (DITCHING, "[uncertainty]\nedge_wear = 0.003\n", "uncertainty.edge_wear is 0.003 mm"),
        (CRAWLER, GRAVITY + "zero_uncertainty = 0\n", "sensors.one.zero_uncertainty is 0 deg"),
        (CRAWLER, GRAVITY + "zero_uncertainty = 2.1\n", "sensors.one.zero_uncertainty is 2.1 deg"),
    ],
)
def test_what_is_hardly_true_is_told(text: str, more: str, said: str) -> None:
    verdict = check_profile(text + more)
    assert verdict.ok
    (doubt,) = verdict.doubts
    assert doubt.startswith(said)
    assert "check units." in doubt


@pytest.mark.parametrize("key", ["pin_slop", "flex"])
def test_none_at_all_is_no_doubt(key: str) -> None:
    assert check_profile(CRAWLER + f"[uncertainty]\n{key} = 0\n").doubts == ()
