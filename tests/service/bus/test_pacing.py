"""Readings come when they are due on the sender's clock, and after a pause all that follows is as much later."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, cast

import pytest

from service.bus.feeder import Feeder
from service.bus.pacing import Pacer, pour
from service.bus.reading import Reading


class Clock:
    """A clock that only sleeping moves on."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        assert seconds >= 0.0
        self.now += seconds


@dataclass
class Door:
    """What a feeder would have sent, and when."""

    clock: Clock
    pauses: dict[int, float] = field(default_factory=dict)
    frames: list[tuple[float, Sequence[Mapping[str, Any]]]] = field(default_factory=list)
    latencies_s: dict[str, float] = field(default_factory=dict)

    def ready(self) -> float:
        pause = self.pauses.pop(len(self.frames), 0.0)
        self.clock.sleep(pause)
        return pause

    def send(self, readings: Sequence[Mapping[str, Any]]) -> bool:
        self.frames.append((self.clock.now, list(readings)))
        return True


def boom(t: float) -> Reading:
    return Reading(t, {"sensor": "boom", "deg": t})


def poured(signals: list[Reading], speed: float = 1.0, **door: Any) -> tuple[Door, Pacer]:
    clock = Clock()
    made = Door(clock, **door)
    pacer = Pacer(signals[0].t_s, speed, clock, clock.sleep)
    pour(signals, pacer, cast(Feeder, made))
    return made, pacer


@pytest.mark.parametrize("speed", [0.5, 1.0, 4.0])
@pytest.mark.parametrize("begin", [0.0, 5023.4, -7.0])
def test_each_in_its_time_wherever_a_log_starts(speed: float, begin: float) -> None:
    signals = [boom(begin + 0.1 * i) for i in range(20)]
    door, _ = poured(signals, speed)
    assert [len(frame) for _, frame in door.frames] == [1] * 20
    for (now, [said]), signal in zip(door.frames, signals, strict=True):
        assert said["deg"] == signal.t_s
        # Sums of a thousand seconds in double precision; at_s is written to a microsecond.
        assert said["at_s"] == pytest.approx(1000.0 + (signal.t_s - begin) / speed, abs=2e-6)
        assert said["at_s"] <= now + 1e-6, "never ahead of the clock"


def test_a_pause_begins_after_what_was_poured_last() -> None:
    clock = Clock()
    pacer = Pacer(0.0, 1.0, clock, clock.sleep)
    clock.now += 0.5  # held up, so that nothing was waited for
    assert pacer.due(0.4)
    assert not pacer.due(0.6)
    poured_at = pacer.unix_at(0.4)
    pacer.slip(2.0)
    # Seconds since 1970 in double precision.
    assert pacer.t_at(poured_at - 0.1) == pytest.approx(0.3, abs=1e-6)
    assert pacer.t_at(poured_at + 1.0) == pytest.approx(0.4, abs=1e-6)
    assert pacer.t_at(poured_at + 2.1) == pytest.approx(0.5, abs=1e-6)


def test_what_a_frame_told_of_its_age_makes_a_reading_older() -> None:
    """30 ms told and 10 ms in the machine's file, which the service takes off by itself: 20 ms earlier."""
    late = Reading(0.0, {"sensor": "boom", "deg": 1.0}, 0.03)
    door, _ = poured([late], latencies_s={"boom": 0.01})
    [(_, [said])] = door.frames
    assert said["at_s"] == pytest.approx(1000.0 - 0.02, abs=2e-6)


def test_due_together_go_in_one_frame() -> None:
    door, _ = poured([boom(0.0), boom(0.0), boom(0.02), boom(0.02), boom(0.02)])
    assert [len(frame) for _, frame in door.frames] == [2, 3]


def test_a_pause_of_the_door_is_a_pause_of_the_machine() -> None:
    signals = [boom(0.1 * i) for i in range(10)]
    door, pacer = poured(signals, pauses={4: 3.0})
    at = [frame[0]["at_s"] for _, frame in door.frames]
    steps = [b - a for a, b in pairwise(at)]
    assert steps == pytest.approx([0.1] * 3 + [3.1] + [0.1] * 5, abs=2e-6)
    assert [frame[0]["deg"] for _, frame in door.frames] == [signal.t_s for signal in signals], (
        "none twice, none lost"
    )
    assert pacer.clock_at(0.9) == pytest.approx(1003.9)


@dataclass
class Act:
    at_s: float
    done: list[float]
    clock: Clock

    def do(self) -> None:
        self.done.append(self.clock.now)


def test_an_act_comes_after_what_was_due_before_it() -> None:
    clock = Clock()
    door = Door(clock)
    act = Act(0.15, [], clock)
    pour([boom(0.0), boom(0.1), act, boom(0.2)], Pacer(0.0, 1.0, clock, clock.sleep), cast(Feeder, door))
    assert act.done == [pytest.approx(1000.15)]
    assert [len(frame) for now, frame in door.frames if now <= 1000.15] == [1, 1]


def test_which_second_of_the_course_a_time_of_the_world_was() -> None:
    clock = Clock()
    pacer = Pacer(10.0, 2.0, clock, clock.sleep)
    begun = pacer.unix_at(10.0)
    pacer.wait(14.0)
    pacer.slip(5.0)
    pacer.wait(16.0)
    assert pacer.t_at(begun + 1.0) == pytest.approx(12.0)
    assert pacer.t_at(begun + 2.0 + 5.0 + 0.5) == pytest.approx(15.0)
    assert pacer.unix_at(16.0) == pytest.approx(begun + 8.0)
    # While it stood still, the machine was where it stood.
    assert pacer.t_at(begun + 4.0) == pytest.approx(14.0)
