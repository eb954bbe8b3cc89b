"""Trust in a stream while what stands on the job changes: no stream ends, no readout is missing without a reason."""

import asyncio
import time
from collections.abc import Callable

import pytest

from service.book.state import JobState
from service.book.trusting import stands_of
from service.live.feed import Fitted
from tests.service.api.doing import as_asked

from .making import Door, Feeder, Json, Viewer, at_rest, run, said, sensed

CRAWLER, TILTING, TRENCHING = "crawler-14t", "tilting-1800", "trenching-600"


def saying(attachment: list[str]) -> Callable[[], Json]:
    """What the sensors of whatever hangs on the machine now say."""
    return lambda: said(at_rest(CRAWLER, attachment[0]), sensed(CRAWLER, attachment[0]))


def told_why(viewer: Viewer) -> None:
    """Every message without a readout has a reason."""
    assert all(each["readout"] is not None or each["no_number_because"] for each in viewer.told.all)


def test_teeth_that_go_away_end_no_stream(door: Door) -> None:
    job = door.dug("m", CRAWLER, TRENCHING)
    on = [TRENCHING]

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job, "line=teeth") as viewer:
            feeding = asyncio.create_task(feeder.keep_saying(saying(on)))
            assert (await viewer.readout())["readout"]["trust"] is not None
            begun = len(viewer.told.all)
            await asyncio.to_thread(job.post, "attachment-changes", {"attachment": TILTING})
            on[0] = TILTING
            await viewer.told.first(
                lambda m: {each["code"] for each in m["no_number_because"]} == {"no-such-point"}, since=begun
            )
            await asyncio.to_thread(job.post, "attachment-changes", {"attachment": TRENCHING})
            on[0] = TRENCHING
            begun = len(viewer.told.all)
            found = await viewer.told.first(lambda m: m["readout"] is not None, since=begun)
            assert found["readout"]["trust"] is not None
            assert viewer.told.closed is None
            told_why(viewer)
            feeding.cancel()

    run(go())


def test_a_stand_of_long_ago_is_read_when_it_counts_again(
    door: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Touched with one bucket, then with another; the second touch is withdrawn while sensors are read anew."""
    job = door.dug("m", CRAWLER, TILTING)
    on = [TILTING]
    once, slow = door.hub._fitted, [0.0]

    def slowly(state: JobState) -> Fitted:
        found = once(state)
        time.sleep(slow[0])
        return found

    monkeypatch.setattr(door.hub, "_fitted", slowly)

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            feeding = asyncio.create_task(feeder.keep_saying(saying(on)))
            await viewer.readout()
            await asyncio.to_thread(job.post, "attachment-changes", {"attachment": TRENCHING})
            touch = {
                "point": "slab", "purpose": "reference", "edge_point": "centre",
                "pose": as_asked(at_rest(CRAWLER, TRENCHING)),
            }  # fmt: skip
            done = await asyncio.to_thread(job.post, "touches", touch)
            slow[0] = 0.5
            clamp = {"place_mm": [500.0, 100.0, 300.0]}
            await asyncio.to_thread(job.post, "receiver-clamps", clamp)
            on[0] = TRENCHING
            begun = len(viewer.told.all)
            await asyncio.to_thread(job.withdraw, done["seq"])
            found = await viewer.told.first(
                lambda m: m["readout"] is not None and m["readout"]["trust"] is not None, since=begun
            )
            assert found["readout"]["trust"]["of"] == "elevation"
            assert viewer.told.closed is None
            told_why(viewer)
            feed = door.hub.known(job.id)
            assert feed is not None
            assert stands_of(feed.state) <= feed.sets.keys()
            assert not feed.unread
            feeding.cancel()

    run(go())
