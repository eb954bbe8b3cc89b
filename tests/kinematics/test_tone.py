"""The near-grade tone: `kinematics.tone`."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.tone import FASTEST_PER_S, MIDDLE_HZ, SLOWEST_PER_S, Tone, ToneWidths, tone
from tests.tolerances import ROUNDING

WIDTHS = ToneWidths(0.03, 0.3)
widths = st.tuples(st.floats(0.001, 0.2), st.floats(1.01, 50.0)).map(lambda w: ToneWidths(w[0], w[0] * w[1]))
heights = st.floats(-20.0, 20.0)


def test_worked() -> None:
    assert tone(0.0, WIDTHS) == tone(0.03, WIDTHS) == tone(-0.03, WIDTHS) == Tone(600.0, 0.0, in_pairs=False)
    far = tone(0.3, WIDTHS)
    assert far is not None
    assert math.isclose(far.pitch_hz, 1200.0, rel_tol=ROUNDING)
    assert math.isclose(far.pulses_per_s, 1.5, rel_tol=ROUNDING)
    assert not far.in_pairs
    # Half way, 0.165: 5/8 of an octave up, and the geometric mean of 1.5 and 9 pulses.
    half = tone(0.165, WIDTHS)
    assert half is not None
    assert math.isclose(half.pitch_hz, 600.0 * 2.0**0.625, rel_tol=ROUNDING)
    assert math.isclose(half.pulses_per_s, math.sqrt(1.5 * 9.0), rel_tol=ROUNDING)
    assert tone(0.301, WIDTHS) is None


@given(heights, widths)
def test_too_deep_is_never_silent_and_always_low_and_in_pairs(height: float, width: ToneWidths) -> None:
    heard = tone(height, width)
    if height < -width.on_grade_m - 1e-6:
        assert heard is not None
        assert heard.in_pairs
        assert 0.5 * MIDDLE_HZ * (1 - ROUNDING) <= heard.pitch_hz < MIDDLE_HZ
    elif heard is not None:
        assert not heard.in_pairs
        assert MIDDLE_HZ <= heard.pitch_hz <= 2.0 * MIDDLE_HZ * (1 + ROUNDING)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), widths, st.sampled_from([-1.0, 1.0]))
def test_nearer_is_quicker_and_nearer_the_middle(
    one: float, other: float, width: ToneWidths, side: float
) -> None:
    low, high = sorted((one, other))
    off = [width.on_grade_m + share * (width.heard_m - width.on_grade_m) for share in (low, high)]
    near, far = (tone(side * each, width) for each in off)
    if near is None or far is None or near.pulses_per_s == 0.0:
        return  # rounding put one of them on grade, or just out of hearing
    assert SLOWEST_PER_S * (1 - ROUNDING) <= far.pulses_per_s <= near.pulses_per_s <= FASTEST_PER_S
    assert abs(math.log2(near.pitch_hz / MIDDLE_HZ)) <= abs(math.log2(far.pitch_hz / MIDDLE_HZ)) + ROUNDING


@given(st.floats(0.01, 1.0), widths)
def test_both_sides_are_one_scale(share: float, width: ToneWidths) -> None:
    off = width.on_grade_m + share * (width.heard_m - width.on_grade_m) * 0.999
    above, below = tone(off, width), tone(-off, width)
    assert above is not None
    assert below is not None
    assert above.pulses_per_s == below.pulses_per_s
    assert math.isclose(above.pitch_hz * below.pitch_hz, MIDDLE_HZ**2, rel_tol=ROUNDING)


@pytest.mark.parametrize("height", [math.nan, math.inf, -math.inf])
def test_no_height_no_sound(height: float) -> None:
    with pytest.raises(Refused, match="finite"):
        tone(height, WIDTHS)


def test_every_fault_of_the_widths() -> None:
    with pytest.raises(Refused) as caught:
        ToneWidths(math.nan, -1.0)
    assert [(f.code, f.where) for f in caught.value.faults] == [
        ("not-finite", "on_grade_m"), ("out-of-range", "heard_m"),
    ]  # fmt: skip
    with pytest.raises(Refused, match="on grade"):
        ToneWidths(0.1, 0.1)
    with pytest.raises(Refused, match="unit"):
        ToneWidths(30.0, 300.0)
