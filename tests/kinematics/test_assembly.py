"""Machine and attachment joined: the published mini excavator, round trips, and what cannot be assembled or reached."""

import dataclasses
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kinematics import linkage
from kinematics.assembly import STOP_SLACK_RAD, Assembly, assemble
from kinematics.drives import (
    cylinder_length,
    four_bar_from_bucket,
    four_bar_from_idler,
    four_bar_from_power_link,
    joint_angle,
)
from kinematics.errors import Fault, Refused
from kinematics.machine import BucketLinkage, Cylinder, Machine, Range
from tests.amounts import several
from tests.reference import mini_excavator as mini

from .machines import LUG_DIRECTION, mini_bucket, mini_machine, plain_bucket, plain_machine, seeded

PRINTED_RAD = 5e-5  # four printed decimals
# The longest arm of a cylinder on the published machine, foot to joint pin, is 1.30 m.
PRINTED_M = PRINTED_RAD * 1.30
ROUND_TRIP_RAD = 1e-9  # 10 deg off dead centre multiplies the rounding by less than 100
ROUND_TRIP_M = 1e-9

seeds = st.integers(0, 400)
shares = st.floats(0.0, 1.0)


def refusal(call: Callable[[], object]) -> tuple[Fault, ...]:
    """The faults that a call is refused with."""
    with pytest.raises(Refused) as refused:
        call()
    return refused.value.faults


def only(call: Callable[[], object]) -> Fault:
    faults = refusal(call)
    assert len(faults) == 1, [str(fault) for fault in faults]
    return faults[0]


# --- the published mini excavator (tests/reference/mini_excavator.py) ---


@pytest.mark.parametrize(("joint", "length", "printed"), mini.PAIRS)
def test_published_cylinder_and_angle(joint: str, length: float, printed: float) -> None:
    """Open MATLAB model of a mini excavator (seen): six pairs of cylinder length and joint angle."""
    assembly = assemble(mini_machine(), mini_bucket())
    # Published bucket angles are of the line to the tip, ours of the line to the link pin.
    zero = LUG_DIRECTION if joint == "bucket" else 0.0
    angle = joint_angle(assembly, joint, length)
    assert abs(angle - zero - printed) <= PRINTED_RAD
    assert abs(cylinder_length(assembly, joint, printed + zero) - length) <= PRINTED_M
    assert abs(cylinder_length(assembly, joint, angle) - length) <= ROUND_TRIP_M
    ends = assembly.ranges[joint]
    assert min(abs(angle - ends.low), abs(angle - ends.high)) <= ROUND_TRIP_RAD


def test_published_other_branch() -> None:
    """The same source's geometry on the branch it does not use: bucket 1.4377 at the short end (recomputed)."""
    drive = mini_machine().bucket
    assert isinstance(drive, BucketLinkage)
    assert isinstance(drive.drive, Cylinder)
    c = drive.drive
    idler, status, _ = linkage.joint_from_cylinder(0.84, c.foot_x, c.foot_z, c.eye_x, c.eye_z, -1.0)
    assert status == linkage.OK
    bar = (
        *mini.IDLER_PIVOT_J,
        mini.IDLER_HJ,
        mini.POWER_LINK_HK,
        mini.BUCKET_PIN_L[0],
        math.hypot(*mini.LINK_LUG_K),
    )
    found = {}
    for branch, printed in ((1.0, 0.7839), (-1.0, mini.OTHER_BRANCH_SHORT_END)):
        bucket, *_, status, _ = linkage.bucket_from_idler(idler, *bar, branch)
        assert status == linkage.OK
        found[branch] = math.remainder(bucket - LUG_DIRECTION - printed, math.tau)
    assert abs(found[1.0]) <= PRINTED_RAD
    assert abs(found[-1.0]) <= PRINTED_RAD


# --- properties of random machines ---


@given(seed=seeds, share=shares)
@settings(deadline=None, max_examples=several(150))
def test_cylinder_and_joint_round_trip(seed: int, share: float) -> None:
    assembly = seeded(seed, linkage=True, driven=True)
    for joint, cylinder in assembly.cylinders.items():
        stroke = cylinder.stroke
        length = stroke.low + share * (stroke.high - stroke.low)
        angle = joint_angle(assembly, joint, length)
        reach = assembly.ranges[joint]
        assert reach.low - ROUND_TRIP_RAD <= angle <= reach.high + ROUND_TRIP_RAD
        assert abs(cylinder_length(assembly, joint, angle) - length) <= ROUND_TRIP_M


