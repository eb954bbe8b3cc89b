"""A whole shift in every unit gives the same elevations; words in answers are the job's own."""

import math
from collections.abc import Callable
from typing import Any

import pytest

from kinematics.units import LengthUnit, show
from tests.tolerances import NOISE_M

from .doing import JobDoer, edge_at, metres

UNITS = ("m", "mm", "ft", "ftUS", "ftin")
INCH = 0.0254
# Whole sixteenths of an inch, so that feet and inches lose nothing.
SLAB, DEPTH, OVERDIG, LIMIT = 4000 * INCH, 50 * INCH, 4 * INCH, 60 * INCH
Opener = Callable[..., JobDoer]


def shift(job: JobDoer) -> dict[str, float]:
    """Strike, touch, target, dig, turning point, move, strike, sloping target, close."""
    job.benchmark("slab", SLAB)
    job.setup()
    job.laser(fall_percent=1.0)
    assert job.strike(1.13)["role"] == "waits for a touch"
    found = {"height": metres(job.touch(-1.62)["elevation"])}
    found["plane"] = metres(job.get()["plane"]["elevation"])
    job.target("footing", DEPTH, overdig=job.length(OVERDIG), floor_limit_below=job.length(LIMIT))
    told = job.read(edge_at(-1.62 - DEPTH, -85.0), "footing")
    for name in ("left", "centre", "right"):
        found[f"{name} elevation"] = metres(told["points"][name]["elevation"])
        found[f"{name} above"] = metres(told["points"][name]["cut_fill"]["above_target"])
    found["stone"] = metres(job.turning_point("stone", -1.8)["elevation"])
    job.move()
    found["carried"] = metres(job.strike(1.20, along=-120 * INCH)["elevation"])
    found["check"] = metres(job.touch(-1.69, purpose="check")["misclosure"])
    job.target("drain", DEPTH, along_percent=2.0)
    job.station("drain", 40 * INCH, edge_at(-2.0, -80.0))
    sloping = job.read(edge_at(-2.1, -95.0), "drain")
    found["station"] = metres(sloping["points"]["centre"]["station"])
    found["target there"] = metres(sloping["points"]["left"]["target_elevation"])
    entered = job.read(edge_at(-2.1, -95.0), "drain", station=job.length(20 * INCH))
    found["entered"] = metres(entered["points"]["centre"]["station"])
    found["closing"] = metres(job.get("level-book")["misclosure"])
    return found


def lengths(value: Any) -> list[dict[str, Any]]:
    """Every length in an answer."""
    if isinstance(value, dict):
        if set(value) == {"m", "shown"}:
            return [value]
        return [found for item in value.values() for found in lengths(item)]
    return [found for item in value for found in lengths(item)] if isinstance(value, list) else []


def test_every_unit_gives_the_same_metres(job: Opener) -> None:
    first = shift(job("m"))
    assert first["height"] == pytest.approx(SLAB + 1.62, abs=NOISE_M)
    assert first["plane"] == pytest.approx(SLAB + 1.62 + 1.13, abs=NOISE_M)
    assert first["centre above"] == pytest.approx(OVERDIG, abs=NOISE_M)
    assert first["carried"] == pytest.approx(SLAB + 2.75 - 0.01 * 120 * INCH - 1.20, abs=NOISE_M)
    assert first["entered"] == pytest.approx(20 * INCH, abs=NOISE_M)
    for units in UNITS[1:]:
        other = shift(job(units))
        assert other.keys() == first.keys()
        for name, value in other.items():
            assert math.isfinite(value)
            assert abs(value - first[name]) <= NOISE_M, (units, name)


@pytest.mark.parametrize("units", UNITS)
def test_what_is_shown_is_the_metres_in_the_job_s_unit(job: Opener, units: str) -> None:
    shifted = job(units)
    shift(shifted)
    told = shifted.read(edge_at(-2.0), "footing")
    answers = [shifted.get(), shifted.get("level-book"), shifted.get("targets"), told]
    found = [length for answer in answers for length in lengths(answer)]
    assert len(found) > 40
    for length in found:
        assert length["shown"] == show(length["m"], LengthUnit(units))
    assert shifted.get()["units"] == told["units"] == units


@pytest.mark.parametrize(("units", "other"), [("m", "mm"), ("ft", "ftUS"), ("ftin", "ft"), ("mm", "m")])
def test_other_units_than_the_job_s_are_refused(job: Opener, units: str, other: str) -> None:
    asked = job(units).equipped()
    wrong = {"/units": "wrong-units"}
    value = asked.length(1.0)
    pose = edge_at(-2.0)
    assert asked.refused("benchmarks", {"name": "b", "elevation": value, "units": other}, 422) == wrong
    assert asked.refused("targets", asked.target_body("t", 1.0, units=other), 422) == wrong
    assert asked.refused("strikes", asked.strike_body(1.0, units=other), 422) == wrong
    assert asked.refused("readouts", {"pose": pose, "units": other}, 422) == wrong
    asked.target("drain", 1.0, along_percent=1.0)
    body = {"target": "drain", "station": value, "edge_point": "left", "pose": pose, "units": other}
    assert asked.refused("stations", body, 422) == wrong


def test_feet_and_inches_are_text_and_decimal_feet_are_numbers(job: Opener) -> None:
    inches, feet = job("ftin").equipped(), job("ft")
    body = {"name": "b", "elevation": 4.25, "units": "ftin"}
    assert inches.refused("benchmarks", body, 422) == {"/elevation": "number-for-feet-inches"}
    body = {"name": "b", "elevation": "4' 3\"", "units": "ft"}
    assert feet.refused("benchmarks", body, 422) == {"/elevation": "not-a-number"}
    wrong = inches.target_body("t", 1.0) | {"layers": [{"name": "a", "thickness": 1.5}], "tolerance": 0.1}
    assert inches.refused("targets", wrong, 422) == {
        "/layers/0/thickness": "number-for-feet-inches", "/tolerance": "number-for-feet-inches"
    }  # fmt: skip


def test_a_length_nobody_digs_is_refused(job: Opener) -> None:
    asked = job().equipped()
    for value in (1e5 + 1, -2e6, 1e12):
        body = {"name": "b", "elevation": value, "units": "m"}
        assert "/elevation" in asked.refused("benchmarks", body, 422)
    far = asked.target_body("t", 1.0) | {"overdig": 1e5, "tolerance": 1e5}
    assert asked.refused("targets", far, 422) == {
        "/overdig": "length-absurd", "/tolerance": "length-absurd"
    }  # fmt: skip


def test_an_elevation_that_could_not_be_shown_again_is_not_recorded(job: Opener) -> None:
    asked = job().equipped()
    asked.benchmark("high", 1e5)
    body = {"point": "high", "purpose": "reference", "edge_point": "centre", "pose": edge_at(-1.62)}
    assert asked.refused("touches", body, 422) == {"": "length-absurd"}
    assert asked.get()["height"] is None
