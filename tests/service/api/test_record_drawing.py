"""The long section, measured in its own pixels: to scale, the band where the tolerance is, every unit's ticks."""

import re
from datetime import UTC, datetime

import pytest

from kinematics.agreement import FACTOR
from kinematics.units import LengthUnit, show
from service.api.record_drawing import long_section
from service.book.dug_payloads import CheckedPoint, CheckTaken
from service.book.payloads import PoseRecord
from service.book.state import Entry

WHEN = datetime(2026, 5, 4, tzinfo=UTC)
TARGET, TOLERANCE, STANDARD = 98.58, 0.030, 0.004
PIXEL = 0.11
"""Places are written to a tenth."""


def point(off: float, reach: float, station: float | None = None, target: float = TARGET) -> CheckedPoint:
    return CheckedPoint(
        reach_m=reach, lateral_m=0.0, station_m=station, elevation_m=target + off, elevation_standard_m=STANDARD,
        target_elevation_m=target, above_target_m=off, cut_fill_standard_m=STANDARD, below_floor_limit=False,
    )  # fmt: skip


def check(seq: int, off: float, reach: float, station: float | None = None, target: float = TARGET) -> Entry:
    one = point(off, reach, station, target)
    payload = CheckTaken(
        target="footing", line="edge", left=one, centre=one, right=one, tolerance_m=TOLERANCE, cross_slope_percent=0.0,
        cross_slope_standard_percent=0.1, target_cross_slope_percent=0.0, entered_station_m=None,
        pose=PoseRecord(joints_deg={}, pitch_deg=0.0, roll_deg=0.0), setup=1, machine="m", machine_hash="",
        attachment="a", attachment_hash="", assumed=0, warnings=(),
    )  # fmt: skip
    return Entry(seq, "check-taken", payload, "", "local", WHEN, WHEN)


def centres(svg: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="5"', svg)][
        :-1
    ]


def lines(svg: str, more: str) -> list[tuple[float, ...]]:
    found = re.findall(r'<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)" [^>]*' + more, svg)
    return [tuple(map(float, each)) for each in found]


def test_to_scale() -> None:
    offs, reaches = (-0.02, 0.0, 0.05), (3.0, 5.0, 8.0)
    drawn = long_section(
        [check(i, *each) for i, each in enumerate(zip(offs, reaches, strict=True))], frozenset(), LengthUnit.M
    )
    assert drawn is not None
    places = centres(drawn.svg)
    along = (places[2][0] - places[0][0]) / 5.0
    up = (places[0][1] - places[2][1]) / 0.07
    assert abs(up / along - drawn.factor) < 0.01 * drawn.factor
    assert abs((places[1][0] - places[0][0]) - 2.0 * along) < 2 * PIXEL
    top, foot = (y for _, y, _, _ in lines(drawn.svg, 'stroke-dasharray="9 5"'))
    assert abs((foot - top) - 2.0 * TOLERANCE * up) < 2 * PIXEL
    [(_, zero, _, _)] = lines(drawn.svg, 'stroke-width="2.2"')
    assert abs(places[1][1] - zero) < PIXEL
    assert abs(0.5 * (top + foot) - zero) < PIXEL
    bars = [b - t for x, t, x2, b in lines(drawn.svg, 'stroke-width="1.2"') if x == x2 == places[1][0]]
    assert any(abs(bar - 2.0 * FACTOR * STANDARD * up) < 2 * PIXEL for bar in bars)
    assert drawn.left_out == 0


@pytest.mark.parametrize("units", list(LengthUnit))
def test_ticks_are_round_and_where_they_say(units: LengthUnit) -> None:
    drawn = long_section([check(1, -0.04, 3.0), check(2, 0.04, 4.0)], frozenset(), units)
    assert drawn is not None
    ticks = re.findall(
        r'<text x="138.0" y="([\d.]+)" font-size="15" text-anchor="end">([^<]+)</text>', drawn.svg
    )
    assert 3 <= len(ticks) <= 10
    assert len({label for _, label in ticks}) == len(ticks)
    assert f"target {show(TARGET, units)}".replace("'", "&#x27;").replace('"', "&quot;") in drawn.svg
    if units is LengthUnit.M:
        places = centres(drawn.svg)
        up = (places[0][1] - places[1][1]) / 0.08
        for y, label in ticks:
            expected = places[0][1] - (float(label) - TARGET + 0.04) * up
            assert abs(float(y) - 5.0 - expected) < 2 * PIXEL, label


def test_stations_and_falls() -> None:
    falling = [check(1, 0.0, 5.0, 0.0, 98.58), check(2, 0.01, 5.0, 2.0, 98.54)]
    drawn = long_section(falling, frozenset(), LengthUnit.M)
    assert drawn is not None
    assert ">station, m<" in drawn.svg
    assert ">above target, m<" in drawn.svg
    assert "target, full line" in drawn.svg
    assert centres(drawn.svg)[1][0] > centres(drawn.svg)[0][0]


def test_void_checks_are_crosses() -> None:
    drawn = long_section([check(1, 0.0, 3.0), check(2, 0.0, 4.0)], frozenset({2}), LengthUnit.M)
    assert drawn is not None
    assert len(centres(drawn.svg)) == 1
    assert drawn.svg.count("l10 10m0 -10l-10 10") == 3 + 1  # and one in the legend
    assert "void, does not count" in drawn.svg


@pytest.mark.parametrize("off", [0.0, 1e-7, 3.0, 40.0, -900.0])
def test_any_distance_fits_the_sheet(off: float) -> None:
    drawn = long_section([check(1, off, 3.0), check(2, 0.0, 3.0)], frozenset(), LengthUnit.FTIN)
    assert drawn is not None
    assert drawn.factor >= 1
    height = float(re.findall(r'height="(\d+)"', drawn.svg)[0])
    assert height < 700
    assert all(0.0 <= y <= height and 0.0 <= x <= 1100.0 for x, y in centres(drawn.svg))


def test_nothing_to_draw() -> None:
    assert long_section([], frozenset(), LengthUnit.M) is None
