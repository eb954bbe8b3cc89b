"""Opening the seat where the service does not answer, and a bucket with teeth whose line is chosen and goes away."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from kinematics.arm import Pose, pose
from tests.service.api.doing import as_asked, fitted, opened
from tests.service.live.making import MACHINE, sensed

from . import room, seat_room
from .looking import axe, not_sideways
from .view import PHONE, View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.service.api.doing import JobDoer

TOOTHED = "trenching-600"
DEAD = "net::ERR_CONNECTION_REFUSED"


@pytest.fixture
def client(home: str) -> Iterator[seat_room.Http]:
    with seat_room.asking(home) as found:
        yield found


def dead(page: Page) -> None:
    page.route("**/v1/**", lambda route: route.abort("connectionrefused"))


def told(page: Page, words: str) -> None:
    page.locator("#trouble").get_by_text(words).wait_for()


@pytest.mark.parametrize("page", [View(PHONE)], indirect=True, ids=str)
def test_a_service_that_is_down_is_told_and_waited_for(
    page: Page, client: seat_room.Http, home: str, watch: Watch
) -> None:
    """The page from the browser's own keeping, the service away; then it comes, without a touch of a key."""
    watch.expect(DEAD)
    job = seat_room.begun(client, "late-service")
    job.touch(seat_room.TOUCHED_M)
    dead(page)
    page.goto(f"/seat?job={job.id}")
    told(page, "The service does not answer. This page tries again by itself.")
    assert page.locator("#box").is_hidden()
    axe(page)
    not_sideways(page)
    page.unroute("**/v1/**")
    with seat_room.machine(home, job):
        page.locator("#before-done").wait_for()
        assert page.locator("#trouble").inner_text() == ""
        page.locator("#before-done").press("Enter")
        seat_room.shows(page, seat_room.read(job, seat_room.SLAB, "bottom of footing"))


def test_the_list_of_jobs_waits_for_the_service_too(page: Page, client: seat_room.Http, watch: Watch) -> None:
    watch.expect(DEAD)
    job = opened(client, "listed-late")
    dead(page)
    page.goto("/seat")
    told(page, "The service does not answer. This page tries again by itself.")
    page.unroute("**/v1/**")
    page.locator(f"#jobs a[href='/seat?job={job.id}']").wait_for()
    assert page.locator("#trouble").is_hidden()


def toothed(client: seat_room.Http) -> tuple[JobDoer, Pose]:
    """A job with a toothed bucket, its middle tooth having rested on the slab; the pose of that."""
    job = opened(client, "toothed").equipped(attachment=TOOTHED)
    degrees = {"pitch": 0.6, "roll": -0.4, "boom": 14.0, "stick": -70.0, "bucket": 17.4}
    found = pose(fitted(MACHINE, TOOTHED), **{name: math.radians(each) for name, each in degrees.items()})
    body = {"point": "slab", "purpose": "reference", "edge_point": "tooth_centre", "pose": as_asked(found)}
    job.post("touches", body)
    job.target("trench", 0.1)
    return job, found


def test_tooth_tips_are_chosen_read_and_touched(page: Page, client: seat_room.Http, home: str) -> None:
    job, stood = toothed(client)
    with seat_room.machine(home, job, stood, sensors=sensed(MACHINE, TOOTHED)) as machine:
        seat_room.seated(page, job.id)
        read = {
            line: job.read(as_asked(stood), "trench", line=line)["points"]["centre"]
            for line in ("edge", "teeth")
        }
        assert read["teeth"]["cut_fill"]["amount"]["shown"] == "0.100 m"
        assert read["edge"]["cut_fill"]["amount"]["shown"] != "0.100 m", "tips reach further than the edge"
        for line in ("teeth", "edge", "teeth"):
            page.locator(f"#line input[value={line}]").press("Space")
            seat_room.shows(page, ("CUT", read[line]["cut_fill"]["amount"]["shown"]))
        assert "line=teeth" in page.url
        seat_room.press(page, "touch")
        assert "middle tooth rests on slab" in page.locator("#slip .says").inner_text()
        machine.rested()
        assert "Misclosure 0.000 m" in seat_room.write(page)
        assert job.events()[-1]["payload"]["edge_point"] == "tooth_centre"
        seat_room.close(page)

        seat_room.press(page, "touch")
        page.locator("#line input[value=edge]").press("Space")
        assert "middle tooth rests on slab" in page.locator("#slip .says").inner_text()
        assert "Misclosure 0.000 m" in seat_room.write(page), "what the slip said is what is written"
        assert job.events()[-1]["payload"]["edge_point"] == "tooth_centre"
        seat_room.close(page)
        page.locator("#line input[value=teeth]").press("Space")

        page.reload()
        page.wait_for_selector("html[data-ready=yes]", state="attached")
        seat_room.shows(page, ("CUT", "0.100 m"))
        job.post("attachment-changes", {"attachment": "tilting-1800"})
        told(page, "no tooth tips on record: the cutting edge is read")
        room.until(page, "!location.search.includes('line=teeth')")
        assert page.locator("#line").is_hidden()
