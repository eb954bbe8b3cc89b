"""POST /v1/drawings with a window: one scale from drawing to drawing, places read back within half a pixel, ground."""

import math
import re
from importlib.resources import files
from typing import Any

import pytest

from service.api import drawing
from service.book.posing import solve
from service.book.requests import PoseIn

from .doing import Client, Json, fitted
from .sheets import (
    CURL,
    PATH,
    PLAIN,
    SVG,
    apart,
    asked,
    boxes,
    contrast,
    drawn,
    levelled,
    marks,
    path,
    posed,
    svg_of,
)

HALF_PX = 0.5
SIDE = {"left_m": -1.0, "right_m": 9.0, "bottom_m": -3.5, "top_m": 4.0}
FRONT = {"left_m": -2.0, "right_m": 2.0, "bottom_m": -4.5, "top_m": -1.5}
GROUND: Json = {
    "first_reach_m": 3.0, "step_m": 0.5, "heights_m": [-1.7, -1.8, -2.2, -2.0, -1.7],
    "wanted": [{"reach_m": 3.2, "height_m": -2.1}, {"reach_m": 4.8, "height_m": -2.3}],
}  # fmt: skip


def at_px(window: Json, width: int, x: float, z: float) -> tuple[float, float]:
    """Where a place belongs by the window's own definition."""
    scale = width / (window["right_m"] - window["left_m"])
    return (x - window["left_m"]) * scale, (window["top_m"] - z) * scale


@pytest.mark.parametrize("width", [360, 900, 1600])
def test_pins_stand_where_the_window_says(client: Client, width: int) -> None:
    body = asked(*CURL, window=SIDE, width_px=width)
    root = drawn(client, body)
    assert float(root.attrib["height"]) == round(width * 7.5 / 10.0)
    for which, side in enumerate(CURL):
        pose = {name: side[name] for name in ("angles_deg", "attitude_deg")}
        found = solve(fitted("crawler-14t", "digging-1500"), PoseIn.model_validate(pose))
        seen = marks(root, "pin", which)
        assert {"stick_pin", "bucket_pin", "boom_foot_pin", "link_pin"} <= set(seen)
        for name, there in found.pins().items():
            assert math.dist(seen[name], at_px(SIDE, width, *levelled(found, there))) <= HALF_PX, name
        x, _, z = found.level("centre")
        edge = marks(root, "point", which)["centre"]
        assert math.dist(edge, at_px(SIDE, width, x, z)) <= HALF_PX


def test_the_front_view_has_the_corners_where_the_window_says(client: Client) -> None:
    root = drawn(client, asked(posed(boom=14.0, stick=-85.0, bucket=60.0), view="front", window=FRONT))
    pose = {
        "angles_deg": {"boom": 14.0, "stick": -85.0, "bucket": 60.0},
        "attitude_deg": {"pitch": 0.4, "roll": -0.2},
    }
    found = solve(fitted("crawler-14t", "digging-1500"), PoseIn.model_validate(pose))
    for name in ("left", "centre", "right"):
        _, y, z = found.level(name)
        assert math.dist(marks(root, "point")[name], at_px(FRONT, 900, -y, z)) <= HALF_PX


def test_the_scale_stays_from_pose_to_pose(client: Client) -> None:
    scales = {
        drawn(client, asked(posed(boom=boom, stick=-85.0, bucket=60.0), window=SIDE)).attrib["data-scale"]
        for boom in (-30.0, 0.0, 30.0, 60.0)
    }
    assert scales == {"90.000000"}


def test_words_are_inside_and_beside_one_another(client: Client) -> None:
    for look in (SIDE, {"left_m": 4.0, "right_m": 6.5, "bottom_m": -3.4, "top_m": -1.4}):
        root = drawn(client, asked(*CURL, window=look))
        wide, high = float(root.attrib["width"]), float(root.attrib["height"])
        for told, box in boxes(root):
            assert all(0.0 <= x <= wide and 0.0 <= y <= high for x, y in box), told
        apart(root)


def test_what_lies_outside_is_not_named(client: Client) -> None:
    beside = {"left_m": 20.0, "right_m": 30.0, "bottom_m": -3.5, "top_m": 4.0}
    assert boxes(drawn(client, asked(PLAIN, window=beside))) == []


def test_before_a_question_is_answered_no_figure_is_told(client: Client) -> None:
    root = drawn(client, asked(*CURL, view="front", window=FRONT | {"words": False}))
    assert boxes(root) == []
    [told] = [each.text for each in root if each.tag == f"{SVG}desc"]
    assert told is not None
    assert not re.search(r"\d", told)
    assert marks(root, "point", 1).keys() >= {"left", "centre", "right"}


