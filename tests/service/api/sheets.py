"""A drawing asked for and read back: its words, marks and inks; whether all is on the sheet, words beside one another."""

import itertools
import math
import re
import xml.etree.ElementTree as ET
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from PIL import ImageFont

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.errors import Refused
from machine_profiles import check_pair, shipped

from .doing import Client, Json

SVG = "{http://www.w3.org/2000/svg}"
CONDENSED = 0.9
"""The letters the service has are the sheet's serif ones at this width; a digit is 0.636 of its size in the wide ones."""
Box = list[tuple[float, float]]
PATH = "/v1/drawings"
MACHINES = sorted(name for kind, name in shipped() if kind == "machine")
LEAN = {"pitch": 0.4, "roll": -0.2}
ELEVATIONS: Json = {"origin_elevation": 101.5, "target_elevation": 99.0}


def posed(lean: Json = LEAN, *, more: Json | None = None, **angles: float) -> Json:
    return {"angles_deg": angles, "attitude_deg": lean, **(more or {})}


PLAIN = posed(boom=30.0, stick=-100.0, bucket=60.0)
CURL = [posed(boom=14.0, stick=-85.0, bucket=angle, more=ELEVATIONS) for angle in (60.0, 25.0)]


def asked(*sides: Json, view: str = "side", **more: Any) -> Json:
    pair = {"machine": "crawler-14t", "attachment": "digging-1500", "units": "m"}
    return pair | {"view": view, "sides": [*sides]} | more


def svg_of(client: Client, body: Json) -> str:
    answer = client.http.post(PATH, json=body)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("image/svg+xml")
    return str(answer.text)


def drawn(client: Client, body: Json) -> ET.Element:
    return ET.fromstring(svg_of(client, body))  # noqa: S314  # our own


def words(root: ET.Element) -> list[str]:
    return ["".join(each.itertext()) for each in root.iter(f"{SVG}text")]


def marks(root: ET.Element, kind: str, which: int = 0) -> dict[str, tuple[float, float]]:
    """Where the circles of pins or points are, pixels."""
    return {
        each.attrib[f"data-{kind}"]: (float(each.attrib["cx"]), float(each.attrib["cy"]))
        for each in root.iter(f"{SVG}circle")
        if f"data-{kind}" in each.attrib and each.attrib.get("data-side", str(which)) == str(which)
    }


def pixels_a_metre(root: ET.Element) -> float:
    """As the sheet tells it to people: 96 pixels an inch of paper (CSS Values 4, 6.2), 0.0254 m an inch."""
    [ratio] = [found[1] for each in words(root) if (found := re.search(r"1:(\d+) at 96 px", each))]
    return 96.0 / 0.0254 / int(ratio)


def path(element: ET.Element) -> list[tuple[float, float]]:
    """The absolute places of a path."""
    numbers = [
        float(each)
        for each in re.findall(r"(?<![a-z\d.])-?\d+\.\d+", re.split("[a-z]", element.attrib["d"])[0])
    ]
    return list(zip(numbers[::2], numbers[1::2], strict=False))


def boxes(root: ET.Element) -> list[tuple[str, Box]]:
    """The corners of every text, by the widths of our own letters."""
    found = []
    for each in root.iter(f"{SVG}text"):
        size, x, y = (float(each.attrib[name]) for name in ("font-size", "x", "y"))
        told = "".join(each.itertext())
        long = breadth(told, each.get("font-weight") == "bold") * size
        left = {"start": 0.0, "middle": -0.5, "end": -1.0}[each.get("text-anchor", "start")] * long
        turn = re.match(r"rotate\((\S+) ", each.get("transform", ""))
        way = math.radians(float(turn[1])) if turn else 0.0
        c, s = math.cos(way), math.sin(way)
        flat = [
            (left, -0.76 * size),
            (left + long, -0.76 * size),
            (left + long, 0.24 * size),
            (left, 0.24 * size),
        ]
        found.append((told, [(x + c * u - s * v, y + s * u + c * v) for u, v in flat]))
    return found


