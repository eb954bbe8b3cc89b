"""Figures of notebooks: values where the axes say, gaps where there is none, refusals."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from kinematics.errors import Refused
from service.figure import Figure

SVG = "{http://www.w3.org/2000/svg}"


def drawn(figure: Figure) -> ET.Element:
    return ET.fromstring(figure.svg())  # noqa: S314  # our own text


def paths(root: ET.Element) -> list[list[tuple[float, float]]]:
    return [
        [(float(x), float(y)) for x, y in re.findall(r"[ML]([\d.-]+) ([\d.-]+)", each.attrib["d"])]
        for each in root.iter(f"{SVG}path")
    ]


def ticks(root: ET.Element, anchor: str) -> dict[float, float]:
    """Value to pixel of one axis, from its figures."""
    found = {}
    for each in root.iter(f"{SVG}text"):
        told = (each.text or "").replace("\u2212", "-")
        if each.attrib.get("text-anchor") == anchor and re.fullmatch(r"-?[\d.]+", told):
            found[float(told)] = float(each.attrib["x" if anchor == "middle" else "y"])
    return found


def test_values_stand_where_the_axes_say() -> None:
    figure = Figure("A <line>", "reach, m", "height, m")
    figure.line([1.0, 3.0, 7.0], [-2.0, 0.5, 4.0], "edge")
    root = drawn(figure)
    [line] = paths(root)
    across, up = ticks(root, "middle"), {value: py - 5.0 for value, py in ticks(root, "end").items()}
    assert len(across) >= 4
    assert len(up) >= 4
    for (px, py), (x, y) in zip(line, [(1.0, -2.0), (3.0, 0.5), (7.0, 4.0)], strict=True):
        for pixel, value, marks in ((px, x, across), (py, y, up)):
            slope, start = np.polyfit(list(marks), list(marks.values()), 1)
            assert abs(start + slope * value - pixel) <= 0.2
    title, told = (root.find(f"{SVG}{name}") for name in ("title", "desc"))
    assert title is not None
    assert told is not None
    assert title.text == "A <line>"
    assert "edge: across 1 to 7, up -2 to 4." in (told.text or "")


def test_one_scale_both_ways() -> None:
    figure = Figure("Square", "x, m", "y, m", level=True)
    figure.line([0.0, 3.0, 3.0], [0.0, 0.0, 4.0])
    [[a, b, c]] = paths(drawn(figure))
    assert abs((b[0] - a[0]) / 3.0 - (b[1] - c[1]) / 4.0) <= 0.1


def test_a_line_breaks_where_there_is_no_value() -> None:
    figure = Figure("Gap", "x, m", "y, m")
    figure.line([0.0, 1.0, 2.0, 3.0], [0.0, 1.0, np.nan, 1.0])
    [path] = drawn(figure).iter(f"{SVG}path")
    assert path.attrib["d"].count("M") == 2
    assert path.attrib["d"].count("L") == 1


def test_names_do_not_stand_on_one_another() -> None:
    figure = Figure("Names", "x, m", "y, m")
    for i in range(6):
        figure.line([0.0, 1.0], [0.0, 1.0 + 1e-3 * i], f"line {i}")
    rows = sorted(
        float(each.attrib["y"])
        for each in drawn(figure).iter(f"{SVG}text")
        if (each.text or "").startswith("line ")
    )
    assert len(rows) == 6
    assert min(np.diff(rows)) >= 15.0


def test_refusals() -> None:
    figure = Figure("None", "x, m", "y, m")
    for x, y, code in (([0.0, 1.0], [0.0], "ragged"), ([0.0], [np.nan], "not-finite")):
        with pytest.raises(Refused) as refused:
            figure.line(x, y)
        assert [fault.code for fault in refused.value.faults] == [code]
    with pytest.raises(Refused):
        figure.svg()
