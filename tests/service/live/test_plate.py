"""A readout printed fast says what the slow way says: every key, number, word and choice, for poses that nobody chose."""

import json
import math
from typing import Any, Protocol

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from kinematics.arm import Pose, pose
from kinematics.errors import Refused
from kinematics.sensing import angles_from, readings_of
from kinematics.sensor_set import SensorSet
from service.access.caller import LOCAL
from service.api.live_message import Watch
from service.api.readout_plate import Press
from service.api.readouts import EdgePoint, Line, ReadoutOut
from service.book.trusting import sets_of
from service.live.clock import SenderClock
from service.live.feed import Feed, Fitted
from service.live.receiver import Link
from tests.amounts import several
from tests.service.api.doing import JobDoer

from .making import ATTACHMENT, MACHINE, Door, Json, dated, differences, said, sensed

POINTS: dict[str, EdgePoint] = {"right": "right", "left tooth": "left"}
# A figure for programs is told to a nanometre (deg, percent: as many places).
PLACES = 1e-9
PRINT, SET = Press.print, Press.set
WAYS = {
    "m": (MACHINE, ATTACHMENT, "m", "edge"), "mm": (MACHINE, ATTACHMENT, "mm", "edge"),
    "ft, teeth": (MACHINE, "trenching-600", "ft", "teeth"),
    "ftUS, rotator": (MACHINE, "tilt-rotator-1600", "ftUS", "edge"),
    "play": ("midi-8t", "coupled-900", "m", "teeth"), "wires": ("compact-1t8", "compact-bucket-400", "mm", "edge"),
    "ftin": (MACHINE, "v-bucket-1200", "ftin", "edge"), "right": (MACHINE, ATTACHMENT, "m", "edge"),
    "left tooth": (MACHINE, "trenching-600", "mm", "teeth"),
}  # fmt: skip


class Watched(Protocol):
    """Both ways of a kind, with a target or without."""

    def __call__(self, way: str, *, aimed: bool) -> "Both": ...


class Both:
    """The same readings seen by two feeds: one watched by the plate, one by the slow way."""

    def __init__(
        self, door: Door, job: JobDoer, sensors: SensorSet, target: str | None, line: Line,
        point: EdgePoint = "centre",
    ) -> None:  # fmt: skip
        keeper = door.app.state.keeper
        state = keeper.state(job.id)
        self.sensors, self.now = sensors, 1000.0
        self.feeds = [Feed(job.id, Fitted(state, sensors, sets=sets_of(keeper, state))) for _ in range(2)]
        self.link = Link(SenderClock(self.now), LOCAL)
        self.link.clock.answer(self.link.clock.ask(self.now), 0.0, self.now)
        self.fast, self.slow = (
            Watch(keeper, feed, target=target, line=line, point=point, station=None, caller=LOCAL)
            for feed in self.feeds
        )
        self.slow._make_ready = lambda: None  # type: ignore[method-assign]
        self.printed = 0

    def hear(self, found: Pose) -> None:
        self.now += 0.1
        self.link.clock.answer(self.link.clock.ask(self.now), self.now - 1000.0, self.now)
        for feed in self.feeds:
            for reading in dated(said(found, self.sensors), self.now - 1000.0):
                assert feed.take(self.link, reading, self.now) is None, reading
            feed.changed()

    def compare(self) -> Json:
        """The message, the same by both; counted when a plate from before printed it."""
        printed: list[str | None] = []
        made: list[ReadoutOut] = []

        def setting(press: Press, told: ReadoutOut) -> None:
            made.append(told)
            SET(press, told)

        def spied(press: Press) -> str | None:
            printed.append(PRINT(press))
            return printed[-1]

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Press, "print", spied)
            patch.setattr(Press, "set", setting)
            told, slow = (json.loads(watch.message(None, self.now)[1]) for watch in (self.fast, self.slow))
        self.printed += not made and any(each is not None for each in printed)
        told.pop("at"), slow.pop("at")
        assert list(told) == list(slow)
        assert differences(told, slow, PLACES) == []
        assert list(_keys(told)) == list(_keys(slow)), "in another order"
        return dict(told)


def _keys(what: object) -> list[str]:
    if isinstance(what, dict):
        return [each for key, value in what.items() for each in (key, *_keys(value))]
    return [each for value in what for each in _keys(value)] if isinstance(what, list) else []


@pytest.fixture(scope="module")
def watched(door: Door) -> Watched:
    made: dict[tuple[str, bool], Both] = {}

    def get(way: str, *, aimed: bool) -> Both:
        if (way, aimed) not in made:
            machine, attachment, units, line = WAYS[way]
            job = door.dug(units, machine, attachment, below=0.5)
            made[way, aimed] = Both(
                door, job, sensed(machine, attachment), "footing" if aimed else None, line,  # type: ignore[arg-type]
                POINTS.get(way, "centre"),
            )  # fmt: skip
        return made[way, aimed]

    return get


