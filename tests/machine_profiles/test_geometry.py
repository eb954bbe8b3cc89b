"""Units, tape distances, two-piece booms, hashes: what a file turns into."""

import dataclasses
import json
import math
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.machine import Attachment, Cylinder, Machine
from machine_profiles import Profile, check_pair, check_profile, parse_profile, shipped

from .texts import PER_METRE, TWO_PIECE, bare, edited, in_units, text_of

NAMES = [
    ("machine", "crawler-14t"), ("machine", "wheeled-16t"), ("machine", "compact-1t8"),
    ("attachment", "tilting-1800"), ("attachment", "tilt-rotator-1600"), ("attachment", "digging-1500"),
    ("attachment", "coupled-900"), ("attachment", "v-bucket-1200"),
]  # fmt: skip


def numbers(part: object) -> list[float]:
    """Every number of a geometry, in order."""
    if dataclasses.is_dataclass(part) and not isinstance(part, type):
        return [x for field in dataclasses.fields(part) for x in numbers(getattr(part, field.name))]
    if isinstance(part, tuple):
        return [x for item in part for x in numbers(item)]
    if isinstance(part, Mapping):
        return [x for name in sorted(part) for x in numbers(part[name])]
    return [float(part)] if isinstance(part, int | float) else []


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("length", sorted(PER_METRE))
@pytest.mark.parametrize("angle", ["deg", "rad"])
def test_units_do_not_change_machine_and_sensors(name: tuple[str, str], length: str, angle: str) -> None:
    """1e-9 m and rad: a millionth of a millimetre, far above rounding."""
    there = shipped()[name]
    here = parse_profile(in_units(there.document, length, angle))
    ours, theirs = (
        numbers((each.geometry, *each.sensors.values(), *each.checks.values())) for each in (here, there)
    )
    assert len(ours) == len(theirs) >= 10
    assert all(math.isfinite(value) for value in ours)
    assert max(abs(a - b) for a, b in zip(ours, theirs, strict=True)) <= 1e-9


def test_a_known_length_in_each_unit() -> None:
    """1 in is 25.4 mm and 1 ft 12 in, exactly (NIST, international foot): 100 in is 2.54 m."""
    for unit, value in (("in", 100.0), ("ft", 100.0 / 12), ("mm", 2540.0), ("cm", 254.0), ("m", 2.54)):
        document = shipped()["machine", "crawler-14t"].document
        text = in_units(document | {"stick": document["stick"] | {"length": 2540.0}}, unit, "deg")
        stick = parse_profile(text)
        assert isinstance(stick.geometry, Machine)
        assert abs(stick.document["stick"]["length"] - value) <= 1e-9
        assert abs(stick.geometry.stick_length - 2.54) <= 1e-12


@given(
    length=st.floats(200, 6000),
    x=st.floats(-3000, 6000),
    z=st.floats(50, 3000),
    above=st.booleans(),
)
def test_two_tapes_find_the_point_they_were_taped_to(
    length: float, x: float, z: float, *, above: bool
) -> None:
    """1e-6 m: the tapes lie in a narrow angle where the point is far and the pins are near."""
    side = "above" if above else "below"
    inner, outer = math.hypot(x, z), math.hypot(x - length, z)
    text = edited(
        text_of("attachment", "digging-1500"),
        ("spacing = 420", f"spacing = {length!r}"),
        (
            "edge = { x = -234, z = -1329 }",
            f'edge = {{ to_inner = {inner!r}, to_outer = {outer!r}, side = "{side}" }}',
        ),
        ("heel = { x = 408, z = -751 }", "heel = { x = -39000, z = 0 }"),
    )
    bucket = parse_profile(text).geometry
    assert isinstance(bucket, Attachment)
    found_x, found_y, found_z = bucket.edge[bucket.centre]
    assert found_y == 0.0
    assert abs(found_x - x / 1e3) <= 1e-6
    assert abs(found_z - (z if above else -z) / 1e3) <= 1e-6


def test_two_piece_pins_stand_at_the_taped_distances() -> None:
    """The loader's frames against the arm's own: each tape distance comes out again between the placed pins."""
    machine = parse_profile(TWO_PIECE).geometry
    bucket = shipped()["attachment", "digging-1500"].geometry
    assert isinstance(machine, Machine)
    assert isinstance(bucket, Attachment)
    assembly = assemble(machine, bucket)
    middle = {name: (span.low + span.high) / 2 for name, span in assembly.ranges.items()}
    pins = pose(assembly, pitch=0.0, roll=0.0, **middle).pins()

    def apart(a: str, b: str) -> float:
        return math.dist(pins[a], pins[b]) * 1e3

    taped = [
        ("fore_boom_cylinder_foot", "boom_foot_pin", 900), ("fore_boom_cylinder_foot", "fore_boom_pin", 1200),
        ("stick_cylinder_foot", "fore_boom_pin", 700), ("stick_cylinder_foot", "stick_pin", 1000),
        ("stick_cylinder_eye", "stick_pin", 450), ("stick_cylinder_eye", "bucket_pin", 2000),
        ("boom_foot_pin", "fore_boom_pin", 2000), ("fore_boom_pin", "stick_pin", 1500),
        ("stick_pin", "bucket_pin", 1600), ("fore_boom_cylinder_eye", "fore_boom_pin", math.hypot(400, 250)),
    ]  # fmt: skip
    for a, b, distance in taped:
        assert math.isfinite(apart(a, b))
        assert abs(apart(a, b) - distance) <= 1e-6
    # Post 700 ahead and 150 right, then the foot 100 ahead and 20 left of it, turned by the swing boom's angle.
    w = middle["swing_boom"]
    foot = (0.7 + 0.1 * math.cos(w) - 0.02 * math.sin(w), -0.15 + 0.1 * math.sin(w) + 0.02 * math.cos(w), 0.0)
    assert math.dist(pins["boom_foot_pin"], foot) <= 1e-12


