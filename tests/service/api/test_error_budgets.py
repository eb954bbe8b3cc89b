"""POST /v1/error-budgets: what the formulas say, in the units asked for, as JSON, table and picture; refusals."""

import csv
import io
import json
import math
import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest

from kinematics.estimates import Estimates
from kinematics.machine import Range
from kinematics.sources import sources_of
from kinematics.zone import Zone
from kinematics.zone_budget import zone_budget
from service.api import drawing
from tests.kinematics.zones import sensors_of

from .doing import Client, Json

PATH = "/v1/error-budgets"
BODY: Json = {
    "machine": "crawler-14t", "attachment": "digging-1500", "units": "m", "attitude_deg": {"pitch": 1.0, "roll": -2.0},
    "floor_angle_deg": 5.0, "touch": {"reach": 5.5, "depth": 0.0},
    "zone": {"reach": {"low": 3.0, "high": 7.0}, "depth": {"low": -1.0, "high": 3.0}, "columns": 9, "rows": 8},
}  # fmt: skip
SIZE_MM = 1e-3  # told to a thousandth
GROUND_M = -1.7  # boom.foot_above_ground of the profile


def asked(**more: Any) -> Json:
    return BODY | more


def test_the_map_is_the_formulas(client: Client) -> None:
    found = client.post(PATH, BODY, 200)
    sensors, estimates = sensors_of("crawler-14t", "digging-1500", "own"), Estimates()
    zone = Zone(
        Range(3.0, 7.0), Range(GROUND_M - 3.0, GROUND_M + 1.0), 9, 8, floor_angle=math.radians(5.0),
        pitch=math.radians(1.0), roll=math.radians(-2.0),
    )  # fmt: skip
    budget = zone_budget(sensors, sources_of(sensors, estimates), estimates, zone, (5.5, GROUND_M))
    assert found["cells"] == int(budget.ok.sum())
    assert found["cells"] + sum(found["without_number"].values()) == 72
    for row, told in zip(budget.standard.tolist(), found["standard_mm"], strict=True):
        for size, shown in zip(row, told, strict=True):
            assert (shown is None) == math.isnan(size)
            assert shown is None or abs(shown - 1e3 * size) <= SIZE_MM
    assert found["depth_m"] == pytest.approx([3.0 - 4.0 * k / 7 for k in range(8)])
    assert found["worst"]["standard_mm"] == pytest.approx(1e3 * budget.worst.standard, rel=1e-12)
    assert found["worst"]["within_95_mm"] == pytest.approx(1.95996 * found["worst"]["standard_mm"], rel=1e-5)
    assert [part["part"] for part in found["worst"]["parts"]] == [str(kind) for kind, _ in budget.worst.parts]
    assert found["tolerance"] is None
    assert "Advisory only" in found["advisory"]


def test_any_place_is_told_in_full(client: Client) -> None:
    """As the map has it there; one beyond the zone, or where the arm does not get, is refused at its place."""
    found = client.post(PATH, asked(cell={"row": 3, "column": 4}), 200)
    cell = found["cell"]
    assert cell["standard_mm"] == pytest.approx(found["standard_mm"][3][4], abs=SIZE_MM)
    assert (cell["reach"]["m"], cell["depth"]["m"]) == pytest.approx(
        (found["reach_m"][4], found["depth_m"][3])
    )
    squares = sum(math.copysign(part["standard_mm"] ** 2, part["standard_mm"]) for part in cell["parts"])
    assert math.sqrt(squares) == pytest.approx(cell["standard_mm"], rel=1e-9)
    assert found["reach_shown"][4] == cell["reach"]["shown"] == "5.000 m"
    assert found["down_shown"][3] == cell["depth"]["shown"]
    assert client.post(PATH, BODY, 200)["cell"] is None
    assert client.refused(PATH, asked(cell={"row": 8, "column": 9}), 422) == {
        "/cell/row": "out-of-range", "/cell/column": "out-of-range",
    }  # fmt: skip
    gap = next(
        (i, j) for i, row in enumerate(found["standard_mm"]) for j, size in enumerate(row) if size is None
    )
    told = client.post(PATH, asked(cell={"row": gap[0], "column": gap[1]}), 422)
    assert [each["pointer"] for each in told["errors"]] == ["/cell"]


