"""How well sensors, machines and attachments are known: what may be said, every refusal with its place."""

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.assembly import assemble
from kinematics.errors import Refused
from kinematics.machine import (
    MOST_SLOP_M,
    MOST_UNKNOWN_M,
    MOST_UNKNOWN_RAD,
    AttachmentUncertainty,
    MachineUncertainty,
    is_turn,
)
from kinematics.parameters import (
    ATTACHMENT_NAMES,
    MACHINE_NAMES,
    NAMES,
    TURNS,
    lacking,
    misnamed,
    parameters_of,
    record,
)
from kinematics.sensor import MOST_NOISE_M, MOST_NOISE_RAD, MOST_SKEW_RAD, Measure

from .machines import plain_bucket, plain_machine, seeded, tiltrotator_bucket
from .sensor_sets import sensor


def refused(call: Any) -> list[tuple[str, str]]:
    with pytest.raises(Refused) as caught:
        call()
    for fault in caught.value.faults:
        assert fault.found
        assert fault.expected
    return [(fault.code, fault.where) for fault in caught.value.faults]


FIELDS = ("zero_uncertainty", "skew_uncertainty", "per_kelvin")


def test_a_sensor_that_says_nothing_of_it_has_none() -> None:
    assert [getattr(sensor("boom"), name) for name in FIELDS] == [None] * 3


@pytest.mark.parametrize(
    ("measures", "place", "most"),
    [
        (Measure.GRAVITY_ANGLE, "boom", (MOST_NOISE_RAD, MOST_SKEW_RAD, MOST_NOISE_RAD / 10)),
        (Measure.PITCH_ROLL, "body", (MOST_NOISE_RAD, MOST_SKEW_RAD, MOST_NOISE_RAD / 10)),
        (Measure.ANGLE, "boom", (MOST_NOISE_RAD, None, MOST_NOISE_RAD / 10)),
        (Measure.LENGTH, "boom", (MOST_NOISE_M, None, MOST_NOISE_M / 10)),
    ],
)
def test_bounds_of_a_sensor(measures: Measure, place: str, most: tuple[float | None, ...]) -> None:
    for name, high in zip(FIELDS, most, strict=True):
        if high is None:
            found = refused(lambda: sensor(place, measures, skew_uncertainty=0.01))
            assert found == [("not-sensed-so", "skew_uncertainty")]
            continue
        for good in (0.0, 0, 0.5 * high, high):
            assert getattr(sensor(place, measures, **{name: good}), name) == good
        for bad in (-1e-9, 1.0001 * high):
            assert refused(lambda: sensor(place, measures, **{name: bad})) == [("out-of-range", name)]  # noqa: B023
        for bad in (math.nan, math.inf, -math.inf):
            assert refused(lambda: sensor(place, measures, **{name: bad})) == [("not-finite", name)]  # noqa: B023
        for kind in ("0.1", True):
            assert refused(lambda: sensor(place, measures, **{name: kind})) == [("not-a-number", name)]  # noqa: B023


def test_all_faults_of_a_sensor_at_once() -> None:
    bad = {"zero_uncertainty": -0.1, "skew_uncertainty": math.nan, "per_kelvin": 1.0, "noise": 0.0}
    assert refused(lambda: sensor("boom", Measure.ANGLE, **bad)) == [
        ("out-of-range", "noise"), ("out-of-range", "zero_uncertainty"), ("not-sensed-so", "skew_uncertainty"),
        ("not-finite", "skew_uncertainty"), ("out-of-range", "per_kelvin"),
    ]  # fmt: skip


def test_a_machine_that_says_nothing_of_it_has_none() -> None:
    assert plain_machine().uncertainty is None
    assert plain_bucket().uncertainty is None


