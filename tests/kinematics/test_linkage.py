"""Cylinder triangles and the four-bar: published numbers, closure, round trips, and the reasons for no answer."""

import math

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from kinematics import linkage
from kinematics.linkage import Status
from tests.amounts import several

# R. L. Norton, Design of Machinery, Example 4-1 (from memory, recomputed independently and agreeing):
# crank 40, coupler 120, rocker 80, ground 100. As our four-bar: idler, power link, pin spacing, bucket pin.
CRANK, COUPLER, ROCKER, GROUND = 40.0, 120.0, 80.0, 100.0
CRANK_AT = math.radians(40.0)
OPEN_PRINTED_RAD = math.radians(0.0005)  # three printed decimals of a degree
CROSSED_PRINTED_RAD = math.radians(0.01)  # recalled to two decimals
# A length of a few metres carries a rounding of 1e-16 of itself through a dozen operations.
RELATIVE = 1e-12
TURN_RAD = 1e-9  # a millionth of what any sensor resolves; room for a fold of 1000 near 1 deg of dead centre

lengths = st.floats(0.05, 3.0)
turns = st.floats(-math.pi, math.pi)
signs = st.sampled_from([-1.0, 1.0])


def norton(crank: float, branch: float) -> tuple[float, float, float, float, int, float]:
    return linkage.bucket_from_idler(crank, 0.0, 0.0, CRANK, COUPLER, GROUND, ROCKER, branch)


def apart(a: float, b: float) -> float:
    """Difference of two directions (rad), whole turns aside."""
    return abs(math.remainder(a - b, math.tau))


def test_four_bar_position_open() -> None:
    """Norton, Example 4-1, open: coupler 20.298, rocker 57.325 deg (from memory)."""
    bucket, power_link, _, _, status, margin = norton(CRANK_AT, 1.0)
    assert status == Status.OK
    assert margin > 0.0
    assert abs(bucket - math.radians(57.325)) <= OPEN_PRINTED_RAD
    assert abs(power_link - math.radians(20.298)) <= OPEN_PRINTED_RAD


def test_four_bar_position_crossed() -> None:
    """Norton, Example 4-1, crossed: coupler -60.98, rocker -98.01 deg (from memory; in full -98.00496)."""
    bucket, power_link, _, _, status, _ = norton(CRANK_AT, -1.0)
    assert status == Status.OK
    assert abs(bucket - math.radians(-98.01)) <= CROSSED_PRINTED_RAD
    assert abs(power_link - math.radians(-60.98)) <= CROSSED_PRINTED_RAD


def test_four_bar_velocity() -> None:
    """Norton, Example 6-7, the same linkage, crank 25 rad/s: coupler -4.121, rocker 6.998 rad/s (from memory)."""
    crank_speed, printed, step = 25.0, 0.0005, 1e-5
    ratio = norton(CRANK_AT, 1.0)[3]
    assert abs(crank_speed * ratio - 6.998) <= printed
    coupler = (norton(CRANK_AT + step, 1.0)[1] - norton(CRANK_AT - step, 1.0)[1]) / (2 * step)
    assert abs(crank_speed * coupler - -4.121) <= printed


def test_offset_slider_crank() -> None:
    """Norton, Example 4-2: crank 40 at 60 deg, coupler 120, slider 20 below: slider at 126.84 with the coupler at
    152.91 deg, or at -86.84 with 27.09 deg (from memory).

    The printed slider pin is a cylinder's foot, the coupler a cylinder of that length, the crank the link it holds.
    """
    printed = 0.005  # two decimals, of lengths of about 100 and of degrees
    for slider, coupler_deg, extending in ((126.84, 152.91, 1.0), (-86.84, 27.09, -1.0)):
        crank, status, _ = linkage.joint_from_cylinder(120.0, slider, -20.0, 40.0, 0.0, extending)
        assert status == Status.OK
        # The slider moves 0.005 where the crank turns by 0.005 / 30 or less.
        assert abs(math.degrees(crank) - 60.0) <= math.degrees(printed / 30.0)
        length, status, _ = linkage.cylinder_from_joint(math.radians(60), slider, -20.0, 40.0, 0.0, extending)
        assert status == Status.OK
        assert abs(length - 120.0) <= printed
        x, z, _, status, _ = linkage.meet(0.0, 0.0, 40.0, slider, -20.0, 120.0, extending)
        assert status == Status.OK
        assert abs(math.degrees(math.atan2(z - -20.0, x - slider)) - coupler_deg) <= 2 * printed


def test_three_four_five() -> None:
    """Euclid: sides 3, 4, 5 enclose a right angle; three equal sides 60 deg."""
    assert abs(linkage.opening(3.0, 4.0, 5.0) - math.pi / 2) <= RELATIVE
    assert abs(linkage.opening(1.0, 1.0, 1.0) - math.pi / 3) <= RELATIVE