def test_depths_and_heights_in_any_units_are_one(client: Client) -> None:
    first = client.post(PATH, BODY, 200)
    zone = {
        "reach": {"low": 3.0, "high": 7.0},
        "height": {"low": -4.7, "high": -0.7},
        "columns": 9,
        "rows": 8,
    }
    again = client.post(PATH, asked(zone=zone, touch={"reach": 5.5, "height": -1.7}), 200)
    feet = {
        "reach": {"low": 3.0 / 0.3048, "high": 7.0 / 0.3048}, "depth": {"low": -1.0 / 0.3048, "high": 3.0 / 0.3048},
        "columns": 9, "rows": 8,
    }  # fmt: skip
    third = client.post(
        PATH, asked(units="ft", zone=feet, touch={"reach": 5.5 / 0.3048, "depth": 0.0}, tolerance=0.1), 200
    )
    for other in (again, third):
        for row, told in zip(first["standard_mm"], other["standard_mm"], strict=True):
            assert told == [None if size is None else pytest.approx(size, abs=2e-3) for size in row]
    assert third["worst"]["depth"]["shown"].endswith(" ft")


def test_a_tolerance_says_what_to_buy(client: Client) -> None:
    found = client.post(PATH, asked(tolerance=0.03), 200)
    told = found["tolerance"]
    assert not told["beyond_sensors"]
    bought = {
        name: {each["figure"]: each["needed"] for each in figures}
        for name, figures in found["sensors"].items()
    }
    then = client.post(PATH, asked(tolerance=0.03, sensors=bought), 200)
    assert then["worst"]["within_95_mm"] == pytest.approx(30.0, rel=1e-6)
    assert then["tolerance"]["factor"] == pytest.approx(1.0, rel=1e-6)
    assert any(words.startswith("boom: zero uncertainty 0.05 -> ") for words in told["words"])
    never = client.post(PATH, asked(tolerance=0.005), 200)["tolerance"]
    assert never["beyond_sensors"]
    assert never["factor"] is None
    assert never["share_within"] == 0.0
    assert "sensors alone cannot do it" in never["words"][0]
    assert "largest: " in never["words"][0]


def test_a_plain_set_dimensions_and_what_is_assumed(client: Client) -> None:
    plain = client.post(
        PATH, asked(by="encoder", figures={"noise_deg": 0.01}, sensors={"boom": {"noise_deg": 0.2}}), 200
    )
    assert set(plain["sensors"]) == {"body", "boom", "stick", "bucket"}
    now = {name: {each["figure"]: each["now"] for each in told} for name, told in plain["sensors"].items()}
    assert (now["boom"]["noise_deg"], now["stick"]["noise_deg"]) == (pytest.approx(0.2), pytest.approx(0.01))
    assert "zero of boom: 0.1 deg" in plain["assumed"]
    taped = client.post(PATH, asked(uncertainties_mm={"pin_spacing": 0.0, "flex": 0.0}), 200)
    assert not {"pin_spacing", "flex"} & {each["part"] for each in taped["worst"]["sources"]}
    tied = client.post(
        PATH, asked(correlations=[{"one": "boom.zero", "other": "stick.zero", "coefficient": 0.9}]), 200
    )
    assert tied["worst"]["standard_mm"] != client.post(PATH, BODY, 200)["worst"]["standard_mm"]


def test_moves_by_laser_add(client: Client) -> None:
    sizes = [client.post(PATH, asked(carried=moves), 200)["best"]["standard_mm"] for moves in (0, 1, 4)]
    assert sizes == sorted(sizes)
    assert sizes[0] < sizes[1] < sizes[2]


def test_as_a_table(client: Client) -> None:
    found = client.post(PATH, BODY, 200)
    answer = client.http.post(PATH, json=BODY, headers={"accept": "text/csv"})
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert len(rows) == 72
    flat = [size for row in found["standard_mm"] for size in row]
    for row, size in zip(rows, flat, strict=True):
        assert (row["standard_mm"] == "") == (size is None) == (row["status"] != "ok")
        assert size is None or abs(float(row["standard_mm"]) - size) <= SIZE_MM
    good = [row for row in rows if row["status"] == "ok"]
    worst = max(good, key=lambda row: float(row["standard_mm"]))
    assert worst["largest_part"] == found["worst"]["parts"][0]["part"]
    assert float(worst["boom_deg"]) == pytest.approx(found["worst"]["joints_deg"]["boom"], abs=1e-3)
    assert float(worst["depth_m"]) == pytest.approx(found["worst"]["depth"]["m"], abs=1e-4)


