"""[calibration] in a file: its faults at their lines, and when what was found together still counts."""

import math
from dataclasses import replace

import pytest

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.calibration_values import offered, value_of, with_values
from kinematics.estimates import Estimates
from kinematics.machine import Attachment, Machine
from kinematics.rates_at import RatesAt
from kinematics.sensing import angles_from, readings_of
from kinematics.sources import sources_of
from machine_profiles import Profile, check_pair, parse_profile, sensor_set, shipped
from machine_profiles.recalibrated import NewValue
from machine_profiles.sensor_pair import as_source

from .test_recalibrated import pair, write
from .texts import edited, faults_of, line_with

MACHINE = shipped()["machine", "crawler-14t"]
BUCKET = shipped()["attachment", "digging-1500"]
FOUND = {
    "boom.zero": NewValue(math.radians(3.3), math.radians(0.02)),
    "boom_length": NewValue(4.602, 0.0015),
    "centre_z": NewValue(-1.331, 0.002),
}
ROWS = [[-0.87], [0.25, -0.5]]


def calibrated() -> tuple[Profile, Profile]:
    """Both files after one calibration of both."""
    edge = parse_profile(write(BUCKET, {"centre_z": FOUND["centre_z"]}).text)
    ours = {name: new for name, new in FOUND.items() if name != "centre_z"}
    text = write(MACHINE, ours, names=[*FOUND], attachment=edge.same_hash, correlations=ROWS).text
    return parse_profile(text), edge


def told(machine: Profile, bucket: Profile) -> dict[frozenset[str], float]:
    return {frozenset(each[:2]): each[2] for each in pair(machine, bucket).correlations}


def test_all_of_it_counts_with_the_pair_it_was_found_with() -> None:
    # A boom sensor that is turned further reads, as the file has it, too much.
    assert told(*calibrated()) == {
        frozenset(("boom.zero", "boom_length")): 0.87,
        frozenset(("boom.zero", "centre_z")): -0.25,
        frozenset(("boom_length", "centre_z")): -0.5,
    }


def test_with_another_attachment_only_the_machines_own() -> None:
    machine, edge = calibrated()
    own = {frozenset(("boom.zero", "boom_length")): 0.87}
    assert told(machine, BUCKET) == own
    assert (
        told(machine, parse_profile(edge.source_text.replace("heel_width = 1440", "heel_width = 1441")))
        == own
    )
    assert told(MACHINE, edge) == {}


def test_what_is_set_anew_counts_no_more() -> None:
    machine, edge = calibrated()
    for old, new in (
        ("nose_up = 3.3 }", "nose_up = 3.4 }"),
        ("zero_uncertainty = 0.02\n", "zero_uncertainty = 0.03\n"),
    ):
        other = parse_profile(edited(machine.source_text, (old, new)))
        assert told(other, edge) == {frozenset(("boom_length", "centre_z")): -0.5}
        assert any("boom.zero is another now" in doubt for doubt in check_pair(other, edge).doubts)
    assert not any("another now" in doubt for doubt in check_pair(machine, edge).doubts)


def test_a_receiver_clamped_elsewhere_was_not_found_there() -> None:
    text = write(
        MACHINE, {"receiver_z": NewValue(0.262, 0.001), "boom.zero": FOUND["boom.zero"]}, correlations=[[0.4]]
    ).text
    machine = parse_profile(text)
    carrier, tool = machine.geometry, BUCKET.geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    assert carrier.receiver is not None
    moved = replace(carrier, receiver=replace(carrier.receiver, place=(0.9, 0.18, 0.3)))
    for body, expected in ((carrier, 1), (moved, 0)):
        found = sensor_set(machine, BUCKET, assemble(body, tool))
        assert found is not None
        assert len(found.correlations) == expected