@given(seed=seeds, share=shares)
@settings(deadline=None, max_examples=several(150))
def test_four_bar_round_trip(seed: int, share: float) -> None:
    assembly = seeded(seed, linkage=True, driven=True)
    span, bar = assembly.idler, assembly.machine.bucket
    assert span is not None
    assert isinstance(bar, BucketLinkage)
    idler = span.low + share * (span.high - span.low)
    found = four_bar_from_idler(assembly, idler)
    reach = assembly.ranges["bucket"]
    assert reach.low - ROUND_TRIP_RAD <= found.bucket <= reach.high + ROUND_TRIP_RAD
    assert abs(four_bar_from_bucket(assembly, found.bucket).idler - idler) <= ROUND_TRIP_RAD
    h = bar.pivot_x + bar.idler_length * math.cos(idler), bar.pivot_z + bar.idler_length * math.sin(idler)
    spacing = assembly.attachment.pin_spacing
    k = assembly.machine.stick_length + spacing * math.cos(found.bucket), spacing * math.sin(found.bucket)
    assert abs(math.dist(h, k) - bar.power_link) <= 1e-12 * (bar.power_link + assembly.machine.stick_length)
    assert abs(math.atan2(k[1] - h[1], k[0] - h[0]) - found.power_link) <= ROUND_TRIP_RAD


@given(seed=seeds, share=st.floats(0.001, 0.999))
@settings(deadline=None, max_examples=several(150))
def test_power_link_leads_back_or_is_refused_as_ambiguous(seed: int, share: float) -> None:
    assembly = seeded(seed, linkage=True)
    span = assembly.idler
    assert span is not None
    idler = span.low + share * (span.high - span.low)
    found = four_bar_from_idler(assembly, idler)
    parallel = math.remainder(found.idler - found.bucket, math.pi)
    assume(abs(parallel) > 1.1 * linkage.DEAD_CENTRE_RAD)  # nearer it is refused: see below
    try:
        back = four_bar_from_power_link(assembly, found.power_link)
    except Refused as refused:
        fault = refused.faults[0]
    else:
        assert (
            abs(back.idler - idler) <= 1e-7
        )  # a degree off the fold: 60 times the rounding of an angle and more
        return
    # Refused: then a second position of the stroke has this power link angle.
    assert fault.code == "ambiguous", fault
    assert fault.numbers["power_link_deg"] == pytest.approx(math.degrees(found.power_link), abs=1e-9)
    assert assembly.idler_limits is not None
    idlers = np.linspace(assembly.idler_limits.low, assembly.idler_limits.high, 2001)
    apart = (
        np.unwrap([four_bar_from_idler(assembly, i).power_link for i in idlers.tolist()]) - found.power_link
    )
    apart = np.sin(apart)
    crossings = int(np.sum(apart[:-1] * apart[1:] <= 0.0))
    assert crossings >= 2


def test_ranges_are_swept_to_both_ends() -> None:
    for seed in range(60):
        assembly = seeded(seed, linkage=True)
        assert assembly.idler is not None
        idlers = np.linspace(assembly.idler.low, assembly.idler.high, 500).tolist()
        buckets = [four_bar_from_idler(assembly, idler).bucket for idler in idlers]
        reach = assembly.ranges["bucket"]
        assert abs(min(buckets) - reach.low) <= ROUND_TRIP_RAD
        assert abs(max(buckets) - reach.high) <= ROUND_TRIP_RAD
        steps = np.diff(buckets)
        assert np.all(steps > 0.0) or np.all(steps < 0.0), "the bucket turns back within the stroke"


# --- one position, refused ---


def crank_rocker(low_deg: float, high_deg: float) -> Assembly:
    """Norton's linkage of Example 4-1 in decimetres: idler 0.4, power link 1.2, spacing 0.8, pins 1 m apart."""
    bar = BucketLinkage(1.5, 0.0, 0.4, 1.2, 1, Range(math.radians(low_deg), math.radians(high_deg)))
    return assemble(plain_machine(bucket=bar), plain_bucket(pin_spacing=0.8))


