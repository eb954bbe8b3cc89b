"""A request whose pose was left to the sensors: the median of the stream's last still second."""

from dataclasses import dataclass
from typing import Annotated, Generic, TypeVar, cast

from anyio.from_thread import run, run_sync
from fastapi import Depends, Request

from kinematics.errors import Fault, Refused
from kinematics.still import still
from kinematics.track import Track
from service.book.dug_requests import CheckIn
from service.book.requests import AskedAt, StationIn, StreamPose, TouchIn, TurningPointIn
from service.book.staff_requests import RodCheckIn, WearCheckIn
from service.book.state import JobState
from service.fleet.fleet import Fleet
from service.live.feed import Feed, stands
from service.live.hub import Hub
from service.live.reading import as_pose

Resting = TypeVar("Resting", TouchIn, TurningPointIn, StationIn, CheckIn, RodCheckIn, WearCheckIn)


# Whoever asks has seen it rest. Readings are dated by the earliest they can be, so what moved just after the asking may
# seem to have moved just before.
BEFORE_S = 0.3
_WITH_POSE = Fault(
    "asked-with-pose", "asked_at", "when it was asked for, beside a pose", "one of both",
    "`observed_at` says when a pose was read",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Read(Generic[Resting]):
    """A request as its sensors completed it, or why they could not; that is told only when it comes to be decided, so
    that a repeat of a request is answered without them."""

    asked: Resting
    refused: Refused | None
    state: JobState | None

    def on(self, state: JobState) -> Resting:
        """The whole request, for a job in this state. Raises what kept the sensors from completing it, and `Refused`
        "observed-before" where the log has come to say otherwise of how machine, laser or receiver stand."""
        if self.refused is not None:
            raise self.refused
        if self.state is not None and stands(self.state) != stands(state):
            raise Refused([
                Fault("observed-before", "pose", "readings from before the last move, setup or other such entry",
                      "readings taken since", "wait, then again")
            ])  # fmt: skip
        return self.asked


class Stream:
    """The job's stream, for routes that run on a thread."""

    def __init__(self, request: Request) -> None:
        self._hub = cast(Hub, request.app.state.hub)
        self._fleet = cast(Fleet | None, request.app.state.fleet)

    def complete(self, job: str, asked: Resting) -> Read[Resting]:
        """The request with the pose of the last still second, if it left the pose out."""
        if asked.pose is not None:
            return Read(asked, None if asked.asked_at is None else Refused([_WITH_POSE]), None)
        if asked.observed_at is not None:
            told = Fault(
                "no-pose",
                "observed_at",
                "a time without a pose",
                "neither, or both",
                "the stream has its own times",
            )
            return Read(asked, Refused([told]), None)
        try:
            feed, now, clock = run(self._seen, job, asked.asked_at)
            if feed is None:
                return Read(asked, None, None)  # what is left out is missed where it is decided
            since = None if asked.asked_at is None else _asked(asked.asked_at, now, clock)
            track, state = run_sync(_read, feed, now)
            found = resting(track, now, asked.edge_point, since)
        except Refused as refused:
            return Read(asked, refused, None)
        return Read(asked.model_copy(update={"pose": found}), None, state)

    async def _seen(self, job: str, asked: AskedAt | None) -> tuple[Feed | None, float, str]:
        """The feed that has the job's last seconds, now by its clock, and whose clock that is; None without any."""
        of = None if asked is None else asked.of
        service = None if self._fleet is None else self._fleet.elsewhere(job, of)
        if self._fleet is None or service is None:
            feed = self._hub.known(job)
            if feed is not None:
                self._hub.keep_up(feed)
            return feed, self._hub.now(), self._hub.clock
        found = await self._fleet.seconds_from(service, job, await self._hub.feed(job))
        return *found, service


def _asked(asked: AskedAt, now: float, clock: str) -> float:
    """When it was asked for, by the clock of `now`. Raises `Refused` "clock-unknown", "clock-ahead"."""
    if asked.of != clock:
        raise Refused([
            Fault("clock-unknown", "asked_at.of", repr(asked.of), repr(clock),
                  "the service has started since: ask for its clock again, then touch again")
        ])  # fmt: skip
    if asked.at_s > now:
        raise Refused([
            Fault("clock-ahead", "asked_at.at_s", f"{asked.at_s - now:.3f} s in the future", "a time that has passed",
                  "ask for the service's clock again, then touch again", {"ahead_s": asked.at_s - now})
        ])  # fmt: skip
    return asked.at_s


def _read(feed: Feed, now: float) -> tuple[Track, JobState]:
    """The readings so far and the state of the job they were read in. On the event loop, as all of a feed."""
    if feed.track is None or not feed.fresh(now):
        raise Refused(each.at("pose") for each in feed.silent(now))
    return feed.track.copy(feed.reach(now)), feed.state


def resting(track: Track, now: float, point: str, asked: float | None) -> StreamPose:
    """The pose of the last still second; `asked`: since when the edge must have rested, as it was asked for then, and
    `BEFORE_S` before it. Raises `Refused` "asked-too-long-ago" where it has not, and as `still`, at "pose"."""
    try:
        rested = still(track, now, point)
    except Refused as refused:
        raise Refused(each.at("pose") for each in refused.faults) from None
    if asked is not None and asked - BEFORE_S < rested.begun_s:
        try:
            track.at(asked - BEFORE_S)
            still(track, now, point, now - asked + BEFORE_S)
        except Refused:
            raise Refused([_moved_since(now - asked, now - rested.begun_s)]) from None
    more = {
        "counts": rested.counts, "watched_s": now - rested.begun_s, "drift_mm": 1e3 * rested.drift_m,
        "drift_on_the_level_mm": 1e3 * rested.drift_reach_m,
    }  # fmt: skip
    return as_pose(track.sensors, rested.readings, more)


def _moved_since(age: float, rested: float) -> Fault:
    return Fault(
        "asked-too-long-ago", "asked_at", f"asked {age:.1f} s ago, and the edge not seen to rest ever since",
        f"an edge that rests from the asking on; it was seen to for {rested:.1f} s",
        "look whether the edge rests there now, then touch again", {"age_s": age, "rested_s": rested},
    )  # fmt: skip


StreamDep = Annotated[Stream, Depends(Stream)]
