"""What a calibration found, written into a file's text: it and nothing else, whatever the units; and what is refused."""

import difflib
import math
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.assembly import assemble
from kinematics.calibration_values import offered, value_of, with_values
from kinematics.errors import Refused
from kinematics.machine import Attachment, Machine
from kinematics.sensor_set import SensorSet
from kinematics.units import profile_length_to_metres
from machine_profiles import Profile, parse_profile, sensor_set, shipped
from machine_profiles.keys import NoKey, holders
from machine_profiles.recalibrated import NewValue, Recalibrated, recalibrated
from tests.amounts import several

from .texts import TWO_PIECE, in_units, text_of

DAY = "2026-05-04"
TABLE: dict[str, Any] = {
    "date": DAY, "observations": 12, "observations_sha256": "a" * 64, "rms_before": 11.2, "rms_after": 0.9,
}  # fmt: skip
# Half a digit of a length as written (0.01 mm), twice where a key is told less another; of an angle 1e-4 deg.
NEAR_M, NEAR_RAD = 1.1e-5, math.radians(0.6e-4)
PAIRS = [
    ("crawler-14t", "digging-1500"), ("crawler-14t", "tilting-1800"), ("crawler-14t", "coupled-900"),
    ("compact-1t8", "compact-bucket-400"), ("midi-8t", "midi-bucket-700"), ("crawler-14t", "tilt-rotator-1600"),
]  # fmt: skip


def pair(machine: Profile, attachment: Profile) -> SensorSet:
    carrier, tool = machine.geometry, attachment.geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    found = sensor_set(machine, attachment, assemble(carrier, tool))
    assert found is not None
    return found


def write(profile: Profile, found: dict[str, NewValue], **more: Any) -> Recalibrated:
    return recalibrated(profile, found, TABLE | {"names": [*found]} | more)


def changed(old: str, new: str) -> list[str]:
    return [line for line in difflib.ndiff(old.splitlines(), new.splitlines()) if line[0] in "+-"]


def both(machine: str, attachment: str) -> tuple[Profile, Profile]:
    return shipped()["machine", machine], shipped()["attachment", attachment]


def writable(profile: Profile, sensors: SensorSet) -> list[str]:
    """The unknowns that this file holds: its zeros and skews, and one dimension of each key."""
    held, seen = holders(profile.document), set[object]()
    names = [name for name in offered(sensors) if name.partition(".")[0] in profile.sensors]
    for name in offered(sensors):
        at = held.get(name)
        if at is not None and not isinstance(at, NoKey) and at.path not in seen:
            seen.add(at.path)
            names.append(name)
    return names


@settings(max_examples=several(40), deadline=None)
@given(st.sampled_from(PAIRS), st.data())
def test_what_was_found_is_what_the_file_says(which: tuple[str, str], data: st.DataObject) -> None:
    """Through the text and back: the same sensors and dimensions as through `with_values`, to the digits written."""
    machine, attachment = both(*which)
    sensors = pair(machine, attachment)
    kind = data.draw(st.sampled_from(["machine", "attachment"]))
    profile = machine if kind == "machine" else attachment
    names = data.draw(
        st.lists(st.sampled_from(writable(profile, sensors)), min_size=1, max_size=5, unique=True)
    )
    step = st.floats(-0.004, 0.004)
    values = {name: value_of(sensors, name) + data.draw(step) for name in names}
    new = write(profile, {name: NewValue(value, 0.001234) for name, value in values.items()})
    read = parse_profile(new.text)
    after = pair(read, attachment) if kind == "machine" else pair(machine, read)
    wanted = with_values(sensors, values)
    held = holders(profile.document)
    shared = {other for name in names if name in held for other in getattr(held[name], "shared", ())}
    for name in offered(sensors):
        if name not in shared:
            near = NEAR_RAD if "." in name or name.endswith("angle") else NEAR_M
            near = NEAR_M if "." in name and sensors.sensors[name.partition(".")[0]].unit == "m" else near
            assert value_of(after, name) == pytest.approx(value_of(wanted, name), abs=near), name
    document = tomllib.loads(new.text)
    for table in ("calibration", "uncertainty"):
        document.pop(table, None)
    old = tomllib.loads(profile.source_text)
    old.pop("uncertainty", None)
    allowed = len(names) * 3 + len(new.also)
    assert _apart(old, document) <= allowed


