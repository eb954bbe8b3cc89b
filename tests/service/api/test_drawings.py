"""POST /v1/drawings: places read back off the sheet against the package, figures, words beside one another, refusals."""

import itertools
import json
import math
import re
import subprocess
import xml.etree.ElementTree as ET
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kinematics.arm import Pose
from kinematics.explain import Side, TargetPlane, explain
from kinematics.units import LengthUnit, from_metres, show
from service.api import drawing
from service.api.pose_words import left_to_do
from service.book.posing import solve
from service.book.requests import PoseIn
from tests.need import need_program
from tests.service.running import service

from .doing import Client, Json, as_asked, fitted
from .sheets import (
    CURL,
    ELEVATIONS,
    MACHINES,
    PATH,
    PLAIN,
    SVG,
    apart,
    asked,
    contrast,
    drawn,
    inside,
    levelled,
    marks,
    pairs,
    path,
    pixels_a_metre,
    posed,
    random_pose,
    svg_of,
    words,
)  # fmt: skip

WIDTHS = (360, 640, 900, 1600, 2400)
HALF_PX = 0.5
GUIDE = files("service").joinpath("guide", "drawings.md").read_text(encoding="utf-8")
FTIN: Json = {"origin_elevation": "333' 0\"", "target_elevation": "324' 9 1/2\""}


def near(a: tuple[float, float], b: tuple[float, float]) -> None:
    assert math.dist(a, b) <= HALF_PX, (a, b)


def check_side(root: ET.Element, found: Pose, which: int = 0) -> None:
    scale, (ox, oy) = pixels_a_metre(root), marks(root, "pin")["body_origin"]
    pins, points = marks(root, "pin", which), marks(root, "point", which)
    assert pins.keys() - {"body_origin", "turn_axis"} == found.pins().keys()
    for name, there in found.pins().items():
        x, z = levelled(found, there)
        near(pins[name], (ox + scale * x, oy - scale * z))
    assert points.keys() == found.places().keys()
    for name, ((x, _, z), _) in found.places().items():
        near(points[name], (ox + scale * x, oy - scale * z))


def check_front(root: ET.Element, found: Pose, which: int = 0) -> None:
    scale, points = pixels_a_metre(root), marks(root, "point", which)
    assert points.keys() == found.places().keys() - {"receiver"}
    _, y0, z0 = found.level("centre")
    ox, oy = points["centre"]
    for name, (px, py) in points.items():
        _, y, z = found.level(name)
        near((px, py), (ox - scale * (y - y0), oy - scale * (z - z0)))
    [edge] = [path(each) for each in root.iter(f"{SVG}path") if each.get("data-bar") == "edge"
              and each.get("data-side") == str(which)]  # fmt: skip
    for at, (_, y, z) in zip(edge, found.edge_line().tolist(), strict=True):
        near(at, (ox - scale * (y - y0), oy - scale * (z - z0)))


def test_every_pair_is_measured_off_the_sheet(client: Client) -> None:
    assert {machine for machine, _ in pairs()} == {*MACHINES}
    rng, widths = np.random.default_rng(20), itertools.cycle(WIDTHS)
    for machine, attachment in pairs():
        assembly = fitted(machine, attachment)
        for _ in range(2):
            found = random_pose(rng, assembly)
            for view, check in (("side", check_side), ("front", check_front)):
                body = asked(
                    as_asked(found), view=view, machine=machine, attachment=attachment, width_px=next(widths)
                )
                root = drawn(client, body)
                check(root, found)
                inside(root)
                apart(root)


@pytest.mark.parametrize("roll", [-9.0, 0.0, 9.0])
def test_a_bucket_that_is_high_beside_its_edge(client: Client, roll: float) -> None:
    """The dimension of the width clears the heel of a leaning V-bucket and stays on the sheet."""
    for angle in range(-20, 100, 10):
        side = posed({"pitch": 0.0, "roll": roll}, boom=10.0, stick=-80.0, bucket=float(angle))
        root = drawn(client, asked(side, view="front", attachment="v-bucket-1200", width_px=2400))
        inside(root)
        apart(root)