def test_who_comes_second_is_told_the_same_figures(watched: Watched) -> None:
    """Of one number, whether its plate had still to be made or not: to the last digit."""
    both = watched("m", aimed=True)
    angles = {n: each.low + 0.5 * (each.high - each.low) for n, each in both.sensors.assembly.ranges.items()}
    both.hear(pose(both.sensors.assembly, pitch=0.0101, roll=-0.0067, **angles))
    both.fast._make_ready()  # no plate yet
    first, second = (json.loads(both.fast.message(None, both.now + later)[1]) for later in (0.0, 0.01))
    assert first["number"] == second["number"]
    assert first["readout"] is not None
    assert first["readout"] == second["readout"]


# Mostly where nothing is to be warned of: a warning is told by the slow way.
near, anywhere = (st.floats(0.4, 0.6), st.floats(-0.1, 0.1)), (st.floats(0.02, 0.98), st.floats(-12.0, 12.0))
# From a hair to a stride, so that sentences change and figures change within one.
steps = st.lists(st.sampled_from([0.0, 1e-9, 1e-6, 1e-4, -3e-4, 2e-3, -0.01]), min_size=2, max_size=4)


@pytest.mark.parametrize("aimed", [False, True])
@pytest.mark.parametrize("way", sorted(WAYS))
def test_both_ways_say_the_same(watched: Watched, way: str, aimed: bool) -> None:
    both = watched(way, aimed=aimed)
    ranges = both.sensors.assembly.ranges

    @settings(max_examples=several(100), deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
    @given(st.one_of(*(st.tuples(st.fixed_dictionaries(dict.fromkeys(ranges, parts)), leans, leans)
                       for parts, leans in (near, near, anywhere))), steps)  # fmt: skip
    def holds(stance: tuple[dict[str, float], float, float], moves: list[float]) -> None:
        joints, pitch, roll = stance
        for move in moves:
            angles = {n: each.low + joints[n] * (each.high - each.low) + move for n, each in ranges.items()}
            try:
                found = pose(
                    both.sensors.assembly,
                    pitch=math.radians(0.6 + pitch),
                    roll=math.radians(roll - 0.4),
                    **angles,
                )
                # What the sensors cannot tell has no readout by either; that is another test's.
                angles_from(both.sensors, readings_of(both.sensors, found))
            except Refused:
                reject()
            both.hear(found)
            told = both.compare()
            assert told["readout"] is not None
            # Once more, now that there is a plate of this very pose.
            for feed in both.feeds:
                feed.changed()
            both.compare()

    holds()
    assert both.printed > 10 or way == "ftin", both.printed


@pytest.mark.parametrize("way", ["m", "ftUS, rotator"])
def test_an_edge_right_at_the_target(watched: Watched, way: str) -> None:
    """Where signs, words and "less than" change: a sweep of a hair's breadth through the target and the tolerance."""
    both = watched(way, aimed=True)
    fit = both.sensors.assembly
    middle = {
        n: 0.5 * (each.low + each.high) * (0.1 if n in {"tilt", "rotate"} else 1.0)
        for n, each in fit.ranges.items()
    }

    def over(boom: float) -> float:
        both.hear(pose(fit, pitch=0.01, roll=0.0, **middle | {"boom": boom}))
        cut = both.compare()["readout"]["points"]["centre"]["cut_fill"]
        return float(cut["above_target"]["m"])

    low, high = middle["boom"] - 0.3, middle["boom"] + 0.3
    assert over(low) < 0.0 < over(high)
    for _ in range(40):
        between = 0.5 * (low + high)
        low, high = (between, high) if over(between) < 0.0 else (low, between)
    words = set()
    for k in range(-60, 61):
        boom = low + k * abs(k) * 2e-6
        both.hear(pose(fit, pitch=0.01, roll=0.0, **middle | {"boom": boom}))
        for _ in range(2):
            words.add(both.compare()["readout"]["points"]["centre"]["cut_fill"]["word"])
            for feed in both.feeds:
                feed.changed()
    assert words == {"cut", "fill", "on grade"}


def test_what_the_slow_way_refuses_is_refused(watched: Watched) -> None:
    """Beyond a joint's end: a reason, with the sensor's or joint's name, and no number."""
    both = watched("m", aimed=True)
    fit = both.sensors.assembly
    middle: dict[str, Any] = {n: 0.5 * (each.low + each.high) for n, each in fit.ranges.items()}
    middle["tilt"] = 0.0
    found = pose(fit, pitch=0.01, roll=0.0, **middle)
    beyond = said(found, both.sensors)
    beyond["boom"] = {"deg": beyond["boom"]["deg"] + math.degrees(fit.ranges["boom"].high)}
    both.hear(found)
    both.now += 0.1
    for feed in both.feeds:
        for reading in dated(beyond, both.now - 1000.0):
            assert feed.take(both.link, reading, both.now) is None
        feed.changed()
    told = both.compare()
    assert told["readout"] is None
    assert "beyond-joint" in {each["code"] for each in told["no_number_because"]}
    assert any("boom" in each["found"] for each in told["no_number_because"])
