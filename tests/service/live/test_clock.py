"""A sender's clock seen from ours: no reading is ever taken for younger than it is."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Fault
from service.live.clock import ASK_EVERY_S, DRIFT, KEPT_S, SLOWEST_S, SenderClock

DAY_S = 86_400.0
# Between two answers the clocks drift apart; that much a reading may seem younger.
DRIFTED_S = DRIFT * ASK_EVERY_S + 1e-9


def known(now: float = 100.0, theirs: float = 7.0, took: float = 0.0) -> SenderClock:
    """Asked at `now`, answered with `theirs`, the answer there `took` later."""
    clock = SenderClock(now)
    assert clock.answer(clock.ask(now), theirs, now + took) is None
    return clock


def code(found: object) -> str:
    assert isinstance(found, Fault), found
    assert found.found
    assert found.expected
    return found.code


def test_before_an_answer_nothing_is_known() -> None:
    clock = SenderClock(100.0)
    assert code(clock.date(7.0, 100.0)) == "clock-unknown"
    clock.ask(100.0)
    assert code(clock.date(7.0, 100.0)) == "clock-unknown"


def test_dated_by_the_earliest_it_can_be() -> None:
    """Asked at 100.00, answered 7.00 at 100.02: a reading at 7.50 is from 100.50 or up to 0.02 later."""
    clock = known(took=0.02)
    assert clock.date(7.5, 100.6) == pytest.approx(100.5, abs=1e-12)


@pytest.mark.parametrize("apart", [0.0, DAY_S, -DAY_S, 1.7e9, -1.7e9])
def test_days_apart(apart: float) -> None:
    """A clock at the wrong date, or at no date: seconds since anything will do."""
    clock = known(100.0, 100.0 + apart)
    # Of a clock in seconds since 1970 a float holds a quarter of a microsecond.
    assert clock.date(101.0 + apart, 101.2) == pytest.approx(101.0, abs=1e-6)
    assert code(clock.date(102.0 + apart, 101.2)) == "future-dated"


@given(
    out=st.floats(0.0, 0.4), back=st.floats(0.0, 0.4), apart=st.floats(-1e6, 1e6),
    drift=st.floats(-0.9 * DRIFT, 0.9 * DRIFT), ages=st.lists(st.floats(0.0, 2.0), min_size=1, max_size=6),
)  # fmt: skip
def test_never_younger_than_it_is(
    out: float, back: float, apart: float, drift: float, ages: list[float]
) -> None:
    """Whatever the way takes either way, and however the clocks drift; too old by one round trip at most."""

    def theirs(now: float) -> float:
        return apart + now * (1.0 + drift)

    clock = SenderClock(1000.0)
    for k in range(4):
        asked = 1000.0 + k * ASK_EVERY_S
        assert clock.answer(clock.ask(asked), theirs(asked + out), asked + out + back) is None
        for age in ages:
            true = asked + out + back + 2.0 - age
            dated = clock.date(theirs(true), asked + out + back + 2.0)
            assert isinstance(dated, float), dated
            assert true - out - back - 2 * DRIFTED_S - 1e-6 <= dated <= true + DRIFTED_S + 1e-6
    assert clock.steps == 0


def test_a_better_answer_narrows_it_and_a_worse_one_does_not_widen_it() -> None:
    clock = known(100.0, 7.0, took=0.3)  # theirs is 93 to 93.3 behind
    assert clock.date(10.0, 104.0) == pytest.approx(103.0, abs=1e-12)
    # The next shows that it is at least 93.25 behind; then again only 92.9.
    assert clock.answer(clock.ask(105.0), 11.75, 105.01) is None
    assert clock.date(12.0, 106.0) == pytest.approx(105.25, abs=1e-12)
    assert clock.answer(clock.ask(110.0), 17.1, 110.4) is None
    assert clock.date(17.5, 111.0) == pytest.approx(110.75, abs=3e-3)  # less 5 s of drift
    assert clock.steps == 0


def test_set_on_in_mid_stream() -> None:
    """By 30 s: what comes until the next answer is from the future, and refused; after it all is as before."""
    clock = known()
    assert code(clock.date(38.0, 101.2)) == "future-dated"
    assert clock.answer(clock.ask(105.0), 42.0, 105.001) is None
    assert clock.steps == 1
    assert clock.date(43.0, 106.5) == pytest.approx(106.0, abs=1e-9)
    # What was stamped before it was set on is now 30 s old, and no younger.
    assert clock.date(12.9, 106.5) == pytest.approx(75.9, abs=1e-9)


def test_set_back_in_mid_stream() -> None:
    """By 30 s: until the next answer readings seem 30 s old, which makes them of no use; after it all is as before."""
    clock = known(100.0, 57.0)
    assert clock.date(28.0, 101.2) == pytest.approx(71.0, abs=1e-9)
    assert clock.answer(clock.ask(105.0), 32.0, 105.001) is None
    assert clock.date(33.0, 106.5) == pytest.approx(106.0, abs=1e-9)
    # What was stamped before it was set back is from the future, and refused.
    assert code(clock.date(62.0, 106.5)) == "future-dated"


def test_a_little_ahead_is_no_future() -> None:
    """A clock is read a moment later than we ask, and crystals differ."""
    clock = known()
    assert clock.date(8.004, 101.0) == pytest.approx(101.004, abs=1e-9)
    assert code(clock.date(8.0062, 101.0)) == "future-dated"


@pytest.mark.parametrize("number", [2, 0, -1, None, True, 1.0, "1", [1], {}, 10**4000])
def test_an_answer_to_nothing_that_was_asked(number: Any) -> None:
    clock = SenderClock(100.0)
    assert clock.ask(100.0) == 1
    told = clock.answer(number, 7.0, 100.0)
    assert code(told) == "bad-clock"
    assert told is not None
    assert "1" in told.expected
    assert code(clock.date(7.0, 100.0)) == "clock-unknown"


def test_answered_twice() -> None:
    clock = known()
    assert code(clock.answer(1, 9.0, 100.5)) == "bad-clock"
    assert clock.date(7.5, 101.0) == pytest.approx(100.5, abs=1e-12)


@pytest.mark.parametrize("at_s", [math.nan, math.inf, -math.inf, 1e12, 10**4000, None, True, "7", [7.0]])
def test_no_time(at_s: Any) -> None:
    clock = known()
    number = clock.ask(101.0)
    assert code(clock.answer(number, at_s, 101.0)) == "bad-clock"
    assert code(clock.date(at_s, 101.0)) == "bad-reading"
    assert clock.answer(number, 8.0, 101.0) is None, "the question is still open"


def test_a_slow_answer_shows_life_but_tells_nothing() -> None:
    clock = SenderClock(100.0)
    number = clock.ask(100.0)
    assert code(clock.answer(number, 7.0, 100.0 + SLOWEST_S + 0.1)) == "slow-clock"
    assert clock.answered == 101.1
    assert code(clock.date(7.0, 101.2)) == "clock-unknown"


def test_old_knowledge_ends() -> None:
    clock = known()
    assert isinstance(clock.date(7.0 + KEPT_S, 100.0 + KEPT_S), float)
    assert code(clock.date(8.0 + KEPT_S, 101.0 + KEPT_S)) == "clock-unknown"


def test_a_sender_that_never_answers_is_not_remembered_at_length() -> None:
    clock = SenderClock(0.0)
    for k in range(1000):
        clock.ask(float(k))
    told = clock.answer(5, 1.0, 1000.0)
    assert code(told) == "bad-clock"
    assert told is not None
    assert told.expected.endswith("997, 998, 999, 1000")


@given(st.lists(st.floats(0.0, 0.4), min_size=2, max_size=12), st.floats(1.0, 60.0))
def test_readings_keep_their_order_whatever_answers_tell(ways: list[float], hz: float) -> None:
    """A quick answer, then slow ones: what the quick one told still holds, no reading goes before an earlier one."""
    clock = known(1000.0, 0.0)
    last = -math.inf
    for k, way in enumerate(ways):
        asked = 1000.0 + k * ASK_EVERY_S
        assert clock.answer(clock.ask(asked), asked - 1000.0 + way / 2, asked + way) is None
        for i in range(5):
            true = asked + way + i / hz
            dated = clock.date(true - 1000.0, true)
            assert isinstance(dated, float), dated
            assert last < dated <= true + DRIFTED_S
            last = dated
    assert clock.steps == 0


@pytest.mark.parametrize("step", [-0.3, -5.0, -DAY_S, 0.3, 5.0, DAY_S])
def test_a_step_is_seen_at_the_next_answer(step: float) -> None:
    clock = known(1000.0, 0.0, took=0.01)
    assert clock.answer(clock.ask(1005.0), 5.0 + step, 1005.01) is None
    assert clock.steps == 1
    assert clock.date(6.0 + step, 1006.1) == pytest.approx(1006.0, abs=1e-6)


def test_a_step_within_the_round_trip_is_forgotten_after_three_answers() -> None:
    """Out 10 ms, back 400: a step on by 0.3 s cannot be told from the way; for 15 s ages are too low by as much."""
    clock = known(1000.0, 0.01, took=0.41)
    for k in range(1, 4):
        asked = 1000.0 + k * ASK_EVERY_S
        assert clock.answer(clock.ask(asked), k * ASK_EVERY_S + 0.01 + 0.3, asked + 0.41) is None
    dated = clock.date(16.0 + 0.3, 1016.5)
    assert isinstance(dated, float)
    assert dated <= 1016.0 + DRIFTED_S