@pytest.mark.parametrize("machine", MACHINES)
def test_two_random_poses(client: Client, machine: str) -> None:
    """Both are where they belong; the first is in thin broken ink."""
    attachment = [tool for carrier, tool in pairs() if carrier == machine][-1]
    rng = np.random.default_rng(21)
    both = [random_pose(rng, fitted(machine, attachment)) for _ in range(2)]
    for view, width in itertools.product(("side", "front"), (360, 900)):
        sides = [as_asked(each, origin_elevation=101.5, target_elevation=99.0) for each in both]
        root = drawn(client, asked(*sides, view=view, machine=machine, attachment=attachment, width_px=width))
        for which, found in enumerate(both):
            (check_side if view == "side" else check_front)(root, found, which)
        bars = [
            (each, each.attrib["data-side"]) for each in root.iter(f"{SVG}path") if "data-bar" in each.attrib
        ]
        assert {side for _, side in bars} == {"0", "1"}
        assert all(("stroke-dasharray" in each.attrib) == (side == "0") for each, side in bars)
        for name in ("edge", "boom", "stick"):
            widths = [
                float(each.attrib["stroke-width"]) for each, _ in bars if each.attrib["data-bar"] == name
            ]
            assert widths == sorted(widths), name
        inside(root)
        apart(root)


def figures(root: ET.Element) -> set[str]:
    """Words on the sheet with a digit in them, but for its title block's revisions and names."""
    skipped = re.compile(r"Machine|Attachment|Scale 1:|crawler")
    return {each for each in words(root) if re.search(r"\d", each) and not skipped.match(each)}


def minus(shown: str) -> str:
    return shown.replace("-", "\u2212")


def bar_of(root: ET.Element, units: LengthUnit) -> set[str]:
    """The scale bar's two ends, by its own length."""
    parts = [each for each in root.iter(f"{SVG}rect") if "data-bar" in each.attrib]
    assert len(parts) == 4
    long = sum(float(each.attrib["width"]) for each in parts) / pixels_a_metre(root)
    return {"0", show(round(long / 0.0003048) * 0.0003048 if "ft" in units.value else round(long, 3), units)}


@pytest.mark.parametrize("units", [*LengthUnit])
def test_every_figure(client: Client, units: LengthUnit) -> None:
    """A sheet has these figures and no others, each as `units.show` writes the number of the package."""
    given = FTIN if units is LengthUnit.FTIN else {
        name: from_metres(metres, units) for name, metres in ELEVATIONS.items()
    }  # fmt: skip
    origin, level = (333 * 0.3048, (324 + 9.5 / 12) * 0.3048) if units is LengthUnit.FTIN else (101.5, 99.0)

    def said(metres: float) -> str:
        return minus(show(metres, units))

    def shown(*sides: Json, view: str = "side") -> set[str]:
        root = drawn(client, asked(*sides, view=view, units=units.value))
        return figures(root) - bar_of(root, units)

    one = solve(fitted("crawler-14t", "digging-1500"), PoseIn.model_validate(PLAIN))
    height, reach = one.height("centre"), one.reach
    assert shown(PLAIN) == {f"reach {said(reach)}", f"height {said(height)}"}
    assert shown(PLAIN | given) == {
        f"reach {said(reach)}", f"elevation {said(origin)}", f"elevation {said(origin + height)}",
        f"target {said(level)}", f"CUT {said(origin + height - level)}",
    }  # fmt: skip
    corners = {f"elevation {said(origin + one.height(name))}" for name in ("left", "centre", "right")}
    slope = "cross-slope " + minus(f"{100 * one.cross_slope:+.1f} %")
    wide = math.dist(one.level("left"), one.level("right"))
    assert shown(PLAIN | given, view="front") == corners | {
        slope, f"edge width {said(wide)}", f"target {said(level)}", f"CUT {said(origin + height - level)}",
    }  # fmt: skip
    two = PLAIN | {"angles_deg": PLAIN["angles_deg"] | {"bucket": 40.0}}
    other = solve(fitted("crawler-14t", "digging-1500"), PoseIn.model_validate(two))
    turn = explain(Side(one), Side(other)).turn
    assert turn is not None
    assert shown(PLAIN, two) == {
        f"first: reach {said(reach)}", f"first: height {said(height)}", f"second: reach {said(other.reach)}",
        f"second: height {said(other.height('centre'))}", "turned 20.0°", f"radius {said(turn.radius)}",
    }  # fmt: skip