@given(a=lengths, b=lengths, angle=st.floats(0.02, math.pi - 0.02))
@settings(deadline=None)
def test_opening_undoes_the_law_of_cosines(a: float, b: float, angle: float) -> None:
    c = math.dist((a, 0.0), (b * math.cos(angle), b * math.sin(angle)))
    found = linkage.opening(a, b, c)
    # c^2 holds the angle as 2ab sin(angle): slim or unequal triangles multiply its rounding.
    worth = max(a, b) ** 2 / (a * b * math.sin(angle))
    assert abs(found - angle) <= RELATIVE * worth


@given(foot=st.tuples(lengths, turns), eye=st.tuples(lengths, turns), sign=signs, share=st.floats(0.02, 0.98))
@settings(deadline=None, max_examples=several(300))
def test_cylinder_and_joint_round_trip(
    foot: tuple[float, float], eye: tuple[float, float], sign: float, share: float
) -> None:
    fx, fz = foot[0] * math.cos(foot[1]), foot[0] * math.sin(foot[1])
    ex, ez = eye[0] * math.cos(eye[1]), eye[0] * math.sin(eye[1])
    between = share * math.pi
    joint = foot[1] - eye[1] + sign * between
    length, status, margin = linkage.cylinder_from_joint(joint, fx, fz, ex, ez, sign)
    assert status == Status.OK
    assert margin > 0.0
    c, s = math.cos(joint), math.sin(joint)
    placed = math.dist((fx, fz), (c * ex - s * ez, s * ex + c * ez))
    assert abs(length - placed) <= RELATIVE * (foot[0] + eye[0])
    back, status, _ = linkage.joint_from_cylinder(length, fx, fz, ex, ez, sign)
    assert status == Status.OK
    assert apart(back, joint) <= TURN_RAD
    # A longer cylinder raises the link where `extending` is +1 and lowers it where it is -1.
    more, status, _ = linkage.joint_from_cylinder(length * (1 + 1e-6), fx, fz, ex, ez, sign)
    if status == Status.OK:
        assert sign * math.remainder(more - back, math.tau) > 0.0


@given(
    foot=lengths,
    eye=lengths,
    sign=signs,
    beyond=st.floats(1.0001, 3.0),
)
@settings(deadline=None)
def test_cylinder_that_cannot_close_says_by_how_much(
    foot: float, eye: float, sign: float, beyond: float
) -> None:
    too_long = (foot + eye) * beyond
    angle, status, margin = linkage.joint_from_cylinder(too_long, foot, 0.0, 0.0, eye, sign)
    assert math.isnan(angle)
    assert status == Status.NO_CLOSURE
    assert abs(margin - (foot + eye - too_long)) <= RELATIVE * too_long
    too_short = abs(foot - eye) / beyond
    assume(abs(foot - eye) > 1e-3)
    angle, status, margin = linkage.joint_from_cylinder(too_short, foot, 0.0, 0.0, eye, sign)
    assert math.isnan(angle)
    assert status == Status.NO_CLOSURE
    assert abs(margin - (too_short - abs(foot - eye))) <= RELATIVE * (foot + eye)


def test_cylinder_near_dead_centre_and_past_it() -> None:
    """Foot 1 m ahead, eye 0.5 m out, in one line at joint angle 0 (shortest) and 180 deg (longest)."""
    for degrees, expected in (
        (0.5, Status.DEAD_CENTRE), (1.5, Status.OK), (178.5, Status.OK), (179.5, Status.DEAD_CENTRE),
        (-0.5, Status.OTHER_BRANCH), (-90.0, Status.OTHER_BRANCH),
    ):  # fmt: skip
        length, status, margin = linkage.cylinder_from_joint(math.radians(degrees), 1.0, 0.0, 0.5, 0.0, 1.0)
        assert status == expected, degrees
        assert 0.5 <= length <= 1.5
        assert margin >= 0.0
    assert linkage.joint_from_cylinder(0.5, 1.0, 0.0, 0.5, 0.0, 1.0)[1] == Status.DEAD_CENTRE
    assert linkage.joint_from_cylinder(1.5, 1.0, 0.0, 0.5, 0.0, 1.0)[1] == Status.DEAD_CENTRE


def test_not_a_number_never_closes() -> None:
    nan = math.nan
    assert linkage.joint_from_cylinder(nan, 1.0, 0.0, 0.5, 0.0, 1.0)[1] == Status.NO_CLOSURE
    assert linkage.joint_from_cylinder(1.0, nan, 0.0, 0.5, 0.0, 1.0)[1] == Status.NO_CLOSURE
    assert linkage.meet(0.0, 0.0, nan, 1.0, 0.0, 1.0, 1.0)[3] == Status.NO_CLOSURE
    assert norton(nan, 1.0)[4] == Status.NO_CLOSURE


