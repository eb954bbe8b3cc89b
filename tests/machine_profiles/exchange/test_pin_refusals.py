"""Tables of pins that say something else than a machine: every fault at once, nothing guessed."""

import contextlib
import dataclasses
import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.arm import pose
from kinematics.errors import Refused
from kinematics.machine import Point, Range
from machine_profiles.exchange import (
    Attitude,
    PinTable,
    Stroke,
    Told,
    attachment_text,
    machine_text,
    read_pin_table,
)

from .models import pairs
from .surveying import seen, table, told_of

ASSEMBLY = pairs()["crawler-14t with digging-1500"][0]
LEVEL = Attitude(0.0, 0.0)
FOUND = pose(ASSEMBLY, pitch=0.0, roll=0.0, boom=0.5, stick=-1.6, bucket=1.0)
PLACES = seen(FOUND)
TOLD = told_of(ASSEMBLY, attitude=LEVEL)
ORIGIN = (10.0, 20.0, 30.0)


def read(places: dict[str, Point] = PLACES, heading: float = 0.4) -> PinTable:
    return read_pin_table(table(places, "mm", attitude=LEVEL, heading=heading, shift=ORIGIN))


def refusal(act: Callable[[], object]) -> list[tuple[str, str]]:
    with pytest.raises(Refused) as refused:
        act()
    for fault in refused.value.faults:
        assert fault.found, fault
        assert fault.expected, fault
    return [(fault.code, fault.where) for fault in refused.value.faults]


def test_the_whole_table_is_taken() -> None:
    assert 'kind = "machine"' in machine_text(read(), TOLD)
    assert 'kind = "attachment"' in attachment_text(read(), dataclasses.replace(TOLD, strokes={}, ranges={}))


@pytest.mark.parametrize("heading", [
    "", "pin,x,y,z", "pin,x_mm,y_m,z_mm", "pin,x_mm,y_mm", "pin,x_yd,z_yd", "pin;x_mm;z_mm", "pin,z_mm,x_mm",
    "name,x_mm,z_mm", "pin,x_mm,y_mm,z_mm,note", "PIN,X_MM,Z_MM",
])  # fmt: skip
def test_a_heading_that_is_none(heading: str) -> None:
    code = "wrong-heading" if heading else "not-a-table"
    assert [
        c for c, _ in refusal(lambda: read_pin_table(heading + ("\nstick_pin,1,2\n" if heading else "")))
    ] == [code]


def test_all_faults_of_rows_at_once() -> None:
    text = (
        "pin,x_mm,z_mm\nstick_pin,1,2\nstick_pinn,1,2\nstick_pin,3,4\nbucket_pin,1\nidler_pin,one,2\n"
        'link_pin,"1,5",2\nidler_pivot,1e300,nan\nboom_foot_pin,1e300,2\n'
    )
    assert refusal(lambda: read_pin_table(text)) == [
        ("unknown-pin", "line 3"), ("given-twice", "line 4"), ("not-a-table", "line 5"), ("not-a-number", "line 6"),
        ("not-a-number", "line 7"), ("not-a-number", "line 8"), ("out-of-range", "line 9"),
    ]  # fmt: skip


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    for whole in (text, f"pin,x_mm,z_mm\n{text}"):
        with contextlib.suppress(Refused):
            assert read_pin_table(whole).unit == "mm"


@pytest.mark.parametrize("name", ["swing_axis", "boom_foot_pin", "stick_pin", "bucket_pin", "left", "right"])
def test_a_pin_that_must_be_there(name: str) -> None:
    fewer = {key: place for key, place in PLACES.items() if key != name}
    assert ("missing-pin", name) in refusal(lambda: machine_text(read(fewer), TOLD))


@pytest.mark.parametrize(
    "name",
    [
        "boom_cylinder_foot",
        "stick_cylinder_eye",
        "idler_pivot",
        "idler_pin",
        "link_pin",
        "mast_top",
        "receiver",
    ],
)
def test_half_a_part_is_none(name: str) -> None:
    fewer = {key: place for key, place in PLACES.items() if key != name}
    assert ("half-described", name) in refusal(lambda: machine_text(read(fewer), TOLD))