@pytest.mark.parametrize(
    "which",
    [
        ("crawler-14t", "tilt-rotator-1600"),
        ("midi-8t", "midi-bucket-700"),
        ("compact-1t8", "compact-bucket-400"),
    ],
)
def test_a_mounting_counts_as_the_reading_that_it_misleads(which: tuple[str, str]) -> None:
    """Of every zero: the height's rate by the reading, times `as_source`, is its rate by the mounting in the file.

    Whatever signs and conventions. A difference quotient over 2e-5 rad or m; where the body leans a mounting turns the
    case about another axis than a reading does: a part in a thousand.
    """
    machine, attachment = shipped()["machine", which[0]], shipped()["attachment", which[1]]
    sensors = pair(machine, attachment)
    middle = {name: 0.5 * (span.low + span.high) + 0.05 for name, span in sensors.assembly.ranges.items()}
    there = pose(sensors.assembly, pitch=0.02, roll=0.03, **middle)
    said = readings_of(sensors, there)
    sources = sources_of(sensors, Estimates())
    rates = RatesAt(sensors, sources).of_height(there, "left")

    def height(name: str, step: float) -> float:
        other = with_values(sensors, {name: value_of(sensors, name) + step})
        return pose(other.assembly, **angles_from(other, said)).height("left")

    zeros = [name for name in offered(sensors) if ".zero" in name]
    assert len(zeros) >= 5
    for name in zeros:
        by_file = (height(name, 1e-5) - height(name, -1e-5)) / 2e-5
        by_reading = float(rates[sources.names.index(name)])
        assert by_file == pytest.approx(as_source(name, sensors.sensors) * by_reading, rel=2e-3, abs=2e-3), (
            name
        )


@pytest.mark.parametrize(
    ("old", "new", "code", "path"),
    [
        ('date = "2026-05-04"', 'date = "4 May"', "not-a-date", "calibration.date"),
        ('date = "2026-05-04"', "date = 2026-05-04", "wrong-type", "calibration.date"),
        ('"' + "a" * 64 + '"', '"abc"', "not-a-hash", "calibration.observations_sha256"),
        ("correlations = [[-0.87], [0.25, -0.5]]", "correlations = [[-0.87], [0.25]]", "wrong-length",
         "calibration.correlations"),
        ("correlations = [[-0.87], [0.25, -0.5]]", "correlations = [[-0.9], [0.9, 0.9]]", "not-a-correlation",
         "calibration.correlations"),
        ("correlations = [[-0.87], [0.25, -0.5]]", "correlations = [[-1.87], [0.25, -0.5]]", "not-a-correlation",
         "calibration.correlations"),
        ("observations = 12", "observations = 0", "out-of-range", "calibration.observations"),
        ("observations = 12", "observations = 12\nseen = 3", "unknown-key", "calibration.seen"),
        ("standard = 1.5}", "standard = 0.0}", "not-positive", "calibration.of.boom_length.standard"),
        ("standard = 1.5}", "standard = nan}", "not-finite", "calibration.of.boom_length.standard"),
        ('"boom_length", "centre_z"]', '"boom.zero", "centre_z"]', "given-twice", "calibration.names"),
        ("rms_after = 0.9\n", "", "missing-key", "calibration.rms_after"),
    ],
)  # fmt: skip
def test_its_faults_have_their_place(old: str, new: str, code: str, path: str) -> None:
    text = edited(calibrated()[0].source_text, (old, new))
    found = [fault for fault in faults_of(text) if fault.path == path]
    assert [fault.code for fault in found] == [code]
    assert found[0].line is not None
    assert found[0].line >= line_with(text, "[calibration]")


def test_names_of_the_attachment_need_the_attachment() -> None:
    text = calibrated()[0].source_text
    at = text.index('attachment = "')
    bare = text[:at] + text[text.index("\n", at) + 1 :]
    [fault] = faults_of(bare)
    assert (fault.code, fault.path) == ("half-described", "calibration.of")


def test_restored_is_the_same_but_for_its_hash() -> None:
    text = (
        MACHINE.source_text
        + f'\n[restored]\ndate = "2026-05-05"\nrevision = "{"b" * 64}"\ninstead_of = "{"c" * 64}"\n'
    )
    again = parse_profile(text)
    assert again.content_hash != MACHINE.content_hash
    assert again.same_hash == MACHINE.same_hash == MACHINE.content_hash
    assert again.geometry == MACHINE.geometry
