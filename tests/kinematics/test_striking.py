"""A receiver's samples turned into passes through the plane."""

import math
from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.striking import APART_S, LONGEST_S, MOST_WAITING, NEAR_M, InPlane, Striking

EXACT_S = 1e-9
LATER_S = 60.0


def by_bits(samples: Iterable[tuple[float, bool]], turns: float = 10.0) -> list[InPlane]:
    striking = Striking(turns)
    for at_s, hit in samples:
        assert striking.add_hit(at_s, hit) is None
    return striking.due(LATER_S)


def by_heights(height: Callable[[float], float | None], end_s: float, hz: float = 20.0) -> list[InPlane]:
    """Passes of a receiver that told these heights (m) of the beam over its centre, nothing where None."""
    striking = Striking(10.0)
    for k in range(math.floor(end_s * hz)):
        told = height(k / hz)
        if told is not None:
            assert striking.add_above(k / hz, told) is None
    return striking.due(LATER_S)


def bits(text: str, step: float = 0.1) -> list[tuple[float, bool]]:
    """One sample each step from 0: "1" on the plane, "0" not, " " nothing told."""
    return [(step * k, mark == "1") for k, mark in enumerate(text) if mark != " "]


# Bits


def test_a_pass_and_its_middle() -> None:
    (found,) = by_bits(bits("0001111100000"))
    assert (found.first_s, found.last_s, found.count) == pytest.approx((0.3, 0.7, 5), abs=EXACT_S)
    assert found.at_s == pytest.approx(0.5, abs=EXACT_S)
    assert (found.above_m, found.up, found.left) == (None, None, True)


def test_nothing_but_false() -> None:
    assert by_bits(bits("0" * 500)) == []
    assert Striking(10.0).due(1.0) == [], "nothing at all"


def test_bouncing_bits_are_one_pass() -> None:
    (found,) = by_bits(bits("000101101110100000"))
    assert (found.first_s, found.last_s, found.count) == pytest.approx((0.3, 1.2, 7), abs=EXACT_S)


def test_two_passes() -> None:
    first, second = by_bits(bits("00110000110000"))
    assert (first.at_s, second.at_s) == pytest.approx((0.25, 0.85), abs=EXACT_S)


@pytest.mark.parametrize(("turns", "count"), [(10.0, 2), (5.0, 1)])
def test_the_gap_is_of_the_laser_head(turns: float, count: int) -> None:
    """0.4 s of silence: two passes at 10 turns a second (0.25 s), one at 5 (0.5 s)."""
    assert len(by_bits(bits("0011   1100"), turns)) == count


def test_a_pass_comes_when_it_is_complete_and_once() -> None:
    striking = Striking(10.0)
    for at_s, hit in bits("00111"):
        striking.add_hit(at_s, hit)
    assert striking.due(0.41) == []
    assert striking.due(0.4 + APART_S - 0.01) == [], "another may follow"
    (found,) = striking.due(0.4 + APART_S + 0.01)
    assert found.last_s == pytest.approx(0.4, abs=EXACT_S)
    assert not found.scattered
    assert striking.due(1.3) == []
    striking.add_hit(5.0, hit=True)
    assert [each.at_s for each in striking.due(6.0)] == [5.0]


def test_a_stop_in_the_plane_is_told_once_while_it_lasts() -> None:
    striking = Striking(10.0)
    for k in range(200):
        striking.add_hit(0.1 * k, k >= 10)
    (found,) = striking.due(19.95)
    assert (found.first_s, found.left) == (1.0, False)
    assert found.last_s - found.first_s == pytest.approx(LONGEST_S, abs=0.11), "one sample"
    assert striking.due(30.0) == [], "leaving is no second pass"


def test_a_flood_is_bounded() -> None:
    """A receiver gone mad at 1 kHz: one stop, told once; passes that nobody fetches: the newest of them."""
    striking = Striking(10.0)
    for k in range(50_000):
        striking.add_hit(1e-3 * k, k % 2 == 0)
    assert [each.left for each in striking.due(50.0)] == [False]
    for k in range(500):
        striking.add_hit(100.0 + k, hit=True)
    found = striking.due(1000.0)
    assert len(found) == MOST_WAITING
    assert found[-1].at_s == 599.0