def test_a_left_handed_table() -> None:
    """North before east: the plane of the pins is found all the same, only the corners tell."""
    swapped = {name: (y, x, z) for name, (x, y, z) in PLACES.items()}
    assert refusal(lambda: machine_text(read(swapped), TOLD)) == [("mirrored", "left")]


def test_corners_swapped() -> None:
    swapped = PLACES | {"left": PLACES["right"], "right": PLACES["left"]}
    assert refusal(lambda: machine_text(read(swapped), TOLD)) == [("mirrored", "left")]


def side(change: Callable[[float, float], tuple[float, float]]) -> PinTable:
    """A side view whose coordinates were changed."""
    rows = [
        f"{name},{x},{z}"
        for name, place in PLACES.items() if name not in {"receiver", "mast_top"}
        for x, z in [change(place[0], place[2])]
    ]  # fmt: skip
    return read_pin_table("pin,x_m,z_m\n" + "\n".join(rows))


FLAT = dataclasses.replace(TOLD, boom_foot_left=-0.06)


def test_a_side_view_is_taken() -> None:
    assert "left = -60" in machine_text(side(lambda x, z: (x, z)), FLAT).replace("-0.06", "-60")


def test_a_side_view_from_the_other_side() -> None:
    assert refusal(lambda: machine_text(side(lambda x, z: (-x, z)), FLAT)) == [("mirrored", "bucket_pin")]


def test_a_side_view_upside_down() -> None:
    """Screen coordinates grow downwards: cylinders then turn their links the other way."""
    told = refusal(lambda: machine_text(side(lambda x, z: (x, -z)), FLAT))
    assert told == [("mirrored", "boom"), ("mirrored", "stick")]


def test_a_side_view_upside_down_of_a_machine_known_by_ranges() -> None:
    text = "pin,x_mm,z_mm\nswing_axis,0,0\nboom_foot_pin,250,-1700\nstick_pin,3250,-5700\nbucket_pin,3250,-3200\n"
    ranges = {"boom": Range(-0.7, 1.0), "stick": Range(-2.6, -0.5), "bucket": Range(-0.5, 2.3)}
    told = Told("our-digger", "Ours", "Drawing.", LEVEL, {}, ranges, boom_foot_left=0.0)
    wrong = refusal(lambda: machine_text(read_pin_table(text), told))
    assert wrong == [("beyond-joint", "boom"), ("beyond-joint", "stick")]


def test_what_a_side_view_does_not_show() -> None:
    view = side(lambda x, z: (x, z))
    assert refusal(lambda: machine_text(view, TOLD)) == [("missing-field", "boom_foot_left")]
    leaning = dataclasses.replace(FLAT, attitude=Attitude(0.0, 0.02))
    assert refusal(lambda: machine_text(view, leaning)) == [("no-side-view", "roll")]
    assert ("no-side-view", "") in refusal(
        lambda: attachment_text(view, dataclasses.replace(FLAT, strokes={}))
    )
    assert refusal(lambda: machine_text(read(), FLAT)) == [("not-both", "boom_foot_left")]


def test_pins_off_the_plane() -> None:
    """One pin measured on its outer end, 80 mm to the left."""
    x, y, z = PLACES["stick_pin"]
    told = refusal(lambda: machine_text(read(PLACES | {"stick_pin": (x, y + 0.08, z)}), TOLD))
    assert ("out-of-plane", "stick_pin") in told
    within = PLACES | {"stick_pin": (x, y + 0.004, z)}
    assert 'kind = "machine"' in machine_text(read(within), TOLD)


def test_a_roll_that_was_not_said_shows() -> None:
    leaning = read_pin_table(table(PLACES, "mm", attitude=Attitude(0.0, 0.05), heading=1.0, shift=ORIGIN))
    assert {code for code, _ in refusal(lambda: machine_text(leaning, TOLD))} == {"out-of-plane"}


def test_an_arm_tucked_in_does_not_say_where_it_looks() -> None:
    tucked = seen(pose(ASSEMBLY, pitch=0.0, roll=0.0, boom=1.1, stick=-2.5, bucket=1.0))
    near = PLACES["boom_foot_pin"][0] + 0.3
    places = tucked | {"bucket_pin": (near, *tucked["bucket_pin"][1:])}
    assert refusal(lambda: machine_text(read(places), TOLD)) == [("looks-nowhere", "bucket_pin")]


