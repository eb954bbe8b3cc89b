"""Names that are markup and script elsewhere are text on every page: nothing runs, no element is made of them, and no
policy has to step in, which the watch would tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from machine_profiles import shipped
from tests.service.api.doing import JobDoer
from tests.service.api.doing import edge_at as posed

from . import room, seat_room, shop
from .test_classroom_exercise import dug, hand_in
from .view import NOTEBOOK, View

if TYPE_CHECKING:
    from playwright.sync_api import Page

# Of a pupil's name there may be 40 letters, of others 60.
MARK = "<img src=x onerror=ran=1><b id=made>"
LONG = f"{MARK}<script>ran=1</script>"
MACHINE, BUCKET = "our-crawler", "our-bucket"


@pytest.fixture(scope="module")
def job(home: str) -> str:
    """A job all of whose names are markup, and so are those of its machine and bucket."""
    with seat_room.asking(home) as client:
        for kind, name, own in (("machine", "crawler-14t", MACHINE), ("attachment", "tilting-1800", BUCKET)):
            profile = shipped()[kind, name]
            text = profile.source_text.replace(f'"{profile.name}"', f"'{LONG}'", 1).replace(name, own, 1)
            client.post(f"/v1/{kind}s", {"toml": text})
        client.post("/v1/jobs", {"id": "inert", "name": LONG, "units": "m", "datum": LONG, "note": LONG})
        at = JobDoer(client, "inert", "m")
        at.benchmark("slab", 100.0)
        at.setup(MACHINE, BUCKET)
        at.benchmark(LONG, 99.0)
        at.post(
            "touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": posed(-1.5)}
        )
        at.post("targets", at.target_body(LONG, 1.0, tolerance=0.03))
        at.post("checks", {"target": LONG, "pose": posed(-2.5), "units": "m", "note": LONG})
    return "inert"


def inert(page: Page, where: str = "html", *, said: str = LONG) -> None:
    """Shown as it is written, and nothing else came of it."""
    page.locator(where).filter(has_text=said).first.wait_for(state="attached")
    assert page.evaluate("typeof ran") == "undefined"
    assert page.locator("#made, img[onerror], img[src=x], body script:not([src])").count() == 0


def test_what_runs_is_found(page: Page) -> None:
    """On a page that has no policy and writes names as markup."""
    page.set_content(f"<p>{MARK}</p>")
    with pytest.raises(AssertionError):
        inert(page, said="")


def test_at_the_seat(page: Page, home: str, job: str) -> None:
    page.goto("/seat")
    inert(page, "#choose")
    with seat_room.asking(home) as client, seat_room.machine(home, JobDoer(client, job, "m")):
        seat_room.seated(page, job)
        seat_room.number(page)
        inert(page, "main")
        for record in ("touch", "more"):
            seat_room.press(page, record)
            inert(page, "#slip" if record == "touch" else "html")
            seat_room.close(page)


@pytest.mark.parametrize("part", ["measure", "sensors", "calibrate", "accept", "budget"])
def test_in_the_workshop(page: Page, job: str, part: str) -> None:
    shop.opened(page, part, job)
    inert(page, "body" if part != "calibrate" else "#c-machine")


@pytest.mark.parametrize("page", [View(NOTEBOOK, still=True)], indirect=True, ids=str)
def test_in_the_classroom_and_its_lists(page: Page, job: str) -> None:
    room.opened(page)
    inert(page)
    dug(page)
    hand_in(page, job, MARK)
    inert(page, "#exercise .class", said=MARK)


def test_on_paper(page: Page, job: str) -> None:
    page.goto(f"/v1/jobs/{job}/record?format=html")
    inert(page)


def test_in_a_drawing_of_its_own(page: Page, job: str) -> None:
    """Opened by itself an SVG is a document, whose script would run."""
    asked = {
        "machine": MACHINE, "attachment": BUCKET, "units": "m", "view": "side", "title": LONG,
        "sides": [posed(-1.0)],
    }  # fmt: skip
    answer = page.request.post("/v1/drawings", data=asked)
    assert answer.ok, answer.text()
    body, headers = answer.body(), answer.headers
    page.route("**/drawn.svg", lambda route: route.fulfill(body=body, headers=headers))
    page.goto("/drawn.svg")
    inert(page, "svg")