# A four-bar that closes by construction: the link pin stands where `transmission` puts it.
four_bars = st.tuples(
    st.floats(0.05, 0.8), st.floats(-0.3, 0.3), st.floats(0.1, 0.8), turns,
    st.floats(0.1, 0.9), st.floats(math.radians(10), math.radians(170)), signs,
)  # fmt: skip
FourBar = tuple[float, float, float, float, float, float, float]


def closing(drawn: FourBar) -> tuple[float, tuple[float, float, float, float, float, float, float]]:
    """(idler angle, arguments of the four-bar formulas) from pivot back and up, idler, angle, spacing share."""
    back, up, idler_length, idler, share, transmission, branch = drawn
    bucket_pin = 2.5
    pivot_x = bucket_pin - back
    d = math.hypot(bucket_pin - pivot_x - idler_length * math.cos(idler), up + idler_length * math.sin(idler))
    assume(d > 0.05)
    spacing = share * d
    power = spacing * math.cos(transmission) + math.sqrt(d**2 - (spacing * math.sin(transmission)) ** 2)
    assume(power > 0.05)
    return idler, (pivot_x, up, idler_length, power, bucket_pin, spacing, branch)


@given(drawn=four_bars)
@settings(deadline=None, max_examples=several(300))
def test_four_bar_closes(drawn: FourBar) -> None:
    idler, bar = closing(drawn)
    pivot_x, pivot_z, idler_length, power, bucket_pin, spacing, branch = bar
    bucket, power_link, transmission, _, status, margin = linkage.bucket_from_idler(idler, *bar)
    assert status == Status.OK
    assert margin > 0.0
    h = pivot_x + idler_length * math.cos(idler), pivot_z + idler_length * math.sin(idler)
    k = bucket_pin + spacing * math.cos(bucket), spacing * math.sin(bucket)
    size = power + spacing
    assert abs(math.dist(h, k) - power) <= RELATIVE * size
    by_power_link = h[0] + power * math.cos(power_link), h[1] + power * math.sin(power_link)
    assert math.dist(by_power_link, k) <= RELATIVE * size
    assert abs(transmission - drawn[5]) <= TURN_RAD
    assert branch * ((bucket_pin - h[0]) * (k[1] - h[1]) + h[1] * (k[0] - h[0])) > 0.0


@given(drawn=four_bars)
@settings(deadline=None, max_examples=several(300))
def test_idler_and_bucket_round_trip(drawn: FourBar) -> None:
    idler, bar = closing(drawn)
    bucket, _, _, ratio, status, _ = linkage.bucket_from_idler(idler, *bar)
    assert status == Status.OK
    # At the toggle the bucket stands still while the idler moves: nothing leads back.
    assume(abs(ratio) > 1e-3)
    found = [linkage.idler_from_bucket(bucket, *bar, side) for side in (1.0, -1.0)]
    # DEAD_CENTRE here warns of the toggle and keeps the angle.
    held = [angle for angle, status, _ in found if status in {Status.OK, Status.DEAD_CENTRE}]
    assert len([angle for angle in held if apart(angle, idler) <= TURN_RAD]) == 1
    pivot_x, pivot_z, idler_length, power, bucket_pin, spacing, _ = bar
    k = bucket_pin + spacing * math.cos(bucket), spacing * math.sin(bucket)
    for angle in held:  # the other idler position, where it is on this branch, closes as well
        h = pivot_x + idler_length * math.cos(angle), pivot_z + idler_length * math.sin(angle)
        assert abs(math.dist(h, k) - power) <= RELATIVE * (power + idler_length)


@given(drawn=four_bars, width=st.floats(0.05, 0.4))
@settings(deadline=None, max_examples=several(300))
def test_power_link_leads_back_or_says_ambiguous(drawn: FourBar, width: float) -> None:
    idler, bar = closing(drawn)
    _, power_link, _, _, status, _ = linkage.bucket_from_idler(idler, *bar)
    assert status == Status.OK
    low, high = idler - width, idler + width
    back, status, _ = linkage.idler_from_power_link(power_link, *bar, low, high)
    if status == Status.AMBIGUOUS:
        other = twin_of(idler, bar)
        assert low - TURN_RAD <= idler + math.remainder(other - idler, math.tau) <= high + TURN_RAD
        pivot_x, pivot_z, idler_length, power, bucket_pin, spacing, _ = bar
        k = (
            pivot_x + idler_length * math.cos(other) + power * math.cos(power_link) - bucket_pin,
            pivot_z + idler_length * math.sin(other) + power * math.sin(power_link),
        )
        assert abs(math.hypot(*k) - spacing) <= RELATIVE * (idler_length + power + spacing)
        return
    assert status in {Status.OK, Status.DEAD_CENTRE}
    # Near the fold the angle hardly changes: what leads back is the same power link angle, not the same digits.
    assert apart(linkage.bucket_from_idler(back, *bar)[1], power_link) <= TURN_RAD
    assert low - TURN_RAD <= back <= high + TURN_RAD
    assert apart(back, idler) <= 1e-6