def test_a_mast_out_of_the_plane() -> None:
    x, y, z = PLACES["mast_top"]
    leaning = read(PLACES | {"mast_top": (x, y + 0.05, z)})
    assert refusal(lambda: machine_text(leaning, TOLD)) == [("out-of-plane", "mast_top")]


def test_strokes_and_ranges_go_with_the_pins() -> None:
    strokes = dict(TOLD.strokes)
    wrong = strokes | {"boom": Stroke(1.0, 1.2, 1), "tilt": Stroke(0.4, 0.6, 1)}
    del wrong["stick"]
    told = dataclasses.replace(TOLD, strokes=wrong, ranges={"idler": Range(0.0, 1.0)})
    assert refusal(lambda: machine_text(read(), told)) == [
        ("missing-joint", "stick"), ("no-such-joint", "tilt"), ("no-such-joint", "idler"),
    ]  # fmt: skip
    short = dataclasses.replace(TOLD, strokes=strokes | {"boom": Stroke(1.0, 1.2, 1)})
    assert refusal(lambda: machine_text(read(), short)) == [("out-of-stroke", "boom")]
    silent = dataclasses.replace(TOLD, strokes=strokes | {"boom": Stroke(1.417, 2.43, None)})
    assert refusal(lambda: machine_text(read(), silent)) == [("half-described", "boom")]
    loud = dataclasses.replace(
        TOLD, strokes=strokes | {"bucket": dataclasses.replace(strokes["bucket"], extending=1)}
    )
    assert refusal(lambda: machine_text(read(), loud)) == [("half-described", "bucket")]


def test_a_heel_that_is_not_square() -> None:
    x, y, z = PLACES["heel_left"]
    bare = dataclasses.replace(TOLD, strokes={}, ranges={})
    askew = read(PLACES | {"heel_left": (x + 0.06, y, z)})
    assert refusal(lambda: attachment_text(askew, bare)) == [("not-square", "heel")]
    aside = read(PLACES | {"heel_left": (x, y + 0.06, z)})
    assert refusal(lambda: attachment_text(aside, bare)) == [("not-square", "heel")]
    assert ("no-such-joint", "boom") in refusal(lambda: attachment_text(read(), TOLD))


def test_a_heading_of_any_degree_gives_one_text() -> None:
    first = machine_text(read(heading=0.0), TOLD)
    for heading in (math.pi, -2.0, 1.5707963):
        assert machine_text(read(heading=heading), TOLD).splitlines()[:9] == first.splitlines()[:9]


SWINGING = pairs()["compact-1t8 with compact-bucket-400"][0]


def swung(angle: float) -> PinTable:
    places = seen(pose(SWINGING, pitch=0.0, roll=0.0, swing_boom=angle, boom=0.5, stick=-1.4, bucket=1.0))
    return read({name: place for name, place in places.items() if name not in {"receiver", "mast_top"}})


@pytest.mark.parametrize(("angle", "side"), [(0.1, "left"), (-0.1, "right")])
def test_a_swing_boom_that_was_not_straight(angle: float, side: str) -> None:
    """Its pins still lie in one plane; only the body shows that it was turned, to the left anticlockwise from above."""
    told = told_of(SWINGING, attitude=LEVEL)
    assert 'kind = "machine"' in machine_text(swung(0.0), told)
    with pytest.raises(Refused) as refused:
        machine_text(swung(angle), told)
    [fault] = refused.value.faults
    assert (fault.code, fault.where) == ("not-square", "body_left")
    assert f"5.73 deg to the {side}" in fault.found


def test_a_swing_boom_needs_marks_on_the_body() -> None:
    whole = swung(0.0)
    fewer = {name: place for name, place in whole.places.items() if name not in {"body_left", "body_right"}}
    bare = read_pin_table(table(fewer, "mm", attitude=LEVEL, heading=0.0, shift=ORIGIN))
    told = told_of(SWINGING, attitude=LEVEL)
    assert refusal(lambda: machine_text(bare, told)) == [
        ("missing-pin", "body_left"),
        ("missing-pin", "body_right"),
    ]