def test_power_link_refusals_are_told_apart() -> None:
    narrow, wide = crank_rocker(80, 120), crank_rocker(30, 200)
    ambiguous = four_bar_from_idler(wide, math.radians(60)).power_link
    fault = only(lambda: four_bar_from_power_link(wide, ambiguous))
    assert fault.code == "ambiguous"
    assert fault.numbers["power_link_deg"] == pytest.approx(math.degrees(ambiguous), abs=1e-9)
    outside = four_bar_from_idler(wide, math.radians(195)).power_link
    assert only(lambda: four_bar_from_power_link(narrow, outside)).code == "out-of-stroke"
    crossed = linkage.bucket_from_idler(math.radians(100), 1.5, 0.0, 0.4, 1.2, 2.5, 0.8, -1.0)[1]
    assert only(lambda: four_bar_from_power_link(narrow, crossed)).code == "other-branch"
    fault = only(lambda: four_bar_from_power_link(narrow, math.pi))
    assert fault.code == "no-closure"
    assert fault.numbers["margin_m"] == pytest.approx(-1.0, abs=1e-9)  # 2.2 m apart, 0.4 + 0.8 m of links
    for value in (math.nan, math.inf):
        assert only(lambda value=value: four_bar_from_power_link(narrow, value)).code == "not-finite"  # type: ignore[misc]


def test_power_link_is_refused_where_it_stands_still() -> None:
    """Idler parallel to the pin line: a sensor error of 0.1 deg there moves the idler by many degrees."""
    wide = crank_rocker(30, 200)
    parallel = min(
        np.radians(np.arange(40, 90, 0.01)).tolist(),
        key=lambda idler: abs(four_bar_from_idler(wide, idler).bucket - idler),
    )
    one_sided = crank_rocker(math.degrees(parallel), 200)
    power_link = four_bar_from_idler(one_sided, parallel + math.radians(0.3)).power_link
    assert only(lambda: four_bar_from_power_link(one_sided, power_link)).code == "dead-centre"


def test_positions_beyond_the_joint_are_refused_with_their_numbers() -> None:
    narrow = crank_rocker(80, 120)
    fault = only(lambda: four_bar_from_idler(narrow, math.radians(121)))
    assert (fault.code, fault.where) == ("beyond-joint", "idler")
    assert fault.numbers == pytest.approx({"angle_deg": 121.0, "low_deg": 80.0, "high_deg": 120.0}, abs=1e-9)
    reach = narrow.ranges["bucket"]
    assert only(lambda: four_bar_from_bucket(narrow, reach.high + 2 * STOP_SLACK_RAD)).code == "beyond-joint"
    assert only(lambda: four_bar_from_bucket(narrow, math.nan)).code == "not-finite"
    assert only(lambda: four_bar_from_idler(narrow, math.inf)).code == "not-finite"
    plain = assemble(plain_machine(), plain_bucket())
    for call in (four_bar_from_idler, four_bar_from_bucket, four_bar_from_power_link):
        assert only(lambda call=call: call(plain, 0.3)).code == "no-linkage"  # type: ignore[misc]


def test_cylinder_refusals() -> None:
    assembly = assemble(mini_machine(), mini_bucket())
    for joint, low, high in (("boom", 905, 1305), ("stick", 1046, 1556), ("bucket", 840, 1260)):
        for length_mm in (low - 5, high + 5):  # well past the 0.25 deg slack of an end stop, here some 1-2 mm
            fault = only(lambda: joint_angle(assembly, joint, length_mm * 1e-3))  # noqa: B023
            assert (fault.code, fault.where) == ("out-of-stroke", joint)
            expected = {"length_mm": length_mm, "shortest_mm": low, "longest_mm": high}
            assert fault.numbers == pytest.approx(expected, abs=1e-6)
        for value in (math.nan, math.inf, -math.inf):
            assert only(lambda: joint_angle(assembly, joint, value)).code == "not-finite"  # noqa: B023
            assert only(lambda: cylinder_length(assembly, joint, value)).code == "not-finite"  # noqa: B023
        above = assembly.ranges[joint].high + 2 * STOP_SLACK_RAD
        assert only(lambda: cylinder_length(assembly, joint, above)).code == "beyond-joint"  # noqa: B023
    assert only(lambda: joint_angle(assembly, "fore_boom", 1.0)).code == "no-cylinder"
    assert only(lambda: cylinder_length(assembly, "tilt", 0.1)).code == "no-cylinder"


# --- pairs that cannot be assembled ---


def boom_stroke(low: float, high: float) -> Machine:
    """Boom cylinder with its foot 1 m from the pin and its eye 0.5 m: it closes from 0.5 to 1.5 m."""
    return plain_machine(boom=Cylinder(1.0, 0.0, 0.5, 0.0, Range(low, high), 1))


