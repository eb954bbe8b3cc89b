"""What a viewer of the live readout is told: the newest, with the age of its oldest reading, or why there is none."""

import json
import math
from collections.abc import Iterable
from datetime import UTC, datetime
from functools import lru_cache
from time import time

from pydantic import Field

from kinematics.arm import pose
from kinematics.errors import Fault, Refused
from kinematics.leaf import Leaf
from kinematics.readout import Aim
from kinematics.sensing import angles_from
from kinematics.sensor_set import SensorSet
from service.access.caller import Caller
from service.book.keeper import Keeper
from service.book.state import JobState
from service.book.trusting import Chain, Sets, chain_of
from service.live.feed import Feed
from service.strict import Strict

from .readout_plate import Press, least_told
from .readouts import EdgePoint, Line, ReadoutOut, WhyOut, aim_of, changes, elsewhere, readout_out

# How long what may change under a viewer (profiles measured anew) may be told late.
_LOOK_AGAIN_S = 1.0
_SAME_MOMENT_S = 0.005


class StrikeToldOut(Strict):
    """The last time the receiver passed through the plane."""

    at: str
    verdict: str = Field(
        description="taken, turned down, no attempt (too fast to be one: not on the log), or crossed once: the way back "
        "within 4 s makes it a strike of two crossings, else it counts alone."
    )
    seq: int | None = Field(description="Its entry of the log; null where it is not on it.")
    role: str | None
    because: list[WhyOut]


class LiveOut(Strict):
    """The newest of a job's readouts. What was between this and the last one told is left out."""

    number: int = Field(description="Counts what has changed on this job since the service began; rises.")
    skipped: int | None = Field(
        description="How many numbers lie between the last one told and this; null where that is not known."
    )
    at: str = Field(description="When it was computed, UTC by the service's clock.")
    at_s: float = Field(
        description="The same by the live door's clock, which nobody sets: seconds; see /guide/live#readouts-out."
    )
    age_s: float | None = Field(
        description="Of the oldest reading it rests on, the sensor's latency included; null before the first."
    )
    oldest: str | None = Field(description="The sensor of that reading.")
    latency_s: float | None = Field(description="From the arrival of the newest reading to this readout.")
    quiet: list[str] = Field(description="Sensors without a reading young enough.")
    readout: ReadoutOut | None = Field(
        description="As POST /v1/jobs/{job}/readouts tells it; null where the readings give none."
    )
    no_number_because: list[WhyOut] = Field(description="Why there is no readout.")
    strike: StrikeToldOut | None