MACHINE_MOST = {
    "lengths": MOST_UNKNOWN_M, "angles": MOST_UNKNOWN_RAD, "pin_slop": MOST_SLOP_M, "flex": MOST_UNKNOWN_M,
}  # fmt: skip
ATTACHMENT_MOST = {"lengths": MOST_UNKNOWN_M, "angles": MOST_UNKNOWN_RAD, "edge_wear": MOST_UNKNOWN_M}


@pytest.mark.parametrize(
    ("part", "kind", "name", "most"),
    [
        *((plain_machine(), MachineUncertainty, *each) for each in MACHINE_MOST.items()),
        *((plain_bucket(), AttachmentUncertainty, *each) for each in ATTACHMENT_MOST.items()),
    ],
)
def test_bounds_of_a_machine_and_an_attachment(part: Any, kind: Any, name: str, most: float) -> None:
    place = f"uncertainty.{name}"
    for good in (None, 0.0, 0.5 * most, most):
        assert getattr(replace(part, uncertainty=kind(**{name: good})).uncertainty, name) == good
    for code, values in (
        ("out-of-range", (-1e-9, 1.0001 * most)),
        ("not-finite", (math.nan, math.inf)),
        ("not-a-number", ("0.1", True)),
    ):
        for bad in values:
            assert refused(lambda: replace(part, uncertainty=kind(**{name: bad}))) == [(code, place)]  # noqa: B023


def test_limits_of_single_dimensions_are_those_of_their_kind() -> None:
    part: Any
    kind: Any
    for part, kind, name, most in (
        (plain_machine(), MachineUncertainty, "boom_length", MOST_UNKNOWN_M),
        (tiltrotator_bucket(), AttachmentUncertainty, "tilt_axis_x", MOST_UNKNOWN_RAD),
        (tiltrotator_bucket(), AttachmentUncertainty, "mount_angle", MOST_UNKNOWN_RAD),
    ):
        assert replace(part, uncertainty=kind(of={name: most})).uncertainty
        found = refused(lambda: replace(part, uncertainty=kind(of={name: 1.001 * most})))  # noqa: B023
        assert found == [("out-of-range", f"uncertainty.of.{name}")]


def test_all_faults_of_a_machine_at_once() -> None:
    known = MachineUncertainty(-1.0, math.nan, {"boom_length": -0.1, "stick_length": math.inf}, 0.1, 1.0)
    assert refused(lambda: plain_machine(uncertainty=known, boom_length=0.0)) == [
        ("zero-length-link", "boom_length"),
        ("out-of-range", "uncertainty.lengths"), ("not-finite", "uncertainty.angles"),
        ("out-of-range", "uncertainty.of.boom_length"), ("not-finite", "uncertainty.of.stick_length"),
        ("out-of-range", "uncertainty.pin_slop"), ("out-of-range", "uncertainty.flex"),
    ]  # fmt: skip


def test_what_is_said_cannot_change() -> None:
    named = {"boom_length": 0.002}
    known = MachineUncertainty(of=named)
    named["boom_length"] = 1.0
    assert known.of == {"boom_length": 0.002}
    with pytest.raises(TypeError):
        known.of["boom_length"] = 1.0  # type: ignore[index]
    assert known == MachineUncertainty(of={"boom_length": 0.002}) != MachineUncertainty()
    assert hash(plain_machine(uncertainty=known)) == hash(plain_machine(uncertainty=replace(known)))


def test_every_parameter_is_of_one_part_and_of_one_kind() -> None:
    assert MACHINE_NAMES + ATTACHMENT_NAMES == NAMES
    assert not set(MACHINE_NAMES) & set(ATTACHMENT_NAMES)
    assert len(set(NAMES)) == len(NAMES) == 74
    assert {
        "coupler_angle", "mount_angle", *(f"{axis}_{x}" for axis in ("mast", "tilt_axis", "rotate_axis") for x in "xyz"),
    } == TURNS  # fmt: skip
    assert not any(is_turn(name) for name in set(NAMES) - TURNS)


