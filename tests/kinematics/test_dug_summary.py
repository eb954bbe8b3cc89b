"""Checks summed up: against scipy's tests of proportions, exact binomial sums, NIST's example, the rule's own ends."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from kinematics.agreement import FACTOR
from kinematics.dug_summary import Dug, share, summary, sureness
from kinematics.errors import Refused

ENDS = 1e-9
"""Of a proportion: the incomplete beta function is inverted to double precision; what is told has three figures."""


def test_share_by_nist() -> None:
    """NIST/SEMATECH e-Handbook 7.2.4.1, 4 of 20 with 90 %: 0.071354 and 0.401029 (from memory)."""
    found = share(4, 20, 0.90)
    assert found.ratio == 0.2
    assert abs(found.low - 0.071354) < 1e-6
    assert abs(found.high - 0.401029) < 1e-6


@pytest.mark.parametrize(
    ("count", "of"), [(0, 1), (1, 1), (0, 12), (12, 12), (19, 20), (3, 7), (980, 1000), (5000, 10_000)]
)
@pytest.mark.parametrize("level", [0.90, 0.95, 0.99])
def test_share_by_scipy(count: int, of: int, level: float) -> None:
    referee = binomtest(count, of).proportion_ci(level, method="exact")
    found = share(count, of, level)
    assert abs(found.low - referee.low) < ENDS
    assert abs(found.high - referee.high) < ENDS


def test_share_by_the_definition() -> None:
    """Clopper and Pearson: at its ends what was seen, or more, or less, has a probability of half of what is left."""
    count, of = 17, 23
    found = share(count, of)

    def tail(ratio: float, counts: range) -> float:
        return math.fsum(math.comb(of, k) * ratio**k * (1.0 - ratio) ** (of - k) for k in counts)

    assert abs(tail(found.low, range(count, of + 1)) - 0.025) < ENDS
    assert abs(tail(found.high, range(count + 1)) - 0.025) < ENDS
    # None of n beyond: the rule of three's exact form, 1 - 0.025^(1/n).
    assert abs(share(12, 12).low - 0.025 ** (1 / 12)) < ENDS


@given(st.integers(1, 400), st.floats(0.5, 0.999), st.data())
def test_share_mirrored_and_in_order(of: int, level: float, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, of))
    found, mirrored = share(count, of, level), share(of - count, of, level)
    assert 0.0 <= found.low <= found.ratio <= found.high <= 1.0
    assert abs(found.low - (1.0 - mirrored.high)) < 1e-7


@pytest.mark.parametrize(
    ("count", "of", "level"), [(-1, 3, 0.95), (4, 3, 0.95), (0, 0, 0.95), (1, 2, 1.0), (1, 2, 0.0)]
)
def test_no_share(count: int, of: int, level: float) -> None:
    with pytest.raises(Refused) as refused:
        share(count, of, level)
    assert refused.value.code == "out-of-range"


@pytest.mark.parametrize(
    ("deviation", "expected"),
    [(0.0, "surely within"), (0.020, "surely within"), (-0.022, "surely within"), (0.025, "not sure"),
     (0.030, "not sure"), (-0.035, "not sure"), (0.038, "surely beyond"), (-0.0379, "surely beyond")],
)  # fmt: skip
def test_the_rule(deviation: float, expected: str) -> None:
    """ISO 14253-1: the specification is shrunk, or widened, by the uncertainty: 30 mm with 7.84 mm, 22.16 and 37.84."""
    assert sureness(deviation, 0.004, 0.030) == expected


def test_the_rule_at_its_ends() -> None:
    doubt = FACTOR * 0.004
    assert sureness(0.030 - doubt, 0.004, 0.030) == "surely within"
    assert sureness(0.030 - doubt + 1e-6, 0.004, 0.030) == "not sure"
    assert sureness(0.030 + doubt, 0.004, 0.030) == "not sure"
    assert sureness(0.030 + doubt + 1e-6, 0.004, 0.030) == "surely beyond"
    assert sureness(0.030, 0.0, 0.030) == "surely within"


def test_how_often_the_rule_errs() -> None:
    """Within or beyond wrongly at most 5 times in 100 (here one side of a normal, 2.5), wherever the truth stands."""
    draws = np.random.default_rng(11).normal(size=20_000) * 0.004
    just_beyond = (
        sum(sureness(0.0301 + e, 0.004, 0.030) == "surely within" for e in draws.tolist()) / draws.size
    )
    just_within = (
        sum(sureness(0.0299 + e, 0.004, 0.030) == "surely beyond" for e in draws.tolist()) / draws.size
    )
    assert 0.015 < just_beyond < 0.030
    assert 0.015 < just_within < 0.030


def dug(left: float, centre: float, right: float, standard: float = 0.004) -> Dug:
    return Dug((left, centre, right), (standard, standard, standard), 0.030)


def test_a_check_is_as_sure_as_its_worst_point() -> None:
    assert dug(0.01, 0.0, -0.01).sureness == "surely within"
    assert dug(0.01, 0.0, -0.025).sureness == "not sure"
    assert dug(0.025, 0.0, -0.045).sureness == "surely beyond"
    assert dug(0.030, 0.0, 0.0).within
    assert not dug(0.0, 0.0, -0.031).within


def test_summary_by_hand() -> None:
    found = summary([dug(0.001, 0.010, 0.020), dug(-0.050, -0.020, 0.002), dug(0.0, 0.004, 0.012)])
    assert found.count == 3
    assert abs(found.mean - (-0.002)) < 1e-15
    assert found.spread is not None
    assert abs(found.spread - math.sqrt((0.012**2 + 0.018**2 + 0.006**2) / 2)) < 1e-15
    assert (found.lowest.index, found.lowest.point, found.lowest.deviation) == (1, "left", -0.050)
    assert (found.highest.index, found.highest.point, found.highest.deviation) == (0, "right", 0.020)
    assert (found.within.count, found.within.of) == (2, 3)
    assert found.sure == {"surely within": 2, "not sure": 0, "surely beyond": 1}


def test_one_check_has_no_spread_and_none_no_summary() -> None:
    assert summary([dug(0.0, 0.001, 0.0)]).spread is None
    with pytest.raises(Refused) as refused:
        summary([])
    assert refused.value.code == "too-few"


@pytest.mark.parametrize(
    ("deviations", "standards", "tolerance", "code"),
    [
        ((math.nan, 0.0, 0.0), (0.1, 0.1, 0.1), 0.1, "not-finite"),
        ((0.0, 0.0, 0.0), (0.1, math.inf, 0.1), 0.1, "not-finite"),
        ((0.0, 0.0, 0.0), (0.1, -0.1, 0.1), 0.1, "out-of-range"),
        ((0.0, 0.0, 0.0), (0.1, 0.1, 0.1), 0.0, "tolerance-not-positive"),
    ],
)
def test_no_check(
    deviations: tuple[float, float, float], standards: tuple[float, float, float], tolerance: float, code: str
) -> None:
    with pytest.raises(Refused) as refused:
        Dug(deviations, standards, tolerance)
    assert refused.value.code == code


def test_ten_thousand_checks() -> None:
    rng = np.random.default_rng(5)
    checks = [dug(*each) for each in rng.normal(scale=0.01, size=(10_000, 3)).tolist()]
    found = summary(checks)
    assert found.count == 10_000
    assert found.spread is not None
    assert abs(found.spread - 0.01) < 3e-4  # 0.01 / sqrt(2 n) is 0.7e-4
