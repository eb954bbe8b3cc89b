"""Sine, cosine and arctangent of the kernel against 50 digits, over their whole range and at the hard places."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mpmath import mp, mpf

from kinematics.trig import WIDEST_RAD, arctan2, sincos
from tests.amounts import several

# Measured over 1e5 arguments, compiled and plain: 0.77 ulp for sine and cosine, 2.03 ulp for the arctangent. The
# module's own promise is the allowance, so that it cannot be broken unseen.
TURN_ULP = 1.0
ARCTANGENT_ULP = 3.0
# 60 digits beyond a double's 16 at 1e5 rad; next to a multiple of pi/2 some 21 of them cancel.
PRECISION = 80
# Where the arctangent changes its formula: near/far = tan(pi/8), and the diagonal.
EDGES = (math.tan(math.pi / 8), 1.0, 1.0 / math.tan(math.pi / 8))


def off_by(found: float, exact: mpf) -> float:
    """How many units in the last place of the exact value `found` lies off it."""
    return float(abs(mpf(found) - exact) / mpf(math.ulp(float(exact))))


def turn_off_by(angle: float) -> float:
    with mp.workdps(PRECISION):
        s, c = sincos(angle)
        assert math.isfinite(s), angle
        assert math.isfinite(c), angle
        return max(off_by(s, mp.sin(mpf(angle))), off_by(c, mp.cos(mpf(angle))))


def arctangent_off_by(y: float, x: float) -> float:
    with mp.workdps(PRECISION):
        found = arctan2(y, x)
        assert math.isfinite(found), (y, x)
        return off_by(found, mp.atan2(mpf(y), mpf(x)))


def beside(value: float) -> list[float]:
    """A double and its two neighbours either way."""
    found = [value]
    for end in (math.inf, -math.inf):
        near = value
        for _ in range(2):
            near = math.nextafter(near, end)
            found.append(near)
    return found


@given(st.floats(-WIDEST_RAD, WIDEST_RAD))
@settings(deadline=None, max_examples=several(300))
def test_sine_and_cosine_within_an_ulp(angle: float) -> None:
    assert turn_off_by(angle) <= TURN_ULP


@given(st.floats(-7.0, 7.0))
@settings(deadline=None, max_examples=several(300))
def test_sine_and_cosine_of_a_turn_within_an_ulp(angle: float) -> None:
    """Hypothesis likes huge and tiny numbers: joints live here."""
    assert turn_off_by(angle) <= TURN_ULP


def test_sine_and_cosine_beside_every_quarter_turn() -> None:
    """Where the result is what the reduction leaves over: pi/2 to one part loses all digits here."""
    widest = int(WIDEST_RAD / (math.pi / 2))
    rng = np.random.default_rng(1)
    with mp.workdps(PRECISION):
        quarters = [*range(33), widest - 1, *rng.integers(33, widest - 1, size=120).tolist()]
        hard = [float(mpf(k) * mp.pi / 2) for k in quarters]
        hard += [float((mpf(k) + mpf("0.5")) * mp.pi / 2) for k in quarters[:40]]  # where k rounds up or down
    worst = max(turn_off_by(sign * near) for angle in hard for near in beside(angle) for sign in (1.0, -1.0))
    assert worst <= TURN_ULP


def test_widest_angle_itself() -> None:
    assert turn_off_by(WIDEST_RAD) <= TURN_ULP
    assert turn_off_by(-WIDEST_RAD) <= TURN_ULP


def test_hardest_doubles_of_the_range() -> None:
    """29 pi/2 lies 6.2e-19 from a double, nearer than any other multiple up to 1e5 rad (found by trying them all)."""
    with mp.workdps(PRECISION):
        hardest = [float(29 * 2**n * mp.pi / 2) for n in range(11)]
        assert abs(mpf(hardest[0]) - 29 * mp.pi / 2) < 7e-19
    assert hardest[-1] < WIDEST_RAD
    assert max(turn_off_by(sign * angle) for angle in hardest for sign in (1.0, -1.0)) <= TURN_ULP


@given(st.floats(-WIDEST_RAD, WIDEST_RAD))
@settings(deadline=None, max_examples=several(200))
def test_sine_is_odd_and_cosine_even(angle: float) -> None:
    s, c = sincos(angle)
    back_s, back_c = sincos(-angle)
    assert back_s == -s
    assert back_c == c


def test_exact_turns_and_the_docstring() -> None:
    assert sincos(0.0) == (0.0, 1.0)
    assert sincos(-0.0) == (0.0, 1.0)
    s, c = sincos(0.5236)
    assert round(s, 4) == 0.5
    assert round(c, 3) == 0.866
    tiny = math.ulp(0.0)
    assert sincos(tiny) == (tiny, 1.0)
    # A joint held at zero must leave what hangs on it untouched to the last bit.
    assert [math.copysign(1.0, x) for x in sincos(0.0)] == [1.0, 1.0]


@pytest.mark.parametrize("angle", [math.nan, math.inf, -math.inf])
def test_no_number_has_no_sine(angle: float) -> None:
    s, c = sincos(angle)
    assert math.isnan(s)
    assert math.isnan(c)


@pytest.mark.parametrize("angle", [1e12, 1e17, -1e308])
def test_beyond_the_widest_angle_the_sine_is_right_or_none(angle: float) -> None:
    for each in (sincos, getattr(sincos, "py_func", sincos)):
        s, c = each(np.float64(angle))
        assert (math.isnan(s) and math.isnan(c)) or turn_off_by(angle) <= TURN_ULP


lengths = st.floats(1e-6, 1e6) | st.floats(-1e6, -1e-6)


@given(lengths, lengths)
@settings(deadline=None, max_examples=several(400))
def test_arctangent_within_three_ulps(y: float, x: float) -> None:
    assert arctangent_off_by(y, x) <= ARCTANGENT_ULP


@given(st.floats(0.0, 2.0), st.floats(1e-3, 1e3))
@settings(deadline=None, max_examples=several(200))
def test_arctangent_in_every_octant(ratio: float, size: float) -> None:
    for y, x in itertools.product((ratio * size, -ratio * size), (size, -size)):
        for up, ahead in ((y, x), (x, y)):
            if up != 0.0:
                assert arctangent_off_by(up, ahead) <= ARCTANGENT_ULP, (up, ahead)


def test_arctangent_at_the_edges_between_its_ranges() -> None:
    worst = 0.0
    for edge, size, up, ahead in itertools.product(EDGES, (1.0, 0.3, 7.7, 1e-5), (1.0, -1.0), (1.0, -1.0)):
        for ratio in beside(edge):
            worst = max(worst, arctangent_off_by(up * ratio * size, ahead * size))
    assert worst <= ARCTANGENT_ULP


def test_arctangent_on_the_axes() -> None:
    """Exactly as doubles have pi: what `math.atan2` says, but that the sign of a zero is not looked at."""
    for size in (1.0, 1e-300, 1e300, math.ulp(0.0)):
        assert arctan2(0.0, size) == 0.0
        assert arctan2(0.0, -size) == math.pi
        assert arctan2(size, 0.0) == math.pi / 2
        assert arctan2(-size, 0.0) == -math.pi / 2
        assert arctan2(size, size) == math.pi / 4
        assert arctan2(-size, -size) == -3 * math.pi / 4
    assert abs(arctan2(1.0, -1.0) - 2.3562) <= 0.00005


def test_sign_of_a_zero_is_not_looked_at() -> None:
    for zero, other in itertools.product((0.0, -0.0), (0.0, -0.0)):
        assert arctan2(zero, other) == 0.0
    assert arctan2(-0.0, -1.0) == math.pi
    assert arctan2(-0.0, 1.0) == 0.0
    assert arctan2(1.0, -0.0) == math.pi / 2


def test_no_number_has_no_direction() -> None:
    for other in (0.0, -1.0, 1.0, math.inf, -math.inf, math.nan):
        assert math.isnan(arctan2(math.nan, other))
        assert math.isnan(arctan2(other, math.nan))


@given(lengths, lengths)
@settings(deadline=None, max_examples=several(200))
def test_arctangent_mirrors(y: float, x: float) -> None:
    found = arctan2(y, x)
    assert arctan2(-y, x) == -found
    # From pi the other way round, a bit lost in either.
    assert abs(arctan2(y, -x) - math.copysign(math.pi, y) + found) <= 4 * math.ulp(math.pi)


@given(st.floats(-3.14159, 3.14159), st.floats(1e-3, 1e3))
@settings(deadline=None, max_examples=several(200))
def test_arctangent_undoes_sine_and_cosine(angle: float, size: float) -> None:
    """An ulp each of sine, cosine and their products, then three: some 1e-15 of the angle."""
    s, c = sincos(angle)
    assert abs(arctan2(size * s, size * c) - angle) <= 4 * math.ulp(math.pi)
