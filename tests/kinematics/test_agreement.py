"""Statistics of rod checks against NIST's certified data sets, the GUM's worked example and scipy.stats."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kinematics.agreement import (
    Check,
    agreement,
    drift,
    mean_of,
    slip,
    spread_limit,
    spread_of,
    t_limit,
    word_of,
)
from kinematics.errors import Refused
from tests.tolerances import ROUNDING

# NIST StRD linear regression, Norris (y, x): data and certified values as redistributed with the GNU Scientific Library's
# and scipy's own tests (read).
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8,
    557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
]  # fmt: skip
NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6,
    556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
]  # fmt: skip
# JCGM 100:2008 (GUM) H.3, the calibration of a thermometer, data of table H.6 (from memory): correction over t - 20.
GUM_T = [1.521, 2.012, 2.512, 3.003, 3.507, 3.999, 4.513, 5.002, 5.503, 6.010, 6.511]
GUM_B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


@pytest.mark.parametrize(
    ("values", "mean", "spread", "digits"),
    [
        # NIST StRD univariate NumAcc1, and NumAcc4 by the recipe in its header (read); NumAcc2, 3 likewise, from memory.
        ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, 1e-15),
        ([1.2] + 500 * [1.1, 1.3], 1.2, 0.1, 1e-13),
        ([1000000.2] + 500 * [1000000.1, 1000000.3], 1000000.2, 0.1, 1e-8),
        ([10000000.2] + 500 * [10000000.1, 10000000.3], 10000000.2, 0.1, 1e-7),
    ],
)
def test_mean_and_spread_of_certified_data(
    values: list[float], mean: float, spread: float, digits: float
) -> None:
    """The digits are those that decimal readings of ten million keep in double precision."""
    assert abs(mean_of(values) / mean - 1.0) <= 1e-15
    assert abs(spread_of(values) / spread - 1.0) <= digits


def test_the_line_through_norris() -> None:
    found = drift(NORRIS_X, NORRIS_Y)
    assert found is not None
    assert abs(found.slope / 1.00211681802045 - 1.0) <= 1e-13
    assert abs(found.standard / 0.429796848199937e-03 - 1.0) <= 1e-10
    assert not found.test.passed


def test_the_line_of_the_gum() -> None:
    """Slope 0.002 18 with standard deviation 0.000 67 (check_values 7.3, seen)."""
    found = drift(GUM_T, GUM_B)
    assert found is not None
    assert abs(found.slope - 0.00218) <= 0.000005
    assert abs(found.standard - 0.00067) <= 0.000005


@pytest.mark.parametrize("freedom", [1, 2, 4, 19, 38, 200])
def test_quantiles_by_scipy_stats(freedom: int) -> None:
    assert t_limit(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-9)
    expected = math.sqrt(stats.chi2.ppf(0.95, freedom) / freedom)
    assert spread_limit(freedom) == pytest.approx(expected, rel=1e-9)


def test_quantiles_as_printed() -> None:
    """t tables: 2.776 and 2.093 (NIST handbook 1.3.6.7.2, from memory); 1.19 at 38 (ISO 17123-2, from memory)."""
    assert round(t_limit(4), 3) == 2.776
    assert round(t_limit(19), 3) == 2.093
    assert round(spread_limit(38), 2) == 1.19


def checks(
    *millimetres: float, own: float = 0.006, common: float = 0.004, every: float = 3600.0
) -> list[Check]:
    return [Check(d / 1e3, own, common, i * every) for i, d in enumerate(millimetres)]


def test_against_scipy_as_a_whole() -> None:
    values = [4.0, 7.0, 1.0, 9.0, 6.0, 11.0]
    found = agreement(checks(*values))
    metres = np.array(values) / 1e3
    told = stats.ttest_1samp(metres, 0.0)
    assert found.shifted.passed == (told.pvalue >= 0.05)
    assert found.shifted.limit / (found.spread / math.sqrt(6)) == pytest.approx(stats.t.ppf(0.975, 5))
    line = stats.linregress(3600.0 * np.arange(6), metres)
    assert found.drift is not None
    assert found.drift.slope == pytest.approx(line.slope, rel=1e-12)
    assert found.drift.test.passed == (line.pvalue >= 0.05)
    assert found.running[-1] == pytest.approx((found.mean, found.spread))
    assert found.running[0] == (0.004, None)
    assert found.worst == 5


def test_what_is_common_is_not_averaged_away() -> None:
    """400 checks of one touch that was 8 mm off: the mean says 12 mm, and 1.96 * 8 mm is what the touch may be off."""
    many = agreement(checks(*([12.0, 12.4] * 200), own=0.002, common=0.008))
    assert many.bias.passed
    assert not many.shifted.passed
    assert many.bias.limit == pytest.approx(1.96 * math.hypot(0.008, 0.002 / 20.0), rel=1e-4)
    alone = agreement(checks(*([12.0, 12.4] * 200), own=0.008, common=0.0))
    assert not alone.bias.passed


def test_a_drift_is_found_and_noise_is_not() -> None:
    rising = agreement(checks(0.0, 2.1, 3.9, 6.1, 8.0)).drift
    assert rising is not None
    assert not rising.test.passed
    assert rising.change == pytest.approx(0.008, abs=2e-4)
    assert rising.slope * 3600 == pytest.approx(0.002, abs=5e-5)
    level = agreement(checks(3.0, -2.0, 4.0, -3.0, 1.0)).drift
    assert level is not None
    assert level.test.passed
    assert level.least > level.test.limit


def test_equal_readings_are_no_finding() -> None:
    found = agreement(checks(0.0, 0.0, 0.0, 0.0))
    assert found.shifted.passed
    assert found.bias.passed
    assert found.scatter.passed
    assert found.drift is not None
    assert found.drift.test.passed


def test_no_line_without_time() -> None:
    assert agreement(checks(1.0, 2.0, 3.0, every=0.0)).drift is None
    assert agreement(checks(1.0, 2.0)).drift is None


@pytest.mark.parametrize(
    ("metres", "word"),
    [(0.0, "within"), (0.017, "within"), (-0.018, "beyond"), (0.0269, "beyond"), (0.028, "far beyond")],
)  # fmt: skip
def test_words(metres: float, word: str) -> None:
    assert word_of(metres, 0.009) == word


@pytest.mark.parametrize(
    ("metres", "count", "unit"),
    [(0.61, 2.0, "ft"), (-0.3048, 1.0, "ft"), (0.102, 0.1, "m"), (1.003, 1.0, "m"), (-0.305, 1.0, "ft"), (0.0, 0, ""),
     (0.04, 0, ""), (0.155, 0, ""), (0.97, 0, "")],
)  # fmt: skip
def test_slips(metres: float, count: float, unit: str) -> None:
    found = slip(metres, 0.009)
    assert (found is None) == (unit == "")
    if found is not None:
        assert found.count == pytest.approx(count)
        assert found.unit == unit


def test_a_slip_on_top_of_an_honest_difference() -> None:
    """2 ft mistyped, by a tool that is itself 10 mm off; a decimetre is near almost anything, and stays at 10 mm."""
    assert slip(0.6197, 0.009) == slip(0.6096, 0.009)
    assert slip(0.645, 0.02) is None
    assert slip(0.7105, 0.009) is None


def test_a_slip_within_the_uncertainty_is_none() -> None:
    assert slip(0.61, 0.3) is None


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_what_is_not_finite_is_refused(bad: float) -> None:
    with pytest.raises(Refused) as told:
        Check(bad, bad, 0.0, 0.0)
    assert {fault.where for fault in told.value.faults} == {"difference", "own"}


def test_refusals() -> None:
    with pytest.raises(Refused) as told:
        agreement(checks(1.0))
    assert told.value.code == "too-few-checks"
    with pytest.raises(Refused) as told:
        agreement([Check(0.0, 0.0, 0.0, 5.0), Check(0.0, 0.0, 0.0, 1.0)])
    assert told.value.code == "not-in-order"
    with pytest.raises(Refused) as told:
        Check(0.0, -1.0, 0.0, 0.0)
    assert told.value.code == "negative-uncertainty"


@given(
    st.lists(st.floats(-0.5, 0.5), min_size=3, max_size=30),
    st.floats(-100.0, 100.0),
)
def test_a_shift_moves_the_mean_alone(values: list[float], shift: float) -> None:
    one = agreement([Check(v, 0.01, 0.01, float(i)) for i, v in enumerate(values)])
    other = agreement([Check(v + shift, 0.01, 0.01, float(i)) for i, v in enumerate(values)])
    size = 1.0 + abs(shift)
    assert abs(other.mean - one.mean - shift) <= ROUNDING * size
    assert abs(other.spread - one.spread) <= 1e-9
    assert one.drift is not None
    assert other.drift is not None
    assert abs(other.drift.slope - one.drift.slope) <= ROUNDING * 100 * size
