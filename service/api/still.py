"""A request whose pose was left to the sensors: the median of the stream's last still second."""

from dataclasses import dataclass
from typing import Annotated, Generic, TypeVar, cast

from anyio.from_thread import run_sync
from fastapi import Depends, Request

from kinematics.errors import Fault, Refused
from kinematics.still import still
from kinematics.track import Track
from service.book.dug_requests import CheckIn
from service.book.keeper import Keeper
from service.book.requests import StationIn, StreamPose, TouchIn, TurningPointIn
from service.book.staff_requests import RodCheckIn, WearCheckIn
from service.book.state import JobState
from service.live.feed import Feed, stands
from service.live.hub import Hub
from service.live.reading import as_pose

Resting = TypeVar("Resting", TouchIn, TurningPointIn, StationIn, CheckIn, RodCheckIn, WearCheckIn)


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
        self._keeper = cast(Keeper, request.app.state.keeper)

    def complete(self, job: str, asked: Resting) -> Read[Resting]:
        """The request with the pose of the last still second, if it left the pose out."""
        if asked.pose is not None:
            return Read(asked, None, None)
        if asked.observed_at is not None:
            told = Fault(
                "no-pose",
                "observed_at",
                "a time without a pose",
                "neither, or both",
                "the stream has its own times",
            )
            return Read(asked, Refused([told]), None)
        feed = self._hub.known(job)
        if feed is None:
            return Read(asked, None, None)  # what is left out is missed where it is decided
        try:
            track, now, state = run_sync(self._read, feed)
            found = _still(track, now, asked.edge_point)
        except Refused as refused:
            return Read(asked, refused, None)
        observed = self._keeper.now().isoformat()
        return Read(asked.model_copy(update={"pose": found, "observed_at": observed}), None, state)

    def _read(self, feed: Feed) -> tuple[Track, float, JobState]:
        """The readings so far, now, and the state of the job they were read in. On the event loop, as all of a feed."""
        now = self._hub.now()
        self._hub.keep_up(feed)
        if feed.track is None or not feed.fresh(now):
            raise Refused(each.at("pose") for each in feed.silent(now))
        return feed.track.copy(), now, feed.state


def _still(track: Track, now: float, point: str) -> StreamPose:
    try:
        rested = still(track, now, point)
    except Refused as refused:
        raise Refused(each.at("pose") for each in refused.faults) from None
    more = {
        "counts": rested.counts, "watched_s": now - rested.begun_s, "drift_mm": 1e3 * rested.drift_m,
        "drift_on_the_level_mm": 1e3 * rested.drift_reach_m,
    }  # fmt: skip
    return as_pose(track.sensors, rested.readings, more)


StreamDep = Annotated[Stream, Depends(Stream)]
