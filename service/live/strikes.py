"""Strikes out of the stream: every crossing of the plane by the receiver, judged and put on the log with its readings.

An upward and a downward crossing soon after one another make one strike. What goes through the plane far too fast
to be meant is digging: told and counted, not written down.
"""

import hashlib
import logging
import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from fastapi.concurrency import run_in_threadpool
from sqlalchemy.exc import SQLAlchemyError

from kinematics.crossing_seen import CrossingSeen, crossing, crossing_of, is_attempt, together
from kinematics.errors import Fault, Refused
from kinematics.sensor_set import SensorSet
from kinematics.strikes import turned_down_because
from service.book import decide
from service.book import payloads as p
from service.book.keeper import Keeper
from service.book.requests import CrossingIn, StrikeIn
from service.book.state import JobState
from service.problems import Problem
from service.store import StoreError

from .feed import Feed, stands
from .reading import as_pose
from .receiver import Passed, Waiting

TAKEN, TURNED_DOWN, NO_ATTEMPT, ONCE = "taken", "turned down", "no attempt", "crossed once"
_log = logging.getLogger("tipdatum")


async def judge(keeper: Keeper, feed: Feed, crossed: Sequence[Passed], now: float) -> None:
    """Judge crossings that are complete, and what has waited long enough for its counterpart."""
    seen = feed.receiver.looked_s  # while these are judged more may come, the counterpart of one among it
    for passed in crossed:
        await _judge(keeper, feed, passed, now)
    waiting = feed.receiver.pending
    if waiting is not None and feed.receiver.waited(seen):
        await _strike(keeper, feed, [waiting], now)


async def _judge(keeper: Keeper, feed: Feed, complete: Passed, now: float) -> None:
    state, link, passed = complete.state, feed.receiver.link, complete.through
    laser, rules = state.book.laser, state.strike_rules
    if laser is None or link is None:
        return
    try:
        # On a thread: ten milliseconds that other machines' readings need not wait for.
        seen = await run_in_threadpool(crossing_of, complete.track, passed, rules)
        if stands(feed.state) != stands(state):
            raise Refused([OVERTAKEN])
    except Refused as refused:
        _tell(keeper, feed, now - passed.at_s, TURNED_DOWN, because=refused.faults)
        return
    turns = laser.revolutions_per_s
    because = turned_down_because(crossing(seen), rules, turns, state.book.predicted_receiver_height(None))
    if not is_attempt(seen, rules, turns):
        _tell(keeper, feed, now - seen.at_s, NO_ATTEMPT, because=because)
        return
    here, before = Waiting(seen, link, state, feed.receiver.key(link, passed)), feed.receiver.pending
    if before is not None and together(before.seen, seen):
        await _strike(keeper, feed, [before, here], now)
        return
    if before is not None:
        await _strike(keeper, feed, [before], now)
    if because or seen.up is None or stands(feed.state) != stands(state):
        # No counterpart would help it, there is none, or something was recorded meanwhile.
        await _strike(keeper, feed, [here], now)
    else:
        feed.receiver.pending = here
        _tell(keeper, feed, now - seen.at_s, ONCE)


async def _strike(keeper: Keeper, feed: Feed, found: list[Waiting], now: float) -> None:
    """Put a strike on the log, taken or turned down, in the name of who fed it, if that one still may."""
    feed.receiver.pending = None
    last = found[-1]
    if last.link.stream and last.link not in feed.links:
        return  # it is judged from what that one sends once more
    age = now - last.seen.at_s
    try:
        if last.link not in feed.links:
            raise Refused([GONE])
        if last.link.check is not None:
            await last.link.check()
        if feed.track is None or stands(feed.state) != stands(found[0].state):
            raise Refused([OVERTAKEN])  # the sensors may be another machine's by now
        asked = _asked(feed.track.sensors, [each.seen for each in found], last.state)
        seen = keeper.now() - timedelta(seconds=age)
        done = await run_in_threadpool(_record, keeper, feed.job, asked, last, found[0].state, seen)
    except Problem as problem:
        told = [Fault(each.code, "", each.found, each.expected, each.advice) for each in problem.faults]
        _tell(keeper, feed, age, TURNED_DOWN, because=told)
        return
    except Refused as refused:
        _tell(keeper, feed, age, TURNED_DOWN, because=refused.faults)
        return
    except (StoreError, SQLAlchemyError):
        _log.exception("a strike of %s could not be recorded", feed.job)
        _tell(keeper, feed, age, TURNED_DOWN, because=(LOST,))
        return
    struck, seq = done
    reasons = [Fault(r.code, "", r.found, r.expected, r.advice) for r in struck.because]
    _tell(
        keeper, feed, age, TAKEN if struck.taken else TURNED_DOWN, seq=seq, role=struck.role, because=reasons
    )