@given(st.lists(st.tuples(st.floats(0.001, 1.0), st.booleans()), max_size=60), st.floats(0.5, 30.0))
def test_passes_follow_one_another(steps: list[tuple[float, bool]], turns: float) -> None:
    """Whatever comes: in order, apart by more than the gap, never longer than it takes to be told."""
    striking, at_s, samples = Striking(turns), 0.0, []
    for step, hit in steps:
        at_s += step
        samples.append((at_s, hit))
        assert striking.add_hit(at_s, hit) is None
    found = striking.due(at_s + 100.0)
    true = [when for when, hit in samples if hit]
    assert bool(found) == bool(true)
    for each in found:
        assert each.first_s <= each.at_s <= each.last_s
        assert each.first_s in true
        assert each.last_s in true
        assert each.last_s - each.first_s < LONGEST_S + striking.gap_s + 1e-9
    for one, next_ in pairwise(found):
        assert next_.first_s - one.last_s > striking.gap_s


def test_one_that_is_followed_soon_is_scattered_and_so_is_the_next() -> None:
    near = by_bits(bits("0011100000111000"))
    assert [each.scattered for each in near] == [True, True]
    far = by_bits(bits("001110000000000111000"))
    assert [each.scattered for each in far] == [False, False]


def test_what_is_under_way_is_waited_for() -> None:
    """The first is over for more than 0.8 s, but the next began within them and is not over yet."""
    striking = Striking(10.0)
    for at_s, hit in bits("0011100000111111"):
        striking.add_hit(at_s, hit)
    assert striking.due(1.5) == []
    assert [each.scattered for each in striking.due(4.0)] == [True, True]


@pytest.mark.parametrize(
    ("text", "scattered"),
    [("0010101000", True), ("0010101010100", True), ("00101000", False), ("001110111000", False),
     ("0011011011000", False)],
)  # fmt: skip
def test_bits_full_of_holes(text: str, scattered: bool) -> None:
    (found,) = by_bits(bits(text))
    assert found.scattered == scattered


def test_a_receiver_asked_oftener_than_the_head_turns_has_no_holes() -> None:
    """Five samples a turn, one of them true."""
    (found,) = by_bits(bits("0000010000100001000010000000000000000000000000", 0.02))
    assert (found.count, found.scattered) == (4, False)


def test_heights_that_follow_soon_are_scattered() -> None:
    found = by_heights(lambda t: 0.05 * math.sin(2.0 * math.pi * t - 0.6), 3.0)
    assert len(found) >= 4
    assert all(each.scattered for each in found)


# Heights


@pytest.mark.parametrize(("speed", "up"), [(0.03, False), (-0.03, True), (0.5, False)])
def test_a_zero_between_samples(speed: float, up: bool) -> None:
    """The beam sinks over the centre where the receiver rises."""
    (found,) = by_heights(lambda t: speed * (t - 1.23), 3.0)
    assert found.at_s == pytest.approx(1.23, abs=EXACT_S)
    assert (found.above_m, found.up, found.left) == (0.0, up, True)
    assert found.first_s <= 1.23 <= found.last_s
    assert found.last_s - found.first_s <= 2.0 * NEAR_M / abs(speed) + 0.1 + EXACT_S


def test_a_receiver_that_loses_the_beam_on_the_other_side() -> None:
    (found,) = by_heights(lambda t: 0.03 * (t - 1.02) if t < 1.06 else None, 3.0)
    assert found.at_s == pytest.approx(1.02, abs=EXACT_S)
    assert found.up is None, "it was not seen to leave"


def test_no_zero_across_a_silence() -> None:
    assert by_heights(lambda t: 0.05 * (t - 1.0) if abs(t - 1.0) > 0.5 else None, 3.0) == []


def test_a_stop_near_the_beam() -> None:
    """It comes to 1 mm under the beam, stays 1.5 s, and goes back."""
    (found,) = by_heights(lambda t: 0.001 + 0.05 * max(1.0 - t, t - 2.5, 0.0), 4.0)
    assert found.at_s == pytest.approx(1.75, abs=0.05), "one sample"
    # 1 mm, and 2 mm at most of the few samples before and after.
    assert found.above_m == pytest.approx(0.001, abs=1e-4)
    assert (found.up, found.left) == (None, True)