def test_stroke_that_cannot_close() -> None:
    fault = only(lambda: assemble(boom_stroke(0.4, 1.2), plain_bucket()))
    assert (fault.code, fault.where) == ("no-closure", "boom.cylinder")
    assert fault.numbers == pytest.approx({"cylinder_m": 0.4, "margin_m": -0.1}, abs=1e-12)
    fault = only(lambda: assemble(boom_stroke(0.8, 1.7), plain_bucket()))
    assert fault.code == "no-closure"
    assert fault.numbers == pytest.approx({"cylinder_m": 1.7, "margin_m": -0.2}, abs=1e-12)


def test_stroke_into_dead_centre() -> None:
    fault = only(lambda: assemble(boom_stroke(0.8, 1.49999), plain_bucket()))
    assert (fault.code, fault.where) == ("dead-centre", "boom.cylinder")
    assert fault.numbers == pytest.approx({"cylinder_m": 1.49999, "margin_m": 1e-5}, abs=1e-9)
    assert "boom" in assemble(boom_stroke(0.8, 1.49), plain_bucket()).ranges


def test_every_stroke_fault_at_once() -> None:
    foot = Cylinder(1.0, 0.0, 0.5, 0.0, Range(0.3, 1.6), 1)
    machine = plain_machine(boom=foot, stick=dataclasses.replace(foot, extending=-1))
    faults = refusal(lambda: assemble(machine, plain_bucket()))
    assert [(fault.code, fault.where) for fault in faults] == [
        ("no-closure", "boom.cylinder"), ("no-closure", "boom.cylinder"),
        ("no-closure", "stick.cylinder"), ("no-closure", "stick.cylinder"),
    ]  # fmt: skip


def folding(high_deg: float) -> Assembly:
    """Idler 0.6, power link 0.8, spacing 0.6, pins 1 m apart: in one line at exactly 120 deg (law of cosines)."""
    bar = BucketLinkage(1.5, 0.0, 0.6, 0.8, 1, Range(math.radians(80), math.radians(high_deg)))
    return assemble(plain_machine(bucket=bar), plain_bucket(pin_spacing=0.6))


def test_four_bar_into_dead_centre() -> None:
    fault = only(lambda: folding(120.0 - 1e-4))
    assert (fault.code, fault.where) == ("dead-centre", "bucket")
    assert fault.numbers["idler_deg"] == pytest.approx(120.0, abs=1e-3)
    assert fault.numbers["transmission_deg"] > 179.0
    assert 0.0 < fault.numbers["margin_m"] < 1e-5
    assert folding(115.0).idler is not None


def test_four_bar_that_cannot_close() -> None:
    fault = only(lambda: folding(150.0))
    assert (fault.code, fault.where) == ("no-closure", "bucket")
    missed = 1.4 - math.sqrt(1.36 + 1.2 * math.cos(math.radians(30)))
    assert fault.numbers == pytest.approx({"idler_deg": 150.0, "margin_m": missed}, abs=1e-9)
    with pytest.raises(Refused, match=r"150\.00 deg.*miss.*0\.1489 m"):
        folding(150.0)


def test_links_that_part_between_the_ends_are_found() -> None:
    """Both ends close, but where the idler points straight away from the bucket pin, 1.6 m off, the links are short
    by a tenth of a micrometre: over 0.04 deg either way only, less than a step of the sweep."""
    short = 1e-7
    bar = BucketLinkage(1.5, 0.0, 0.6, 1.0 - short, 1, Range(math.radians(100), math.radians(260.5)))
    fault = only(lambda: assemble(plain_machine(bucket=bar), plain_bucket(pin_spacing=0.6)))
    assert fault.code == "no-closure"
    assert fault.numbers == pytest.approx({"idler_deg": 180.0, "margin_m": -short}, abs=1e-9)


def test_four_bar_that_passes_its_toggle() -> None:
    """Norton's linkage: idler and power link in one line (1.6 m), pin line 0.8 m, pins 1 m: at acos(0.9125)."""
    toggle = math.degrees(math.acos((1.6**2 + 1.0**2 - 0.8**2) / (2 * 1.6)))
    assert toggle == pytest.approx(24.147, abs=1e-3)
    fault = only(lambda: crank_rocker(toggle - 15, toggle + 40))
    assert (fault.code, fault.where) == ("passes-toggle", "bucket")
    assert abs(fault.numbers["idler_deg"] - toggle) <= 55 / 240  # one step of the sweep
    assert crank_rocker(toggle + 3, toggle + 40).idler is not None


def test_wrong_attachment_for_the_linkage_is_refused() -> None:
    bucket = dataclasses.replace(mini_bucket(), pin_spacing=0.75)
    faults = refusal(lambda: assemble(mini_machine(), bucket))
    assert [fault.code for fault in faults] == ["no-closure"]
    assert "attachment" in faults[0].advice
