"""A strike is believed, or turned down with every reason and its numbers."""

import math
from dataclasses import replace

import pytest

from kinematics.errors import Refused
from kinematics.strikes import Crossing, StrikeRules, turned_down_because

GOOD = Crossing(
    receiver_height=1.2, half_difference=0.001, vertical_speed=0.02, mast_angle=math.radians(4),
    tilt_spread=math.radians(0.02), steady_s=1.5,
)  # fmt: skip
RULES = StrikeRules()


def codes(seen: Crossing, predicted: float | None = None, turns: float = 10.0) -> list[str]:
    return [fault.code for fault in turned_down_because(seen, RULES, turns, predicted)]


def test_a_good_crossing_is_taken() -> None:
    assert codes(GOOD) == []
    assert codes(GOOD, predicted=1.249) == []
    assert codes(replace(GOOD, half_difference=None)) == []


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"vertical_speed": 0.031}, "too-fast"),
        ({"vertical_speed": -0.031}, "too-fast"),
        ({"mast_angle": math.radians(10.1)}, "mast-leans"),
        ({"tilt_spread": math.radians(0.051)}, "not-steady"),
        ({"steady_s": 0.9}, "not-watched"),
        ({"half_difference": 0.0101}, "up-and-down-differ"),
        ({"vertical_speed": math.nan}, "too-fast"),
        ({"mast_angle": math.nan}, "mast-leans"),
    ],
)
def test_one_reason(change: dict[str, float], code: str) -> None:
    """Defaults of the trade (common practice, no source): 3 mm a turn, 10 deg, 0.05 deg for 1 s, 50 mm, 10 mm."""
    assert codes(replace(GOOD, **change)) == [code]


def test_slower_head_needs_a_slower_arm() -> None:
    assert codes(GOOD, turns=6.0) == ["too-fast"]


@pytest.mark.parametrize("off", [0.051, -0.051, math.nan])
def test_absurd_against_the_prediction(off: float) -> None:
    assert codes(GOOD, predicted=1.2 - off) == ["far-from-prediction"]


def test_every_reason_at_once_with_numbers() -> None:
    bad = Crossing(1.2, 0.02, 0.09, math.radians(14), math.radians(0.3), 0.5)
    reasons = turned_down_because(bad, RULES, 10.0, 1.0)
    assert [r.code for r in reasons] == [
        "too-fast", "mast-leans", "not-watched", "not-steady", "up-and-down-differ", "far-from-prediction",
    ]  # fmt: skip
    assert reasons[0].numbers == {"speed_mm_s": pytest.approx(90.0), "limit_mm_s": pytest.approx(30.0)}


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_rules_must_be_positive_and_finite(value: float) -> None:
    with pytest.raises(Refused) as refused:
        StrikeRules(surprise=value, mast=value)
    assert [f.where for f in refused.value.faults] == ["mast", "surprise"]