def _apart(old: Any, new: Any) -> int:
    """How many leaves differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        return sum(_apart(old.get(key), new.get(key)) for key in old.keys() | new.keys())
    return int(old != new)


def test_comments_and_layout_stay() -> None:
    machine = shipped()["machine", "crawler-14t"]
    new = write(machine, {"boom.zero": NewValue(math.radians(3.7013), math.radians(0.01234))})
    lines = [line for line in changed(machine.source_text, new.text) if not line.startswith("?")]
    assert [line for line in lines if line[0] == "-"] == [
        "- mounting = { nose_up = 3.2 }", "- zero_uncertainty = 0.05"
    ]  # fmt: skip
    assert "+ mounting = { nose_up = 3.7013 }" in lines
    assert "+ zero_uncertainty = 0.0123" in lines
    assert "[sensors.body]                              # its pitch grows nose down" in new.text
    assert lines[-1] == '+ "boom.zero" = {was = 3.2, found = 3.7013, standard = 0.0123}'
    assert new.also == ()


def test_a_pin_taped_from_the_moved_one_goes_along() -> None:
    machine = shipped()["machine", "crawler-14t"]
    new = write(machine, {"boom_length": NewValue(4.6062, 0.0012)})
    [also] = new.also
    assert (also.key, also.was, also.now) == ("stick.cylinder.foot.x", 2350.0, 2356.2)
    read = parse_profile(new.text)
    assert read.document["uncertainty"]["of"] == {"boom_length": 1.2}
    assert read.document["calibration"]["of"]["boom_length"] == {
        "was": 4600.0,
        "found": 4606.2,
        "standard": 1.2,
    }


@pytest.mark.parametrize("length", ["ft", "in", "m", "cm"])
def test_other_units(length: str) -> None:
    """A file in feet says feet: 4606.2 mm are 15.11220 ft (1 ft = 0.3048 m, international agreement of 1959)."""
    text = in_units(shipped()["machine", "crawler-14t"].document, length, "deg")
    profile = parse_profile(text)
    new = parse_profile(write(profile, {"boom_length": NewValue(4.6062, 0.0012)}).text)
    said = new.document["boom"]["length"]
    assert profile_length_to_metres(said, length) == pytest.approx(4.6062, abs=0.5e-5)
    if length == "ft":
        assert said == 15.1122
    assert isinstance(new.geometry, Machine)
    assert new.geometry.uncertainty is not None
    assert new.geometry.uncertainty.of["boom_length"] == pytest.approx(0.0012, rel=0.005)


def test_one_zero_of_two_is_known_by_itself() -> None:
    machine = shipped()["machine", "crawler-14t"]
    found = {"body.zero.pitch": NewValue(math.radians(0.4), math.radians(0.0172))}
    new = parse_profile(write(machine, found).text)
    assert new.sensors["body"].zero_uncertainties == pytest.approx([math.radians(0.0172), math.radians(0.05)])
    before, after = machine.sensors["body"].mounting, new.sensors["body"].mounting
    assert not isinstance(before, float)
    assert not isinstance(after, float)
    assert after.nose_up == pytest.approx(math.radians(0.4))
    assert after.left_up == before.left_up


def test_a_straight_edge_moves_as_one() -> None:
    bucket = shipped()["attachment", "digging-1500"]
    new = parse_profile(write(bucket, {"centre_z": NewValue(-1.3312, 0.001)}).text)
    assert isinstance(new.geometry, Attachment)
    assert [point[2] for point in new.geometry.edge] == pytest.approx([-1.3312] * 3)
    with pytest.raises(Refused, match="moved unlike") as caught:
        write(bucket, {"left_z": NewValue(-1.33, 0.001), "right_z": NewValue(-1.34, 0.001)})
    assert {fault.code for fault in caught.value.faults} == {"not-written-so"}


def test_a_corner_found_alone_moves_none_that_was_observed() -> None:
    """The fit moved the left corner alone; one key would move the centre with it, which was seen where it was."""
    bucket = shipped()["attachment", "digging-1500"]
    new, table = {"left_z": NewValue(-1.349, 0.001)}, TABLE | {"names": ["left_z"]}
    with pytest.raises(Refused, match="without centre_z, which were observed") as caught:
        recalibrated(bucket, new, table, {"left", "centre"})
    assert [fault.code for fault in caught.value.faults] == ["not-written-so"]
    assert recalibrated(bucket, new, table, {"left"}).text


def test_what_counts_by_itself_from_now_on_is_told() -> None:
    machine = shipped()["machine", "crawler-14t"]
    found = {name: NewValue(0.06, 0.001) for name in ("boom.zero", "stick.zero")}
    once = parse_profile(write(machine, found, correlations=[[-0.8]]).text)
    again = write(once, {"boom.zero": NewValue(0.061, 0.001)})
    assert [each.key for each in again.also] == ["calibration.correlations"]
    assert "stick.zero" in again.also[0].why
    assert write(once, found, correlations=[[-0.8]]).also == ()


@pytest.mark.parametrize(
    ("name", "keys"),
    [("stick_cylinder_foot_x", "to_inner"), ("fore_boom_length", "stick.cylinder.foot.to_inner")],
)
def test_what_two_tapes_hold_is_refused_with_the_way_out(name: str, keys: str) -> None:
    """And writing the point as advised makes it the same machine, and one that can be written."""
    profile = parse_profile(TWO_PIECE)
    with pytest.raises(Refused) as caught:
        write(profile, {name: NewValue(0.4 if "foot" in name else 1.505, 0.001)})
    faults = caught.value.faults
    assert {fault.code for fault in faults} == {"not-written-so"}
    assert any(keys in fault.found for fault in faults)
    text = TWO_PIECE
    for taped, key in (
        ('foot = { to_inner = 700, to_outer = 1000, side = "above" }', "stick.cylinder.foot"),
        ('foot = { to_inner = 900, to_outer = 1200, side = "below" }', "fore_boom.cylinder.foot"),
    ):
        for fault in faults:
            if f"write it as {key} = " in fault.advice:
                told = fault.advice.partition(f"{key} = ")[2].partition("}")[0]
                text = text.replace(taped, f"foot = {told}}}")
    if "foot" in name:
        same = parse_profile(text)
        assert isinstance(same.geometry, Machine)
        assert write(same, {name: NewValue(-1.0, 0.001)}).text


def test_a_direction_and_a_width_are_refused() -> None:
    tilting = parse_profile(text_of("attachment", "tilting-1800"))
    for name in ("tilt_axis_x", "left_y"):
        with pytest.raises(Refused, match=r"not|width|direction") as caught:
            write(tilting, {name: NewValue(0.1, 0.001)})
        assert caught.value.code == "not-written-so"
    with pytest.raises(Refused) as caught:
        write(tilting, {"boom_length": NewValue(0.1, 0.001), "boom.zero": NewValue(0.1, 0.001)})
    assert [fault.code for fault in caught.value.faults] == ["unknown-parameter"] * 2


def test_a_later_calibration_takes_the_place_of_the_one_before() -> None:
    machine = shipped()["machine", "crawler-14t"]
    first = parse_profile(
        write(machine, {"boom.zero": NewValue(0.06, 1e-3), "stick_length": NewValue(2.503, 1e-3)}).text
    )
    second = parse_profile(write(first, {"boom.zero": NewValue(0.061, 1e-3)}).text)
    said = second.document["calibration"]
    assert said["from_revision"] == first.content_hash
    assert list(said["of"]) == ["boom.zero"]
    assert isinstance(second.geometry, Machine)
    assert second.geometry.stick_length == 2.503
