"""From rest to a pace and back: no jump in place or pace, and never faster than said."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.simulation.ramp import at_pace, within

positive = st.floats(0.01, 20.0)


@given(positive, positive, st.floats(0.05, 2.0))
def test_all_of_the_way_and_never_too_fast(length: float, pace: float, ramp_s: float) -> None:
    ramp = at_pace(length, pace, ramp_s)
    t = np.linspace(0.0, ramp.seconds, 2001)
    shares = np.array([ramp.share(each) for each in t])
    assert shares[0] == 0.0
    assert shares[-1] == 1.0
    speeds = np.diff(shares) * length / np.diff(t)
    assert np.all(np.isfinite(speeds))
    # A mean over a step is never above the pace; 1e-9 is rounding of shares near 1 over steps of some ms.
    assert speeds.max() <= pace * (1 + 1e-9) + 1e-9
    assert speeds.min() >= -1e-9
    # Pace grows at most by 1.5 of its mean slope over the ramp.
    jump = np.abs(np.diff(speeds)).max()
    assert jump <= 1.5 * pace / ramp_s * (t[1] - t[0]) * (1 + 1e-6) + 1e-9


def test_two_metres_at_half_a_metre_a_second() -> None:
    assert at_pace(2.0, 0.5, 0.6).seconds == pytest.approx(4.6)


@given(st.floats(0.1, 100.0), st.floats(0.05, 3.0))
def test_within_a_time(seconds: float, ramp_s: float) -> None:
    ramp = within(seconds, ramp_s)
    assert math.isclose(ramp.seconds, seconds, rel_tol=1e-12)
    assert math.isclose(ramp.share(0.5 * seconds), 0.5, rel_tol=1e-12)


def test_no_way_takes_no_time() -> None:
    ramp = at_pace(0.0, 1.0, 0.6)
    assert ramp.seconds == 0.0