def test_the_arc_of_one_joint(client: Client) -> None:
    """About the bucket pin, at one radius, from the first mark to the second; none where two joints moved."""
    level = {"pitch": 0.0, "roll": 0.0}
    sides = [posed(level, boom=14.0, stick=-85.0, bucket=angle) for angle in (60.0, 25.0)]
    root = drawn(client, asked(*sides))
    pins = marks(root, "pin", 1)
    near(pins["turn_axis"], pins["bucket_pin"])
    [arc] = [path(each) for each in root.iter(f"{SVG}path") if each.get("data-arc") == "edge"]
    near(arc[0], marks(root, "point", 0)["centre"])
    near(arc[-1], marks(root, "point", 1)["centre"])
    radii = [math.dist(at, pins["bucket_pin"]) for at in arc]
    assert max(radii) - min(radii) <= HALF_PX
    turns = [math.atan2(y - pins["bucket_pin"][1], x - pins["bucket_pin"][0]) for x, y in (arc[0], arc[-1])]
    by = math.degrees(turns[1] - turns[0])  # curled in: clockwise from the right
    assert by == pytest.approx(35.0, abs=0.3)
    other = sides[1] | {"angles_deg": {"boom": 20.0, "stick": -85.0, "bucket": 25.0}}
    assert "data-arc" not in svg_of(client, asked(sides[0], other))
    leaned = posed({"pitch": 3.0, "roll": 0.0}, boom=14.0, stick=-85.0, bucket=60.0)
    assert "data-arc" not in svg_of(client, asked(sides[0], leaned))


def test_the_target_and_what_is_left(client: Client) -> None:
    for target, word in ((99.0, "CUT"), (100.4, "FILL")):
        for view in ("side", "front"):
            body = asked(PLAIN | {"origin_elevation": 101.5, "target_elevation": target}, view=view)
            root = drawn(client, body)
            [line] = [path(each) for each in root.iter(f"{SVG}path") if each.get("data-level") == "target"]
            assert line[0][1] == line[1][1]
            found = solve(fitted("crawler-14t", "digging-1500"), PoseIn.model_validate(PLAIN))
            over = 101.5 + found.height("centre") - target
            _, edge = marks(root, "point")["centre"]
            assert abs(line[0][1] - edge - pixels_a_metre(root) * over) <= HALF_PX
            hatch = [each for each in root.iter(f"{SVG}line") if each.get("y1") == f"{line[0][1]:.1f}"
                     and float(each.attrib["y2"]) > line[0][1] and each.attrib["x1"] > each.attrib["x2"]]  # fmt: skip
            assert len(hatch) > 20
            assert f"{word} {show(abs(over), LengthUnit.M)}" in words(root)
    far = words(drawn(client, asked(PLAIN | {"origin_elevation": 101.5, "target_elevation": 10.0})))
    assert any(each.startswith("beyond this sheet: CUT 90.") for each in far)


def test_on_grade_only_where_nothing_is_shown() -> None:
    found = solve(fitted("crawler-14t", "digging-1500"), PoseIn.model_validate(PLAIN))
    for off, word in ((0.0004, "on grade"), (-0.0004, "on grade"), (0.0006, "cut"), (-0.0006, "fill")):
        side = Side(found, "centre", 100.0, TargetPlane(100.0 + found.height("centre") - off))
        told = left_to_do(side, "side", LengthUnit.M)
        assert told is not None
        assert told.word == word
        assert (show(told.amount_m, LengthUnit.M) == "0.000 m") == (word == "on grade")