@cache
def letters(bold: bool) -> ImageFont.FreeTypeFont:
    name = f"DejaVuSerifCondensed{'-Bold' if bold else ''}.ttf"
    return ImageFont.truetype(str(files("service.paper").joinpath(name)), 200)


@cache
def breadth(told: str, bold: bool) -> float:
    return float(letters(bold).getlength(told)) / 200 / CONDENSED


def inside(root: ET.Element) -> None:
    """No place of any mark, line or word is off the sheet."""
    wide, high = float(root.attrib["width"]), float(root.attrib["height"])
    assert root.attrib["viewBox"] == f"0 0 {wide:g} {high:g}"
    places = [at for _, box in boxes(root) for at in box]
    for each in root.iter():
        number = {
            name: float(value) for name, value in each.attrib.items() if re.fullmatch(r"-?[\d.]+", value)
        }
        match each.tag.removeprefix(SVG):
            case "path":
                places += path(each)
            case "line":
                places += [(number["x1"], number["y1"]), (number["x2"], number["y2"])]
            case "circle":
                r = number["r"]
                places += [(number["cx"] + k * r, number["cy"] + k * r) for k in (-1, 1)]
            case "rect":
                x, y = number.get("x", 0.0), number.get("y", 0.0)
                places += [(x, y), (x + number["width"], y + number["height"])]
    assert len(places) > 20
    off = [(x, y) for x, y in places if not (0.0 <= x <= wide and 0.0 <= y <= high)]
    assert off == []


def apart(root: ET.Element) -> None:
    """No two texts share a pixel: some edge of one has the other wholly beyond it (separating axes of convex shapes)."""
    for (one, a), (other, b) in itertools.combinations(boxes(root), 2):
        assert separate(a, b), (one, other)


def separate(a: Box, b: Box) -> bool:
    for (px, py), (qx, qy) in itertools.chain(*(zip(box, [*box[1:], box[0]], strict=True) for box in (a, b))):
        nx, ny = qy - py, px - qx
        mine, yours = ([nx * x + ny * y for x, y in box] for box in (a, b))
        if max(mine) < min(yours) or max(yours) < min(mine):
            return True
    return False


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, relative luminance and contrast ratio."""

    def luminance(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def levelled(found: Pose, there: tuple[float, float, float]) -> tuple[float, float]:
    """(x, z) of a body place: z along plumb, x level in the body's x-z plane, by the definition of the frames."""
    nx, ny, nz = found.plumb
    x, y, z = there
    return (nz * x - nx * z) / math.hypot(nx, nz), nx * x + ny * y + nz * z


@cache
def pairs() -> list[tuple[str, str]]:
    """Every attachment of ours on every machine of ours on which it closes."""
    tools = sorted(name for kind, name in shipped() if kind == "attachment")
    return [
        (machine, tool) for machine in MACHINES for tool in tools
        if check_pair(shipped()["machine", machine], shipped()["attachment", tool]).ok
    ]  # fmt: skip


def spanning() -> list[tuple[str, str]]:
    """Of these, some two for each machine and at least one for each attachment: what takes long need not see all."""
    tools = {machine: [tool for carrier, tool in pairs() if carrier == machine] for machine in MACHINES}
    ends = {(machine, some[k]) for machine, some in tools.items() for k in (0, -1)}
    rare = {next(each for each in pairs() if each[1] == tool) for _, tool in pairs()}
    chosen = sorted(ends | rare)
    assert {machine for machine, _ in chosen} == {*MACHINES}
    return chosen


def random_pose(rng: np.random.Generator, assembly: Assembly) -> Pose:
    while True:
        angles = {name: rng.uniform(span.low, span.high) for name, span in assembly.ranges.items()}
        pitch, roll = rng.uniform(-0.17, 0.17, 2).tolist()
        try:
            return pose(assembly, pitch=pitch, roll=roll, **angles)
        except Refused as refused:
            if [fault.code for fault in refused.faults] != ["edge-plumb"]:
                raise