class Watch:
    """What viewers who ask alike are told of one job: target, line, point, station, and whether they sit elsewhere."""

    def __init__(
        self, keeper: Keeper, feed: Feed, *, target: str | None, line: Line, point: EdgePoint = "centre",
        station: float | str | None, caller: Caller,
    ) -> None:  # fmt: skip
        self._keeper = keeper
        self._feed = feed
        self._target, self._line, self._point = target, line, point
        self._station, self._caller = station, caller
        self._made_for: tuple[JobState | None, SensorSet | None, Sets] = None, None, {}
        self._looked = -math.inf
        self._aim: Aim | None = None
        self._missing: tuple[Fault, ...] = ()
        self._more: tuple[Fault, ...] = ()
        self._chain: Chain | None = None
        self._leaf: Leaf | None = None
        self._press: Press | None = None
        self.key = target, line, point, station, self._away()

    def _away(self) -> bool:
        return any(True for _ in elsewhere(self._feed.state, self._caller))

    def message(self, last: int | None, now: float) -> tuple[int, str]:
        """(number, JSON text) of the newest, for a viewer that was last told `last`; `now` by the monotonic clock."""
        feed, made = self._feed, self._made_for
        same = made[0] is feed.state and made[1] is feed.sensors and made[2] is feed.sets
        if not same or now - self._looked >= _LOOK_AGAIN_S:
            self._keep_up(now, same=same)
        kept, number = feed.kept(self.key), feed.number
        if kept is not None and now - kept[0] <= _SAME_MOMENT_S:  # an older text would tell a younger age
            rest = kept[1]
        else:
            rest = self._rest(now)
            feed.keep(self.key, (now, rest))
        if last is None or last > number:
            return number, f'{{"number":{number},"skipped":null,{rest}'
        return number, f'{{"number":{number},"skipped":{number - last - 1 if number > last else 0},{rest}'

    def _keep_up(self, now: float, *, same: bool) -> None:
        feed = self._feed
        self._looked = now
        state = feed.state
        self._missing = ()
        try:
            self._aim = aim_of(state, self._target, self._station)
        except Refused as refused:
            self._aim, self._missing = None, refused.faults
        self.key = self._target, self._line, self._point, self._station, self._away()
        more = self._more
        if state.machine is not None:
            more = (
                *elsewhere(state, self._caller), *changes(feed.job, state, self._keeper, seen=True)
            )  # fmt: skip
        if not same or more != self._more:
            self._made_for, self._more = (state, feed.sensors, feed.sets), more
            self._rest_on()
            self._make_ready()

    def _rest_on(self) -> None:
        """What readouts rest on."""
        feed = self._feed
        self._chain = None
        if feed.sensors is not None and not self._missing:
            self._chain = chain_of(feed.state, feed.sets, self._aim)

    def _make_ready(self) -> None:
        """What prints readouts fast, where the sensors and the aim allow it."""
        feed, chain = self._feed, self._chain
        self._leaf = self._press = None
        if feed.sensors is None or feed.sensors.checks or chain is None or chain.why:
            return
        if self._line == "teeth" and feed.sensors.assembly.attachment.teeth is None:
            return  # the slow way refuses it
        state = feed.state
        leaf = Leaf(
            feed.sensors,
            state.book,
            self._aim,
            line=self._line,
            point=self._point,
            lean=state.lean,
            trust=chain.trust(self._line),
            least=least_told(state.units),
        )
        press = Press(leaf, state.units)
        if press.able:
            self._leaf, self._press = leaf, press

    def _rest(self, now: float) -> str:
        """All but number and skipped, and the closing brace."""
        feed = self._feed
        fresh, oldest, born = feed.seen(now)
        readout, reasons, quiet = "null", "[]", "[]"
        if fresh:
            try:
                readout = self._printed()
            except Refused as refused:
                reasons = _told(refused.faults)
        else:
            silent = feed.silent(now)
            reasons = _told(silent)
            quiet = _json([each.where for each in silent if each.code == "sensor-quiet"])
        age = "null" if born == -math.inf else f"{now - born:.6f}"
        latency = "null" if feed.arrived == -math.inf else f"{now - feed.arrived:.6f}"
        strike = "null" if feed.receiver.last is None else _json(feed.receiver.last)
        named = "null" if oldest is None else f'"{oldest}"'
        return (
            f'"at":"{_stamp()}","at_s":{now:.6f},"age_s":{age},"oldest":{named},"latency_s":{latency},"quiet":{quiet},'
            f'"readout":{readout},"no_number_because":{reasons},"strike":{strike}}}'
        )

    def _printed(self) -> str:
        leaf, press = self._leaf, self._press
        if leaf is None or press is None or not leaf.read(self._feed.said):
            return self._slowly().model_dump_json()
        text = press.print()
        if text is None:
            told = self._slowly()
            press.set(told)
            # Through the plate even where it was made this moment: the next viewer of this number is told the same.
            text = press.print()
            if text is None:
                return told.model_dump_json()
        return text

    def _slowly(self) -> ReadoutOut:
        """The readout by the way that tells every fault and warning."""
        feed = self._feed
        sensors = feed.sensors
        if sensors is None or self._chain is None:
            raise Refused(self._missing or feed.why)
        said = {name: channel.value for name, channel in feed.channels.items()}
        found = pose(sensors.assembly, **angles_from(sensors, said))  # type: ignore[arg-type]  # all fresh
        return readout_out(
            feed.job, feed.state, found, self._aim, line=self._line, point=self._point, target=self._target,
            more=self._more, chain=self._chain, said=feed.said[: self._chain.sources.numbers],
        )  # fmt: skip


def _stamp() -> str:
    """Now, UTC to the millisecond."""
    now = time()
    return f"{_second(int(now))}.{int(now % 1.0 * 1e3):03d}Z"


@lru_cache(maxsize=4)
def _second(seconds: int) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%S")


def _json(what: object) -> str:
    return json.dumps(what, separators=(",", ":"), allow_nan=False)


def _told(faults: Iterable[Fault]) -> str:
    return _json([_placed(each).model_dump() for each in faults])


def _placed(told: Fault) -> WhyOut:
    found = f"{told.where}: {told.found}" if told.where else told.found
    return WhyOut(code=told.code, found=found, expected=told.expected, advice=told.advice)