def test_the_front_view_has_its_sides_right(client: Client) -> None:
    """Left at the left; its slope on paper is the cross-slope; past square it says so."""
    tilted = posed({"pitch": 2.0, "roll": -3.0}, boom=10.0, stick=-80.0, bucket=40.0, tilt=8.0)
    root = drawn(client, asked(tilted, view="front", attachment="tilting-1800", width_px=2400))
    points = marks(root, "point")
    (lx, ly), (rx, ry) = points["left"], points["right"]
    assert lx < rx
    found = solve(fitted(), PoseIn.model_validate(tilted))
    assert (ly - ry) / (rx - lx) == pytest.approx(found.cross_slope, abs=2 * 0.1 / (rx - lx))
    assert "left corner higher" in words(root)
    turned = posed(boom=10.0, stick=-80.0, bucket=40.0, tilt=5.0, rotate=165.0)
    root = drawn(client, asked(turned, view="front", attachment="tilt-rotator-1600"))
    assert marks(root, "point")["left"][0] > marks(root, "point")["right"][0]
    assert "Bucket turned past square: its own left corner is" in " ".join(words(root))
    short = drawn(client, asked(turned | {"angles_deg": turned["angles_deg"] | {"rotate": 60.0}}, view="front",
                                attachment="tilt-rotator-1600"))  # fmt: skip
    assert "Edge turned, seen shorter than it is." in words(short)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("view", ["side", "front"])
@pytest.mark.parametrize("units", ["m", "ft", "ftin"])
def test_crowded_sheets(client: Client, width: int, view: str, units: str) -> None:
    """Two poses with elevations, targets and a long title: nothing off the sheet, on other words or too small to read."""
    lengths = {"m": ELEVATIONS, "ft": {"origin_elevation": 333.0, "target_elevation": 324.8}, "ftin": FTIN}[
        units
    ]
    sides = [each | lengths for each in CURL]
    root = drawn(
        client, asked(*sides, view=view, units=units, width_px=width, title="W" * 40 + " curled " + "m" * 32)
    )
    inside(root)
    apart(root)
    assert root.attrib["width"] == str(width)
    assert min(float(each.attrib["font-size"]) for each in root.iter(f"{SVG}text")) >= 11.0
    told = " ".join(words(root))
    assert "Advisory only: see /guide/cautions" in words(root)
    assert told.count("CUT") == 2


def test_ink_on_paper(client: Client) -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    for view in ("side", "front"):
        svg = svg_of(client, asked(*CURL, view=view))
        assert "opacity" not in svg
        colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
        assert drawing.PAPER in colours
        assert all(contrast(each, drawing.PAPER) >= 7.0 for each in colours - {drawing.PAPER})


def test_it_can_be_read_without_being_seen(client: Client) -> None:
    root = drawn(client, asked(*CURL, title="Curl"))
    assert root.attrib["role"] == "img"
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert title.text == "Curl"
    assert desc is not None
    assert desc.text is not None
    assert root.attrib["aria-labelledby"].split() == [title.attrib["id"], desc.attrib["id"]]
    for each in words(root):
        if figure := re.search(r"(?:reach|elevation|target|CUT|radius) \S+ m$", each):
            assert figure[0] in desc.text, each
    assert "First: edge centre at reach " in desc.text
    revisions = [
        client.get(f"/v1/{kind}")["revision"] for kind in ("machines/crawler-14t", "attachments/digging-1500")
    ]
    assert {f"Machine crawler-14t, revision {revisions[0][:8]}", f"Attachment digging-1500, revision {revisions[1][:8]}",
            "Side view, seen from the right", "Lengths in m"} <= {*words(root)}  # fmt: skip


def test_names_are_words_and_nothing_else(client: Client) -> None:
    name = "<script>alert('1')</script> & \"two\" ]]> &lt;"
    svg = svg_of(client, asked(PLAIN, title=name))
    assert "<script" not in svg
    root = ET.fromstring(svg)  # noqa: S314  # our own
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text == name
    assert {each.tag.removeprefix(SVG) for each in root.iter()} <= {
        "svg", "title", "desc", "rect", "path", "line", "circle", "text",
    }  # fmt: skip
    assert not re.search(
        r"href|url\(|style=|\bon\w+=|https?://", svg.replace("http://www.w3.org/2000/svg", "")
    )
    assert set(re.findall(r'font-family="([^"]*)"', svg)) == {drawing.FAMILY}