def twin_of(idler: float, bar: tuple[float, float, float, float, float, float, float]) -> float:
    """The other idler angle with the same power link angle: the idler mirrored in the line from its pivot to the
    place from where the power link, laid off backwards, ends on the bucket pin's circle."""
    pivot_x, pivot_z, _, power, bucket_pin, _, _ = bar
    power_link = linkage.bucket_from_idler(idler, *bar)[1]
    line = math.atan2(
        -power * math.sin(power_link) - pivot_z, bucket_pin - power * math.cos(power_link) - pivot_x
    )
    return 2.0 * line - idler


def test_power_link_is_ambiguous_about_the_idler_parallel_to_the_pin_line() -> None:
    """Norton's linkage: the coupler turns back where crank and rocker are parallel (its speed is then nil)."""
    bar = (0.0, 0.0, CRANK, COUPLER, GROUND, ROCKER, 1.0)
    parallel = brentq(
        lambda crank: norton(crank, 1.0)[0] - crank, math.radians(40), math.radians(90), xtol=1e-14
    )
    for off in np.radians([0.2, 3.0, 10.0, 20.0]).tolist():
        for idler in (parallel - off, parallel + off):
            twin = twin_of(idler, bar)
            power_link = norton(idler, 1.0)[1]
            assert apart(norton(twin, 1.0)[1], power_link) <= TURN_RAD
            wide = linkage.idler_from_power_link(power_link, *bar, parallel - 0.7, parallel + 0.7)
            assert wide[1] == Status.AMBIGUOUS
            assert math.isnan(wide[0])
            one_side = (parallel, parallel + 0.7) if idler > parallel else (parallel - 0.7, parallel)
            back, status, _ = linkage.idler_from_power_link(power_link, *bar, *one_side)
            # Within a degree of parallel a sensor's error turns the idler many times as far. The rocker
            # follows at half the crank's speed there, so that they part by half of `off`.
            assert status == (Status.DEAD_CENTRE if off < linkage.DEAD_CENTRE_RAD else Status.OK)
            assert abs(back - idler) <= TURN_RAD


def test_power_link_reasons_are_told_apart() -> None:
    bar = (0.0, 0.0, CRANK, COUPLER, GROUND, ROCKER, 1.0)
    low, high = math.radians(80), math.radians(120)
    outside, status, _ = linkage.idler_from_power_link(norton(math.radians(200), 1.0)[1], *bar, low, high)
    assert math.isnan(outside)
    assert status == Status.OUT_OF_STROKE
    crossed, status, _ = linkage.idler_from_power_link(norton(math.radians(100), -1.0)[1], *bar, low, high)
    assert math.isnan(crossed)
    assert status == Status.OTHER_BRANCH
    nowhere, status, margin = linkage.idler_from_power_link(math.pi, *bar, low, high)
    assert math.isnan(nowhere)
    assert status == Status.NO_CLOSURE
    # Laid off backwards from the bucket pin the power link ends 220 away; crank and rocker span 120.
    assert abs(margin - (CRANK + ROCKER - 220.0)) <= RELATIVE * 220.0


def test_four_bar_dead_centre_and_no_closure() -> None:
    """Idler 0.6, power link 0.8, spacing 0.6, pins 1 m apart. By the law of cosines idler pin and bucket pin are
    1.4 m apart, power link and pin line in one line, at exactly 120 deg; at 150 deg they are 1.54895 m apart."""
    bar = (0.0, 0.0, 0.6, 0.8, 1.0, 0.6, 1.0)
    assert linkage.bucket_from_idler(math.radians(110.0), *bar)[4] == Status.OK
    near = linkage.bucket_from_idler(math.radians(119.999), *bar)
    assert near[4] == Status.DEAD_CENTRE
    assert near[2] > math.radians(179.0)
    assert 0.0 < near[5] < 1e-4
    beyond = linkage.bucket_from_idler(math.radians(150.0), *bar)
    assert beyond[4] == Status.NO_CLOSURE
    assert math.isnan(beyond[0])
    assert abs(beyond[5] - (1.4 - math.sqrt(1.36 + 1.2 * math.cos(math.radians(30))))) <= RELATIVE