def _asked(sensors: SensorSet, crossings: list[CrossingSeen], state: JobState) -> StrikeIn:
    """The request that a client with a receiver of its own would send."""
    seen = crossing(*crossings)
    return StrikeIn.model_construct(
        crossings=[
            CrossingIn.model_construct(
                direction="down" if each.up is False else "up",  # of a single one it is not looked at
                pose=as_pose(sensors, each.readings, _evidence(each), above_m=each.passed.above_m or 0.0),
            )
            for each in crossings
        ],
        vertical_speed_mm_s=1e3 * seen.vertical_speed, tilt_spread_deg=math.degrees(seen.tilt_spread),
        steady_s=seen.steady_s, along_fall=None, from_strike=None, units=state.units.value, note="", observed_at=None,
    )  # fmt: skip


def _evidence(seen: CrossingSeen) -> dict[str, Any]:
    way = {True: "up", False: "down", None: "not told"}[seen.up]
    passed = seen.passed
    return {
        "way": way, "samples": passed.count, "in_plane_s": passed.last_s - passed.first_s,
        "beam_above_centre_mm": None if passed.above_m is None else 1e3 * passed.above_m,
    }  # fmt: skip


def _record(
    keeper: Keeper, job: str, asked: StrikeIn, last: Waiting, read_in: JobState, seen: datetime
) -> tuple[p.Struck, int]:
    """On the log, once: what another service recorded of the same crossing before is told in its place."""
    caller = last.link.caller

    def assigned(state: JobState) -> None:
        if state.machine is not None:
            caller.needs_machine(state.machine.id)

    def decided(state: JobState, seq: int) -> p.Struck:
        assigned(state)
        if stands(state) != stands(read_in):
            raise Refused([OVERTAKEN])
        return decide.strike(state, seq, asked, keeper.fit)

    same = last.key or asked.model_dump_json()
    digest = hashlib.sha256(same.encode()).hexdigest()
    done = keeper.record(
        job,
        asked,
        decided,
        caller.name,
        after=assigned,
        key=last.key,
        request_hash=digest,
        expected_seq=None,
        seen=seen,
    )
    payload = done.entry.payload
    assert isinstance(payload, p.Struck)  # noqa: S101
    return payload, done.entry.seq


LOST = Fault("database", "", "a database that does not answer", "the strike on the log", "strike again")
GONE = Fault(
    "feeder-gone", "", "the connection that fed it has ended", "one that lasts until the strike is settled",
    "connect again, then strike again",
)  # fmt: skip
OVERTAKEN = Fault(
    "observed-before", "", "a strike from before the last move, laser or other such entry", "one made after it",
    "strike again",
)  # fmt: skip


def _tell(
    keeper: Keeper, feed: Feed, age_s: float, verdict: str, *, seq: int | None = None, role: str | None = None,
    because: Sequence[Fault] = (),
) -> None:  # fmt: skip
    if verdict != ONCE:  # settled later
        feed.receiver.verdicts[verdict] += 1
    at = keeper.now() - timedelta(seconds=age_s)
    told = {
        "at": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"), "verdict": verdict, "seq": seq,
        "role": role,
        "because": [
            {"code": f.code, "found": f.found, "expected": f.expected, "advice": f.advice} for f in because
        ],
    }  # fmt: skip
    feed.receiver.last = told
    if feed.receiver.link is not None:
        feed.receiver.link.tell({"strike": told})
    feed.changed()