def test_no_dimension_and_no_title_block(client: Client) -> None:
    svg = svg_of(client, asked(*CURL, window=SIDE, title="Curl"))
    assert "1:" not in re.sub(r"<desc.*?</desc>", "", svg)
    assert 'data-bar="0"' not in svg
    assert '<title id="pose-title">Curl</title>' in svg


def test_ground_is_drawn_where_it_is(client: Client) -> None:
    root = drawn(client, asked(PLAIN, window=SIDE, ground=GROUND))
    [surface] = [each for each in root.iter(f"{SVG}path") if each.get("data-ground") == "surface"]
    for k, (at, height) in enumerate(zip(path(surface), GROUND["heights_m"], strict=True)):
        assert math.dist(at, at_px(SIDE, 900, 3.0 + 0.5 * k, height)) <= HALF_PX
    [wanted] = [each for each in root.iter(f"{SVG}path") if each.get("data-ground") == "wanted"]
    for at, mark in zip(path(wanted), GROUND["wanted"], strict=True):
        assert math.dist(at, at_px(SIDE, 900, mark["reach_m"], mark["height_m"])) <= HALF_PX
    assert "Ground as it was given." in svg_of(client, asked(PLAIN, window=SIDE, ground=GROUND))


def test_a_target_is_not_hatched_where_ground_is_drawn(client: Client) -> None:
    def lines(body: Json) -> int:
        return len(list(drawn(client, body).iter(f"{SVG}line")))

    plain, grounded = asked(*CURL, window=SIDE), asked(*CURL, window=SIDE, ground=GROUND)
    assert lines(grounded) < lines(plain) - 20


def test_words_can_be_read_on_the_earth(client: Client) -> None:
    svg = svg_of(client, asked(PLAIN, window=SIDE, ground=GROUND))
    [earth] = re.findall(r'fill="(#[0-9a-f]{6})" data-ground="earth"', svg)
    assert contrast(drawing.INK, earth) >= 7.0
    assert contrast(drawing.ACCENT, earth) >= 4.5


@pytest.mark.parametrize(
    ("more", "faults"),
    [
        ({"window": SIDE | {"right_m": -1.0}}, {"/window/right_m": "range-swapped"}),
        ({"window": SIDE | {"right_m": -2.0, "top_m": -4.0}},
         {"/window/right_m": "range-swapped", "/window/top_m": "range-swapped"}),
        ({"window": SIDE | {"right_m": 0.0}}, {"/window": "out-of-range"}),
        ({"ground": GROUND}, {"/ground": "ground-alone"}),
        ({"window": FRONT, "view": "front", "ground": GROUND}, {"/ground": "ground-alone"}),
        ({"window": SIDE | {"left_m": -51.0}}, {"/window/left_m": "out-of-range"}),
        ({"window": SIDE, "ground": GROUND | {"step_m": 0.0}}, {"/ground/step_m": "out-of-range"}),
        ({"window": SIDE, "ground": GROUND | {"wanted": GROUND["wanted"][:1]}}, {"/ground/wanted": "wrong-length"}),
        ({"window": SIDE, "ground": GROUND, "sides": [posed(boom=99.0, stick=-85.0, bucket=60.0)]},
         {"/sides/0/angles_deg/boom": "beyond-joint"}),
    ],
)  # fmt: skip
def test_refused(client: Client, more: dict[str, Any], faults: dict[str, str]) -> None:
    answer = client.http.post(PATH, json=asked(*CURL) | more)
    assert answer.status_code == 422, answer.text
    assert {each["pointer"]: each["code"] for each in answer.json()["errors"]} == faults


def test_faults_of_window_and_poses_are_told_together(client: Client) -> None:
    body = asked(posed(boom=99.0, stick=-85.0, bucket=60.0), window=SIDE | {"right_m": -2.0})
    answer = client.http.post(PATH, json=body)
    assert {each["pointer"] for each in answer.json()["errors"]} == {
        "/window/right_m",
        "/sides/0/angles_deg/boom",
    }


def test_as_a_picture(client: Client) -> None:
    answer = client.http.post(f"{PATH}?format=png", json=asked(*CURL, window=SIDE, ground=GROUND))
    assert answer.status_code == 200
    assert answer.content.startswith(b"\x89PNG")


def test_every_ink_is_one_that_pages_turn_at_night(client: Client) -> None:
    style = files("service").joinpath("page", "classroom.css").read_text(encoding="utf-8")
    bodies = [
        asked(*CURL, window=SIDE),
        asked(PLAIN, window=SIDE, ground=GROUND),
        asked(*CURL, view="front", window=FRONT),
    ]
    for body in bodies:
        for name, ink in set(re.findall(r'(fill|stroke)="(#[0-9a-f]{6})"', svg_of(client, body))):
            assert f'.drawn svg [{name}="{ink}"]' in style, (name, ink)
