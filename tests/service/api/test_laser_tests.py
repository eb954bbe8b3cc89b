"""Field tests of the laser over the door: what they find, hold against each other, and refuse."""

import math
from collections.abc import Callable

import pytest

from kinematics.units import from_metres

from .doing import JobDoer

Make = Callable[..., JobDoer]


def laser_body(tilt: float, units: str = "m") -> dict[str, object]:
    """Four headings midway between staffs 40 m apart; the beam rises `tilt` (rad) towards the mark."""
    sights = [
        {"along": from_metres(20.0, units), "heading_deg": heading,
         "reading_a": from_metres(1.6 - 20.0 * tilt * math.cos(math.radians(heading)), units),
         "reading_b": from_metres(1.4 + 20.0 * tilt * math.cos(math.radians(heading)), units)}
        for heading in (0, 90, 180, 270)
    ]  # fmt: skip
    return {"procedure": "simplified", "laser": "L-7", "apart": from_metres(40.0, units), "sights": sights,
            "units": units}  # fmt: skip


@pytest.mark.parametrize("units", ["m", "mm", "ft"])
def test_a_laser_test(job: Make, units: str) -> None:
    at = job(units)
    told = at.post("laser-tests", laser_body(math.radians(30 / 3600), units))["test"]
    assert told["tilt_arcsec"] == pytest.approx(30.0, abs=1e-3)
    assert told["ahead_arcsec"] == pytest.approx(30.0, abs=1e-3)
    assert told["freedom"] == 1
    assert "30.0 arc seconds, 4.4 mm at 30 m" in told["statements"][0]
    day = at.get("daily-trust")
    assert any("tilted by 30.0 arc seconds" in each and "estimate is 10" in each for each in day["warnings"])
    assert [each["laser"] for each in day["lasers"]] == ["L-7"]


def test_one_misread_staff_is_no_tilt(job: Make) -> None:
    at = job("ft")
    body = laser_body(0.0, "ft")
    sights = [dict(each) for each in body["sights"]]  # type: ignore[attr-defined]
    sights[3]["reading_b"] += 0.5
    assert at.refused("laser-tests", body | {"sights": sights}, 422) == {"/sights": "sights-disagree"}
    beyond = [each | {"along": 131.2} for each in body["sights"]]  # type: ignore[attr-defined]
    assert at.refused("laser-tests", body | {"sights": beyond}, 422) == {"/sights": "not-midway"}


def test_a_good_laser_hides_no_bad_one(job: Make) -> None:
    at = job()
    at.post("laser-tests", laser_body(math.radians(150 / 3600)))
    at.post("laser-tests", laser_body(0.0) | {"laser": "L-8"})
    day = at.get("daily-trust")
    assert [each["laser"] for each in day["lasers"]] == ["L-7", "L-8"]
    assert any("the laser L-7 tilted by 150.0 arc seconds" in each for each in day["warnings"])


def test_a_level_laser_warns_of_nothing(job: Make) -> None:
    at = job()
    at.post("laser-tests", laser_body(math.radians(4 / 3600)))
    assert at.get("daily-trust")["warnings"] == []


def test_bad_laser_tests(job: Make) -> None:
    at = job()
    good = laser_body(0.0)
    sights = good["sights"]
    assert isinstance(sights, list)
    for change, expected in (
        ({"units": "ft"}, {"/units": "wrong-units"}),
        ({"sights": sights[:3]}, {"/sights": "too-few-sights"}),
        ({"sights": [*sights[:3], sights[0]]}, {"/sights": "headings-missing"}),
        ({"procedure": "full"}, {"/sights": "too-few-sights"}),
        ({"apart": 0.4}, {"/apart": "out-of-range"}),
        ({"apart": 4000.0}, {"/apart": "length-absurd"}),
        (
            {"sights": [sights[0] | {"reading_a": 1500.0}, *sights[1:]]},
            {"/sights/0/reading_a": "length-absurd"},
        ),
        ({"sights": [sights[0] | {"reading": 1.5}, *sights[1:]]}, {"/sights/0/reading": "unknown-field"}),
        ({"claimed_mm": 0.0}, {"/claimed_mm": "out-of-range"}),
        ({"sights": []}, {"/sights": "wrong-length"}),
    ):
        assert at.refused("laser-tests", good | change, 422) == expected, change


def test_two_full_tests_are_held_against_each_other(job: Make) -> None:
    at = job()
    sights = [
        {"series": series, "along": along, "heading_deg": heading, "reading_a": 1.6 + wobble,
         "reading_b": 1.4 - wobble}
        for series in range(1, 5)
        for along in (20.0, -14.6, 54.6)
        for k, heading in enumerate((0, 90, 180, 270))
        for wobble in [0.0004 * (-1) ** (k + series + (along > 0))]
    ]  # fmt: skip
    body = laser_body(0.0) | {"procedure": "full", "sights": sights, "claimed_mm": 1.0}
    first = at.post("laser-tests", body)["test"]
    assert first["freedom"] == 32
    assert first["before_seq"] is None
    assert first["spread_as_claimed"] is True
    assert first["cone_arcsec"] is not None
    again = at.post("laser-tests", body)
    assert again["test"]["before_seq"] == again["seq"] - 1
    assert again["test"]["same_as_before"] is True
    rough = [each | {"reading_a": 1.6 + 5.0 * (each["reading_a"] - 1.6)} for each in sights]
    told = at.post("laser-tests", body | {"sights": rough})["test"]
    assert told["same_as_before"] is False
    assert any("F test" in each for each in at.get("daily-trust")["warnings"])