@pytest.mark.parametrize("seed", range(12))
def test_a_part_has_what_the_record_has(seed: int) -> None:
    """Held against the record and what it calls lacking, which know nothing of the two parts apart."""
    found = seeded(seed, linkage=seed % 2 == 0, driven=seed % 3 == 0)
    row = record(found.machine, found.attachment)
    there = [name for name in NAMES if not math.isnan(row[name][0]) and name not in found.lacks]
    assert [*parameters_of(found.machine), *parameters_of(found.attachment)] == there
    assert lacking(found.machine, found.attachment) == found.lacks


@pytest.mark.parametrize(
    ("machine", "attachment", "name", "said"),
    [
        ({"boom_lenght": 0.1}, {}, "machine.uncertainty.of.boom_lenght", "did you mean boom_length?"),
        ({"Zuckerbrot": 0.1}, {}, "machine.uncertainty.of.Zuckerbrot", "take it out"),
        ({"pin_spacing": 0.1}, {}, "machine.uncertainty.of.pin_spacing", "of the attachment"),
        ({}, {"boom_length": 0.1}, "attachment.uncertainty.of.boom_length", "of the machine"),
        (
            {"fore_boom_length": 0.1},
            {},
            "machine.uncertainty.of.fore_boom_length",
            "a part that is not there",
        ),
        ({"swing_post_x": 0.1}, {}, "machine.uncertainty.of.swing_post_x", "a part that is not there"),
        ({"idler_length": 0.1}, {}, "machine.uncertainty.of.idler_length", "a part that is not there"),
        ({}, {"tooth_left_x": 0.1}, "attachment.uncertainty.of.tooth_left_x", "a part that is not there"),
        ({}, {"coupler_angle": 0.01}, "attachment.uncertainty.of.coupler_angle", "a part that is not there"),
        ({}, {"tilt_axis_x": 0.01}, "attachment.uncertainty.of.tilt_axis_x", "a part that is not there"),
    ],
)
def test_a_name_that_is_none_there(
    machine: dict[str, float], attachment: dict[str, float], name: str, said: str
) -> None:
    carrier = plain_machine(uncertainty=MachineUncertainty(of={"boom_length": 0.001} | machine))
    tool = plain_bucket(uncertainty=AttachmentUncertainty(of={"left_x": 0.001} | attachment))
    with pytest.raises(Refused) as caught:
        assemble(carrier, tool)
    (fault,) = caught.value.faults
    assert (fault.code, fault.where) == ("unknown-parameter", name)
    assert said in str(fault)
    may = fault.expected.removeprefix("one of ").split(", ")
    assert may == list(parameters_of(carrier if machine else tool))
    assert len(fault.found) < 100


def test_names_of_both_parts_at_once() -> None:
    carrier = plain_machine(uncertainty=MachineUncertainty(of={"a": 0.1, "b": 0.1}))
    tool = plain_bucket(uncertainty=AttachmentUncertainty(of={"c": 0.1}))
    assert refused(lambda: assemble(carrier, tool)) == [
        ("unknown-parameter", "machine.uncertainty.of.a"), ("unknown-parameter", "machine.uncertainty.of.b"),
        ("unknown-parameter", "attachment.uncertainty.of.c"),
    ]  # fmt: skip


@given(st.lists(st.sampled_from(NAMES) | st.text(max_size=30), unique=True, max_size=8))
def test_a_name_is_taken_where_the_part_has_it_and_nowhere_else(names: list[str]) -> None:
    part: Any
    kind: Any
    for part, kind in ((plain_machine(), MachineUncertainty), (tiltrotator_bucket(), AttachmentUncertainty)):
        known = replace(part, uncertainty=kind(of=dict.fromkeys(names, 0.001)))
        wrong = [name for name in names if name not in parameters_of(part)]
        assert [fault.where for fault in misnamed(known)] == [
            f"uncertainty.of.{name}" if name else "uncertainty.of" for name in wrong
        ]