def test_as_a_picture(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    body = asked(tolerance=0.0207)
    svg = client.http.post(PATH, json=body, headers={"accept": "image/svg+xml"})
    assert svg.headers["content-type"].startswith("image/svg+xml")
    root = ET.fromstring(svg.text)  # noqa: S314  # our own
    assert root.get("width") == "1200"
    words = " ".join("".join(each.itertext()) for each in root.iter("{http://www.w3.org/2000/svg}text"))
    for told in (
        "crawler-14t with digging-1500",
        "swing axis",
        "ground",
        "touch",
        "worst ±",
        "20.7 mm kept",
        "of the places.",
        "of 72 places reached.",
        "m",
    ):
        assert told in words
    png = client.http.post(PATH, json=body, headers={"accept": "text/html, image/png;q=0.9"})
    assert png.headers["content-type"] == "image/png"
    assert png.content.startswith(b"\x89PNG\r\n\x1a\n")
    assert int.from_bytes(png.content[16:20], "big") == 1200
    monkeypatch.setattr(drawing, "_writes", lambda: False)
    refused = client.http.post(PATH, json=body, headers={"accept": "image/png"})
    assert refused.status_code == 422
    assert [each["code"] for each in refused.json()["errors"]] == ["no-font"]


SPOKEN = ("ft", "ftUS", "ftin")


@pytest.mark.parametrize("units", SPOKEN)
def test_in_feet_nothing_is_in_metres(client: Client, units: str) -> None:
    """Axes, scale, captions and sentences in the units asked for; a scale bar of so many pixels is so many feet."""
    ftin = units == "ftin"

    def feet(value: float) -> float | str:
        return f"{value:g}'" if ftin else value

    body = asked(
        units=units, touch={"reach": feet(18.0), "depth": feet(0.0)}, tolerance='3/4"' if ftin else 0.06,
        zone={"reach": {"low": feet(10.0), "high": feet(22.0)}, "depth": {"low": feet(0.0), "high": feet(9.0)},
              "columns": 13, "rows": 10},
    )  # fmt: skip
    svg = client.http.post(PATH, json=body, headers={"accept": "image/svg+xml"})
    assert svg.status_code == 200, svg.text
    words = [
        "".join(each.itertext())
        for each in ET.fromstring(svg.text).iter("{http://www.w3.org/2000/svg}text")  # noqa: S314  # our own
    ]
    assert not [told for told in words if re.search(r"\bmm?$|\d mm?\b", told)]
    axis = "ftUS" if units == "ftUS" else "ft"
    for title in ("reach from the swing axis", "height over the boom foot pin", "depth below the ground"):
        assert f"{title}, {axis}" in words
    assert any(told.endswith(f" {axis}") and told.split()[0] in {"1", "2", "5", "10"} for told in words)
    for told in client.post(PATH, body, 200)["tolerance"]["words"]:
        assert " mm" not in told
    for wrong in ({"reach": feet(40.0), "depth": feet(0.0)}, {"reach": feet(300.0), "depth": feet(0.0)}):
        answer = client.http.post(PATH, json=body | {"touch": wrong})
        assert answer.status_code in {409, 422}
        assert not re.search(r"\d mm?\b", json.dumps(answer.json()["errors"]))


def test_just_missed_says_by_how_much(client: Client) -> None:
    most = client.post(PATH, BODY, 200)["worst"]["within_95_mm"]
    missed = client.post(PATH, asked(tolerance=1e-3 * (most - 0.02)), 200)["tolerance"]
    assert 0.99 < missed["factor"] < 1.0
    assert missed["words"][0].startswith("just missed, by 0.02 mm: all figures must be 0.99")
    assert not missed["words"][0].endswith(" 1 times what they are")
    kept = client.post(PATH, asked(tolerance=1e-3 * (most + 0.02)), 200)["tolerance"]
    assert kept["words"][0] == "all figures may be 1.00 times what they are"
    assert "missed" not in client.post(PATH, asked(tolerance=0.9e-3 * most), 200)["tolerance"]["words"][0]


def test_figures_to_buy_are_rounded_down(client: Client) -> None:
    """What is printed, bought as it is printed, keeps to the tolerance."""
    most = client.post(PATH, BODY, 200)["worst"]["within_95_mm"]
    for share in (0.93, 0.999, 1.07):
        told = client.post(PATH, asked(tolerance=1e-3 * share * most), 200)["tolerance"]
        bought: dict[str, dict[str, float]] = {}
        for line in told["words"][1:]:
            name, _, figures = line.partition(": ")
            for each in figures.split(", "):
                figure, _, _, size, _ = each.rsplit(" ", 4)
                bought.setdefault(name, {})[f"{figure.replace(' ', '_')}_deg"] = float(size)
        then = client.post(PATH, asked(sensors=bought), 200)["worst"]["within_95_mm"]
        assert 0.0 <= share * most - then < 0.01 * most  # three digits


def test_everything_wrong_is_told_at_once(client: Client) -> None:
    body = asked(
        touch={"reach": 99.0}, tolerance=-1.0,
        sensors={"bom": {}, "boom": {"noise_mm": 1.0}, "stick": {"noise_deg": 0.0}},
        uncertainties_mm={"boom_lenght": 1.0, "coupler_angle": 1.0}, figures={"noise_deg": 0.1},
        zone={"reach": {"low": 8.0, "high": 3.0}, "columns": 400, "rows": 400},
    )  # fmt: skip
    assert client.refused(PATH, body, 422) == {
        "/zone/columns": "out-of-range", "/zone/reach": "range-swapped", "/zone": "half-described",
        "/touch/reach": "length-absurd", "/touch": "half-described", "/tolerance": "not-positive",
        "/uncertainties_mm/coupler_angle": "unknown-parameter", "/uncertainties_mm/boom_lenght": "unknown-parameter",
        "/figures": "unknown-field", "/sensors/boom/noise_mm": "wrong-kind", "/sensors/bom": "no-such-sensor",
        "/sensors/stick/noise_deg": "out-of-range",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"sensors": {"boom": {"noise_deg": 40.0}}}, ("0 to 5 deg", "40 deg")),
        ({"sensors": {"boom": {"per_kelvin_deg": 40.0}}}, ("0 to 0.5 deg/K", "40 deg/K")),
        ({"uncertainties_mm": {"boom_length": 9000.0}}, ("0 to 200 mm", "9000 mm")),
    ],
)
def test_figures_are_refused_in_the_unit_sent(client: Client, more: Json, told: tuple[str, str]) -> None:
    [fault] = client.http.post(PATH, json=asked(**more)).json()["errors"]
    assert fault["expected"].endswith(told[0])
    assert fault["found"] == told[1]


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"machine": "published-mini", "attachment": "published-mini-bucket", "touch": {"reach": 2.6, "height": -1.0},
          "zone": {"reach": {"low": 1.5, "high": 3.0}, "height": {"low": -2.0, "high": 0.0}}}, {"/by": "no-sensors"}),
        ({"machine": "published-mini", "attachment": "published-mini-bucket", "by": "encoder"},
         {"/zone/depth": "no-ground", "/touch/depth": "no-ground"}),
        ({"zone": BODY["zone"] | {"reach": {"low": 20.0, "high": 30.0}}}, {"/zone": "out-of-reach"}),
        ({"touch": {"reach": 9.5, "depth": 0.0}}, {"/touch/reach": "out-of-reach"}),
        ({"floor_angle_deg": 200.0}, {"/floor_angle_deg": "angle-absurd"}),
        ({"attitude_deg": {"pitch": 60.0, "roll": 0.0}}, {"/attitude_deg/pitch": "too-steep"}),
        ({"by": "sonar"}, {"/by": "not-a-choice"}),
        ({"sensors": {"boom": {"noise_deg": -0.1}}}, {"/sensors/boom/noise_deg": "out-of-range"}),
        ({"sensors": {"boom": {"colour": 1.0}}}, {"/sensors/boom/colour": "unknown-field"}),
        ({"correlations": [{"one": "boom.zero", "other": "bom", "coefficient": 0.1}]},
         {"/correlations/0": "unknown-parameter"}),
        ({"correlations": [{"one": "boom.zero", "other": "boom.noise", "coefficient": 0.1}]},
         {"/correlations/0": "not-correlated-so"}),
        ({"correlations": [
            {"one": "boom.zero", "other": "stick.zero", "coefficient": 0.9},
            {"one": "stick.zero", "other": "idler.zero", "coefficient": 0.9},
            {"one": "boom.zero", "other": "idler.zero", "coefficient": -0.9},
        ]}, {"/correlations": "not-a-correlation"}),
        ({"correlations": [
            {"one": "boom.zero", "other": "stick.zero", "coefficient": 0.9},
            {"one": "stick.zero", "other": "boom.zero", "coefficient": 0.1},
        ]}, {"/correlations/1": "given-twice"}),
    ],
)  # fmt: skip
def test_refusals(client: Client, more: Json, told: dict[str, str]) -> None:
    answer = client.http.post(PATH, json=asked(**more))
    assert answer.status_code in {409, 422}, answer.text
    assert {each["pointer"]: each["code"] for each in answer.json()["errors"]} == told