@pytest.mark.parametrize(("near", "stay"), [(0.003, 1.5), (0.001, 0.5)])
def test_near_is_not_there(near: float, stay: float) -> None:
    assert by_heights(lambda t: near + 0.05 * max(1.0 - t, t - 1.0 - stay, 0.0), 4.0) == []


def test_a_stop_that_lasts_is_told_once() -> None:
    (found,) = by_heights(lambda t: -0.001 + (0.01 if t < 1.0 else 0.0), 30.0)
    assert (found.left, found.up) == (False, None)
    assert found.last_s < 1.0 + LONGEST_S + 0.1


def test_a_zero_that_trembles_is_one_pass() -> None:
    """Through the plane at 4 mm/s with 3 mm of tremble: many zeros, one pass, its moment where the mean goes through."""
    found = by_heights(lambda t: 0.004 * (t - 3.0) + 0.003 * math.sin(50.0 * t), 6.0)
    assert len(found) == 1
    assert found[0].at_s == pytest.approx(3.0, abs=0.75), "3 mm at 4 mm/s"
    # The beam's height then is told, so that the plane is where it is: within a part of the tremble.
    assert found[0].above_m == pytest.approx(0.004 * (found[0].at_s - 3.0), abs=0.001)


def test_through_and_back_at_once_is_no_pass_up_or_down() -> None:
    (found,) = by_heights(lambda t: 0.05 * abs(t - 1.0) - 0.001, 3.0)
    assert found.up is None
    assert found.at_s == pytest.approx(1.0, abs=EXACT_S)


# What is refused


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_laser_turns(value: float) -> None:
    with pytest.raises(Refused) as refused:
        Striking(value)
    assert refused.value.code == "not-positive"


@pytest.mark.parametrize(
    ("at_s", "value", "code"),
    [
        (math.nan, 0.0, "not-finite"), (math.inf, 0.0, "not-finite"), (2.0, math.nan, "not-finite"),
        (2.0, math.inf, "not-finite"), (2.0, -math.inf, "not-finite"), (2.0, 12.0, "out-of-range"),
        (2.0, "0", "not-a-number"), (2.0, True, "not-a-number"), (2.0, None, "not-a-number"),
        (None, 0.0, "not-a-number"), (1.0, 0.0, "not-rising"), (0.5, 0.0, "not-rising"),
    ],
)  # fmt: skip
def test_heights_refused(at_s: Any, value: Any, code: str) -> None:
    striking = Striking(10.0)
    assert striking.add_above(1.0, 0.01) is None
    fault = striking.add_above(at_s, value)
    assert fault is not None
    assert fault.code == code
    assert striking.add_above(1.1, -0.01) is None, "as if it had not come"
    assert len(striking.due(9.0)) == 1


@pytest.mark.parametrize(
    ("at_s", "hit", "code"),
    [
        (math.nan, True, "not-finite"), (math.inf, True, "not-finite"), (1.0, True, "not-rising"),
        (2.0, 1, "not-a-number"), (2.0, math.nan, "not-a-number"), ("2", True, "not-a-number"),
    ],
)  # fmt: skip
def test_bits_refused(at_s: Any, hit: Any, code: str) -> None:
    striking = Striking(10.0)
    assert striking.add_hit(1.0, hit=False) is None
    fault = striking.add_hit(at_s, hit)
    assert fault is not None
    assert fault.code == code
    assert striking.due(9.0) == []


def test_one_receiver_tells_one_kind() -> None:
    striking = Striking(10.0)
    striking.add_hit(1.0, hit=True)
    fault = striking.add_above(2.0, 0.0)
    assert fault is not None
    assert fault.code == "other-kind"
    other = Striking(10.0)
    other.add_above(1.0, 0.0)
    fault = other.add_hit(2.0, hit=True)
    assert fault is not None
    assert fault.code == "other-kind"


@pytest.mark.parametrize("now_s", [math.nan, math.inf])
def test_now_is_a_time(now_s: float) -> None:
    with pytest.raises(Refused) as refused:
        Striking(10.0).due(now_s)
    assert refused.value.code == "not-finite"
