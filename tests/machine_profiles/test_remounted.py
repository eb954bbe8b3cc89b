"""One sensor's zero in a profile's text: nothing else changes."""

import difflib
import math
from dataclasses import replace

import pytest

from kinematics.errors import Refused
from kinematics.sensor import Mounting
from machine_profiles import ProfileFaulty, parse_profile, shipped
from machine_profiles.remounted import remounted

from .texts import text_of

CRAWLER = text_of("machine", "crawler-14t")
WIRED = next(
    each
    for each in shipped().values()
    if any(isinstance(sensor.mounting, float) for sensor in each.sensors.values())
)
# Half of the last digit that is written.
HALF_DIGIT = math.radians(0.5e-4)


def changed(old: str, new: str) -> list[str]:
    """The lines that are in one text alone."""
    return [line for line in difflib.ndiff(old.splitlines(), new.splitlines()) if line[0] in "+-"]


@pytest.mark.parametrize("name", ["body", "boom", "stick", "idler"])
def test_only_its_line_changes(name: str) -> None:
    profile = parse_profile(CRAWLER)
    before = profile.sensors[name].mounting
    assert isinstance(before, Mounting)
    new = remounted(profile, name, replace(before, nose_up=0.0646))
    assert len(changed(CRAWLER, new)) == 2, changed(CRAWLER, new)
    read = parse_profile(new)
    for other, sensor in profile.sensors.items():
        if other != name:
            assert read.sensors[other] == sensor
    found = read.sensors[name].mounting
    assert isinstance(found, Mounting)
    assert found.nose_up == pytest.approx(0.0646, abs=HALF_DIGIT)
    assert found.left_up == pytest.approx(before.left_up, abs=HALF_DIGIT)


def test_a_turn_that_was_left_out_is_added() -> None:
    profile = parse_profile(CRAWLER)
    new = remounted(profile, "boom", Mounting(0.01, to_left=math.radians(0.7)))
    found = parse_profile(new).sensors["boom"].mounting
    assert isinstance(found, Mounting)
    assert math.degrees(found.to_left) == pytest.approx(0.7, abs=1e-9)


RADIANS = """schema = 1
kind = "machine"
id = "our-digger"
name = "Our digger"
source = "taped"
units = { length = "in", angle = "rad" }
boom = { foot = { forward = 10, left = -2 }, length = 180, range = { low = -0.7, high = 0.9 } }
stick = { length = 98, range = { low = -2.5, high = -0.5 } }
bucket = { range = { low = -0.5, high = 2.3 } }
sensors.boom = { place = "boom", measures = "angle", sign = 1, mounting = 0.01, range = { low = -3, high = 3 }, \
noise = 0.001, latency_ms = 30, age_limit_ms = 500 }
""".replace("\\\n", "")


def test_units_of_the_file() -> None:
    new = remounted(parse_profile(RADIANS), "boom", 0.0646001)
    assert changed(RADIANS, new)[1].count("mounting = 0.0646,") == 1


def test_a_number_stays_a_number() -> None:
    name, sensor = next((n, s) for n, s in WIRED.sensors.items() if isinstance(s.mounting, float))
    assert isinstance(sensor.mounting, float)
    new = parse_profile(remounted(WIRED, name, sensor.mounting + 0.0123))
    found = new.sensors[name].mounting
    assert isinstance(found, float)
    assert found == pytest.approx(sensor.mounting + 0.0123, abs=5e-6)


def test_the_same_again_is_the_same_revision() -> None:
    profile = parse_profile(CRAWLER)
    again = remounted(profile, "boom", profile.sensors["boom"].mounting)
    assert parse_profile(again).content_hash == profile.content_hash


def test_refused() -> None:
    profile = parse_profile(CRAWLER)
    with pytest.raises(Refused, match="bucket2"):
        remounted(profile, "bucket2", Mounting(0.0))
    with pytest.raises(Refused, match="mounting"):
        remounted(profile, "boom", 0.1)


def test_everything_else_of_the_sensor_stays() -> None:
    profile = parse_profile(CRAWLER)
    before = profile.sensors["boom"]
    assert before.zero_uncertainty is not None
    read = parse_profile(remounted(profile, "boom", Mounting(0.0646))).sensors["boom"]
    assert replace(read, mounting=before.mounting) == before


def test_how_well_the_new_zero_is_known_goes_with_it() -> None:
    profile = parse_profile(CRAWLER)
    new = remounted(
        profile, "boom", profile.sensors["boom"].mounting, zero_uncertainty=math.radians(0.0123456)
    )
    lines = [line for line in changed(CRAWLER, new) if not line.startswith("?")]
    assert lines == ["- zero_uncertainty = 0.05", "+ zero_uncertainty = 0.0123"]
    wire, sensor = next((n, s) for n, s in WIRED.sensors.items() if s.unit == "m")
    read = parse_profile(remounted(WIRED, wire, sensor.mounting, 0.0015)).sensors[wire]
    assert read.zero_uncertainty == pytest.approx(0.0015, rel=1e-12)
    assert replace(read, zero_uncertainty=sensor.zero_uncertainty) == sensor


def test_an_uncertainty_that_is_none_or_has_no_place_is_refused() -> None:
    profile = parse_profile(CRAWLER)
    mounting = profile.sensors["boom"].mounting
    for bad in (-0.001, math.nan, 1.0):
        with pytest.raises(ProfileFaulty, match="zero_uncertainty"):
            remounted(profile, "boom", mounting, bad)
    with pytest.raises(Refused, match="zero_uncertainty"):
        remounted(parse_profile(RADIANS), "boom", 0.0646, 0.001)