def test_a_linkage_with_a_measured_idler_range() -> None:
    """Without the bucket cylinder the idler's own range limits the bucket: the same range gives the same bucket."""
    text = text_of("machine", "crawler-14t").partition("\n# Bores, pressures")[
        0
    ]  # of no cylinder there is a bore
    tool = shipped()["attachment", "digging-1500"]
    full = check_pair(shipped()["machine", "crawler-14t"], tool).facts
    low, high = full["idler_deg"]
    start, end = text.index("[bucket.cylinder]"), text.index("[receiver]")
    ranged = edited(
        text[:start] + text[end:],
        ("power_link = 500", f"power_link = 500\nidler_range = {{ low = {low!r}, high = {high!r} }}"),
    )
    found = check_pair(parse_profile(ranged), tool).facts
    assert "bucket" not in check_profile(ranged).facts["cylinders_mm"]
    for ours, theirs in zip(
        found["joint_ranges_deg"]["bucket"], full["joint_ranges_deg"]["bucket"], strict=True
    ):
        assert math.isfinite(ours)
        assert abs(ours - theirs) <= 1e-9


def test_a_machine_with_ranges_only_has_its_verdict() -> None:
    facts = check_profile(TWO_PIECE).facts
    assert facts["joint_ranges_deg"]["bucket"] == pytest.approx([-30, 120], abs=1e-9)
    assert facts["bucket_linkage"] is False
    pair = check_pair(parse_profile(TWO_PIECE), shipped()["attachment", "digging-1500"])
    assert pair.ok
    assert "transmission_deg" not in pair.facts


def test_sides_and_signs_reach_the_geometry() -> None:
    machine = parse_profile(TWO_PIECE).geometry
    assert isinstance(machine, Machine)
    assert isinstance(machine.fore_boom, Cylinder)
    assert isinstance(machine.stick, Cylinder)
    assert machine.fore_boom.foot_z < 0.0 < machine.stick.foot_z
    assert machine.fore_boom.foot_x < 0.0, "the foot lies behind the joint's pin"
    assert (machine.fore_boom.extending, machine.stick.extending) == (1, -1)


def test_edge_by_points_keeps_its_vertices() -> None:
    text = edited(
        text_of("attachment", "digging-1500"),
        (
            "width = 1500\nedge = { x = -234, z = -1329 }",
            "edge = { points = [\n  [-234, 300, -1250],  # left\n  [-234, 0, -1329],\n"
            "  [-234, -280, -1250],\n], centre = 1 }",
        ),
    )
    bucket = parse_profile(text).geometry
    assert isinstance(bucket, Attachment)
    assert bucket.edge == ((-0.234, 0.3, -1.25), (-0.234, 0.0, -1.329), (-0.234, -0.28, -1.25))
    assert bucket.centre == 1
    assert bucket.heel[0][1] == 0.72


def hashed(text: str) -> str:
    return parse_profile(text).content_hash


def test_hash_ignores_layout_and_feels_every_number() -> None:
    text = text_of("attachment", "tilting-1800")
    base = hashed(text)
    assert base == shipped()["attachment", "tilting-1800"].content_hash
    assert hashed("# a remark\n\n" + text.replace("1800\n", "1.8e3   # wide\n", 1)) == base
    assert hashed(edited(text, ("y = 0, z = -327", "z = -327, y = -0.0"))) == base
    assert hashed(edited(text, ("z = -327", "z = -327.0000001"))) != base
    assert hashed(edited(text, ("left_corner_up = 164", "left_corner_up = 163"))) != base
    assert hashed(edited(text, ('id = "tilting-1800"', 'id = "tilting-1801"'))) != base


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            bare(text_of("machine", "published-mini")),
            "b384f407f46443a4039f2f02a2f932bda5447b5ac52c00ca96ac7523509d94e5",
        ),
        (
            bare(text_of("attachment", "tilt-rotator-1600")),
            "27d913baad2456e29afbae6faa8cd5d252195bc570e25d9432c08d8de5064cf0",
        ),
        (TWO_PIECE, "9997b1139fe41a5f0957baebd2c239f13be84ba299b0e352f5243863d83e9e1a"),
    ],
)
def test_hash_is_that_of_the_canonical_json(text: str, expected: str) -> None:
    """Stable across versions, keys added since (0.1.0 made these): a revision once recorded must be found again."""
    assert hashed(text) == expected


def test_document_is_the_file_in_its_own_units() -> None:
    profile: Profile = shipped()["machine", "crawler-14t"]
    document = json.loads(json.dumps(profile.document, allow_nan=False))
    assert document["schema"] == 1
    assert document["units"] == {"length": "mm", "angle": "deg"}
    assert document["boom"]["length"] == 4600
    assert "range" not in document["boom"], "what the file does not say is not in it"