def test_png(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    for width in (360, 900, 2400):
        body = asked(*CURL, width_px=width)
        for path_, accept in ((f"{PATH}?format=png", "*/*"), (PATH, "text/html, image/png;q=0.9")):
            answer = client.http.post(path_, json=body, headers={"accept": accept})
            assert answer.headers["content-type"] == "image/png"
            assert answer.content.startswith(b"\x89PNG\r\n\x1a\n")
            size = [int.from_bytes(answer.content[k : k + 4], "big") for k in (16, 20)]
            assert size == [width, int(drawn(client, body).attrib["height"])]
    told = client.http.post(f"{PATH}?format=svg", json=asked(PLAIN), headers={"accept": "image/png"})
    assert told.headers["content-type"].startswith("image/svg+xml")
    monkeypatch.setattr(drawing, "_writes", lambda: False)
    assert client.refused(f"{PATH}?format=png", asked(PLAIN), 422) == {"": "no-font"}


def test_the_same_again(client: Client) -> None:
    for kind in ("svg", "png"):
        answers = [client.http.post(f"{PATH}?format={kind}", json=asked(*CURL)).content for _ in range(2)]
        assert answers[0] == answers[1]


def test_refused(client: Client) -> None:
    def faults(*sides: Json, **more: Any) -> dict[str, str]:
        return client.refused(PATH, asked(*sides, **more), 422)

    beyond = PLAIN | {"angles_deg": PLAIN["angles_deg"] | {"boom": 170.0}}
    assert faults(beyond, PLAIN | {"target_elevation": 99.0}) == {
        "/sides/0/angles_deg/boom": "beyond-joint", "/sides/1/target_elevation": "one-sided",
    }  # fmt: skip
    assert faults(PLAIN | {"origin_elevation": 100.0}, PLAIN) == {"/sides/1/origin_elevation": "one-sided"}
    assert faults(PLAIN | {"origin_elevation": 1e9, "target_elevation": "no"}) == {
        "/sides/0/origin_elevation": "length-absurd", "/sides/0/target_elevation": "not-a-number",
    }  # fmt: skip
    tooth = PLAIN | {"edge_point": "tooth_left", "angles_deg": PLAIN["angles_deg"] | {"tilt": 0.0}}
    assert faults(tooth, attachment="tilting-1800") == {"/sides/0/edge_point": "no-such-point"}
    assert {*faults()} == {*faults(PLAIN, PLAIN, PLAIN)} == {"/sides"}
    assert {*faults(PLAIN, colour="red")} == {"/colour"}
    assert {*faults(PLAIN | {"colour": "red"})} == {"/sides/0/colour"}
    assert {*faults(PLAIN, view="top")} == {"/view"}
    for width in (359, 2401, 900.5, "900"):
        assert {*faults(PLAIN, width_px=width)} == {"/width_px"}
    for title in ("", " ", "a" * 81, "two\nlines", "\u0001", "\uffff"):
        assert {*faults(PLAIN, title=title)} == {"/title"}, title
    assert "unknown-machine" in client.refused(PATH, asked(PLAIN, machine="none"), 422).values()
    client.refused(f"{PATH}?format=gif", asked(PLAIN), 422)


def test_the_guide(tmp_path: Path) -> None:
    bash = need_program("bash")
    need_program("curl")
    commands = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
    with service(tmp_path / "data") as address:
        for command in commands:
            script = command.replace("localhost:8311", address)
            subprocess.run([bash, "-euo", "pipefail", "-c", script], check=True, timeout=120, cwd=tmp_path)
    dig = ET.parse(tmp_path / "dig.svg").getroot()  # noqa: S314  # our own
    assert {each.get("data-ground") for each in dig.iter(f"{SVG}path")} >= {"earth", "surface", "wanted"}
    command = commands[0]
    root = ET.parse(tmp_path / "pose.svg").getroot()  # noqa: S314  # our own
    body = json.loads(command.partition("-d '")[2].rpartition("'")[0])
    assert body["title"] in words(root)
    assert any(each.startswith("second: CUT ") for each in words(root))
    for name in (
        "width_px",
        "edge_point",
        "origin_elevation",
        "target_elevation",
        "units",
        "side",
        "front",
        "desc",
    ):
        assert f"`{name}`" in GUIDE
