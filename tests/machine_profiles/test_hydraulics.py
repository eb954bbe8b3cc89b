"""[hydraulics] in a file: bores, pressures and flows in the file's own units."""

import math
import re
import tomllib
from importlib.resources import files

import pytest

from kinematics.hydraulics import BAR, L_PER_MIN, RAMS, Ram
from machine_profiles import parse_profile, shipped
from machine_profiles.faults import ProfileFaulty
from machine_profiles.hydraulics import hydraulics_from
from machine_profiles.schema import MachineDocument

TEXT = shipped()["machine", "crawler-14t"].source_text
UNITS = 'units = { pressure = "bar", flow = "l/min" }\n'


def codes(text: str) -> list[tuple[str, str]]:
    with pytest.raises(ProfileFaulty) as faulty:
        parse_profile(text)
    return [(fault.code, fault.path) for fault in faulty.value.faults]


def test_bores_in_metres_pressures_in_pascals_flows_by_the_second() -> None:
    found = parse_profile(TEXT).hydraulics
    assert found is not None
    assert set(found.rams) == {"boom", "stick", "bucket"}
    boom = found.rams["boom"]
    assert (boom.bore, boom.rod, boom.count) == (0.105, 0.075, 2)
    assert boom.working_pressure == pytest.approx(343e5)
    assert boom.holding_pressure == pytest.approx(370e5)
    assert boom.flow == pytest.approx(0.220 / 60.0)


@pytest.mark.parametrize(("unit", "factor"), [("MPa", 1e6), ("psi", 6894.757293168)])
def test_other_units_of_pressure(unit: str, factor: float) -> None:
    text = TEXT.replace('pressure = "bar"', f'pressure = "{unit}"')
    if unit == "MPa":
        text = text.replace("= 343", "= 34.3").replace("= 370", "= 37.0")
    else:
        text = text.replace("= 343", "= 4975").replace("= 370", "= 5366")
    found = parse_profile(text).hydraulics
    assert found is not None
    assert found.rams["stick"].working_pressure == pytest.approx((34.3 if unit == "MPa" else 4975) * factor)
    # NIST SP 811: 1 psi = 6.894 757 kPa.
    assert found.rams["stick"].working_pressure == pytest.approx(343.0 * BAR, rel=1e-4)


def test_a_file_without_them_says_nothing_of_them_and_keeps_its_hash() -> None:
    bare = shipped()["machine", "published-mini"]
    assert bare.hydraulics is None
    assert "hydraulics" not in bare.document
    headed = parse_profile(bare.source_text + "\n[hydraulics]\n")
    assert headed.content_hash == bare.content_hash
    assert headed.hydraulics is None


def test_the_guides_example_is_what_a_file_takes() -> None:
    guide = files("service").joinpath("guide", "measuring.md").read_text(encoding="utf-8")
    [block] = re.findall(r"```text\n(.*?)```", guide, re.DOTALL)
    given = tomllib.loads(block)
    document = shipped()["machine", "crawler-14t"].document
    read = hydraulics_from(MachineDocument.model_validate({**document, **given}))
    assert read is not None
    assert read.rams == {"stick": Ram(0.115, 0.080, 1, 343e5, 370e5, 180.0 * L_PER_MIN)}


def test_units_are_not_guessed() -> None:
    assert codes(TEXT.replace(UNITS, "")) == [
        ("missing-key", "hydraulics.units.pressure"), ("missing-key", "hydraulics.units.flow"),
    ]  # fmt: skip
    assert codes(TEXT.replace(', flow = "l/min"', "")) == [("missing-key", "hydraulics.units.flow")]
    assert codes(TEXT.replace('"l/min"', '"gal"')) == [("not-a-choice", "hydraulics.units.flow")]


def test_bores_need_a_cylinder() -> None:
    text = (
        TEXT
        + "\n[hydraulics.fore_boom]\nbore = 100\nrod = 60\ncount = 1\nworking_pressure = 343\nholding_pressure = 370\n"
    )
    assert codes(text) == [("no-cylinder", "hydraulics.fore_boom")]


@pytest.mark.parametrize(
    ("was", "now", "expected"),
    [
        ("bore = 115", "bore = 11500", [("out-of-range", "hydraulics.stick.bore")]),
        ("rod = 80", "rod = 130", [("rod-too-thick", "hydraulics.stick.rod")]),
        ("count = 2", "count = 9", [("out-of-range", "hydraulics.boom.count")]),
        ("count = 2", "count = 2.5", [("wrong-type", "hydraulics.boom.count")]),
        ("flow = 180", "flow = -1", [("not-positive", "hydraulics.stick.flow")]),
        ("flow = 180", "flaw = 180", [("unknown-key", "hydraulics.stick.flaw")]),
        (
            "working_pressure = 343\nholding_pressure = 370\nflow = 140",
            "working_pressure = 343\nholding_pressure = 300",
            [("holding-below-working", "hydraulics.bucket.holding_pressure")],
        ),
    ],
)
def test_every_fault_stands_at_its_line(was: str, now: str, expected: list[tuple[str, str]]) -> None:
    assert was in TEXT
    assert codes(TEXT.replace(was, now)) == expected


def test_shipped_machines_have_forces_usual_for_their_class() -> None:
    for (kind, name), profile in shipped().items():
        if kind == "machine" and name != "published-mini":
            assert profile.hydraulics is not None, name
            cylinders = {joint for joint in RAMS if (profile.document.get(joint) or {}).get("cylinder")}
            assert set(profile.hydraulics.rams) == cylinders
            for ram in profile.hydraulics.rams.values():
                assert math.isfinite(ram.working_pressure)
