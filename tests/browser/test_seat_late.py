"""What comes late at the seat: readouts on a slow way, a touch whose answer was lost, a move that is not decided."""

from __future__ import annotations

import itertools
import json
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest

from . import room, seat_room
from .seat_room import FOOTING_M, GONE, SHOWN, edge_at
from .view import Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

    from tests.service.api.doing import JobDoer

DIG = edge_at(FOOTING_M - 0.12)
_jobs = itertools.count(1)
# Between the page and its stream: every frame from the service may be held or changed before the page hears it.
_WAY = """() => {
  window.way = { delay: 0, back: 0, sockets: [] };
  const Real = window.WebSocket;
  window.WebSocket = class extends Real {
    constructor(...all) { super(...all); window.way.sockets.push(this); }
    addEventListener(kind, hear, ...more) {
      if (kind !== "message") return super.addEventListener(kind, hear, ...more);
      return super.addEventListener(kind, (event) => {
        const told = JSON.parse(event.data);
        if (told.at !== undefined) told.at = new Date(Date.parse(told.at) - window.way.back).toISOString();
        const passed = () => hear({ data: JSON.stringify(told) });
        if (window.way.delay === 0) passed(); else setTimeout(passed, window.way.delay);
      }, ...more);
    }
  };
}"""
# Whether there is ever a number from now on.
_EVER = """() => {
  window.ever = false;
  const at = document.querySelector("#number");
  new MutationObserver(() => { window.ever ||= at.textContent !== ""; }).observe(at, { childList: true });
}"""
BECAUSE = "document.querySelector('#because').textContent"
OPEN = "window.way.sockets.filter((each) => each.readyState < 2).length"


@pytest.fixture
def job(home: str) -> Iterator[JobDoer]:
    with seat_room.asking(home) as client:
        found = seat_room.begun(client, f"late-{next(_jobs)}")
        found.touch(seat_room.TOUCHED_M)
        yield found


def waited(page: Page, ms: int) -> None:
    """So long by the page's own clock."""
    page.evaluate(f"new Promise((done) => setTimeout(done, {ms}))")


def kinds(job: JobDoer) -> list[str]:
    return [row["what"] for row in job.get("level-book")["rows"]]


def test_a_way_that_is_slow_from_its_start_gives_no_number(page: Page, home: str, job: JobDoer) -> None:
    """Every frame, the first too, comes 3 s late: no number can be younger than that here."""
    page.add_init_script(f"({_WAY})(); window.way.delay = 3000;")
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        room.until(
            page, "document.querySelector('#because').textContent.startsWith('Readouts reach this page late')"
        )
        page.evaluate(_EVER)
        waited(page, 4000)
        assert not page.evaluate("window.ever")
        page.evaluate("window.way.delay = 0")
        seat_room.shows(page, seat_room.read(job, DIG, "bottom of footing"))


def test_a_clock_set_back_is_none_of_the_page_s(page: Page, home: str, job: JobDoer) -> None:
    """The service's date goes back by 0.6 s, more than an age limit and less than what would begin anew."""
    page.add_init_script(f"({_WAY})();")
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        seat_room.shows(page, seat_room.read(job, DIG, "bottom of footing"))
        page.evaluate("window.way.back = 600")
        waited(page, 1000)
        assert page.evaluate(SHOWN)


def test_a_network_that_is_gone_is_tried(page: Page, home: str, job: JobDoer) -> None:
    """The service is on this computer, and answers whatever the network does."""
    page.add_init_script(f"({_WAY})();")
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        seat_room.number(page)
        assert page.evaluate(f"(dispatchEvent(new Event('offline')), {GONE})"), (
            "before the next readout comes"
        )
        seat_room.shows(page, seat_room.read(job, DIG, "bottom of footing"))
        for _ in range(4):
            page.evaluate("window.way.sockets.at(-1).close(); dispatchEvent(new Event('online'))")
        seat_room.shows(page, seat_room.read(job, DIG, "bottom of footing"))
        assert page.evaluate(OPEN) == 1


def test_a_connection_is_tried_before_it_is_known_why_it_went(page: Page, home: str, job: JobDoer) -> None:
    """What the page asks meanwhile is not answered: the number does not wait for it."""
    page.add_init_script(f"({_WAY})();")
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        seat_room.number(page)
        page.route("**/v1/jobs/*/targets", lambda _: None)
        for sockets in (2, 3):
            page.evaluate("window.way.sockets.at(-1).close()")
            room.until(page, f"{GONE} || window.way.sockets.length === {sockets}")
            room.until(page, f"window.way.sockets.length === {sockets} && {SHOWN}")
        assert page.evaluate(OPEN) == 1
        page.unroute("**/v1/jobs/*/targets")  # lets go of those held
        seat_room.shows(page, seat_room.read(job, DIG, "bottom of footing"))
        assert page.evaluate("window.way.sockets.length") == 3


def lose(page: Page, what: str) -> Callable[[], None]:
    """No request of a kind arrives until what is returned is called."""
    through = threading.Event()

    def go(route: Route) -> None:
        route.continue_() if through.is_set() else route.abort()

    page.route(f"**/{what}", go)
    return through.set


def _touch(page: Page) -> None:
    seat_room.press(page, "touch")


def _turning(page: Page) -> None:
    seat_room.press(page, "turning")
    page.locator("#slip input[type=text]").fill("stone")


def _check(page: Page) -> None:
    seat_room.press(page, "check")


def _station(page: Page) -> None:
    seat_room.record(page, "Touch a station")
    page.get_by_label("Its station").fill("2.5")


def _rod(page: Page) -> None:
    seat_room.record(page, "Rod check")
    page.get_by_label("Backsight: staff").fill("1.2")
    page.get_by_label("Foresight: staff").fill("1.2")


@pytest.mark.parametrize(
    ("what", "begun"),
    [("touches", _touch), ("turning-points", _turning), ("checks", _check), ("stations", _station), ("rod-checks", _rod)],
)  # fmt: skip
def test_a_touch_that_arrives_once_the_edge_has_gone_is_refused(
    page: Page, home: str, job: JobDoer, watch: Watch, what: str, begun: Callable[[Page], Any]
) -> None:
    """Pressed with the edge on the slab, lost, asked again by the page with the edge 0.8 m below it."""
    watch.expect("net::ERR_FAILED", "status of 409")
    with seat_room.machine(home, job) as machine:
        seat_room.seated(page, job.id)
        seat_room.number(page)
        arrives = lose(page, what)
        begun(page)
        machine.rested()
        page.locator("#slip .write").click()
        page.locator("#slip .alert").get_by_text("then touch again").wait_for()
        machine.stands(edge_at(0.8))
        machine.rested()
        assert "No answer yet" in page.locator("#slip .alert").inner_text()
        arrives()
        page.locator("#slip[data-state=open]").wait_for()  # decided
        told = page.locator("#slip .alert").inner_text()
        assert "Look whether the edge rests there now, then touch again." in told
        before = job.get()["seq"]
        assert before == 7, "nothing was written"
        machine.rested()
        assert f"entry {before + 1}" in seat_room.write(page), "pressed anew it reads what is there now"


def test_whoever_kept_still_need_not_touch_again(page: Page, home: str, job: JobDoer, watch: Watch) -> None:
    watch.expect("net::ERR_FAILED")
    with seat_room.machine(home, job) as machine:
        seat_room.seated(page, job.id)
        seat_room.number(page)
        arrives = lose(page, "touches")
        seat_room.press(page, "touch")
        machine.rested()
        page.locator("#slip .write").click()
        page.locator("#slip .alert").get_by_text("then touch again").wait_for()
        arrives()
        assert "entry 8" in seat_room.written(page)
        assert "asked_at" not in json.dumps(job.events()[-1])


def test_what_was_declared_void_is_not_shown_until_it_is_decided(
    page: Page, home: str, job: JobDoer, watch: Watch
) -> None:
    """The tracks moved, and no answer: no number, though asking is stopped and the slip put away; then written, once."""
    watch.expect("net::ERR_FAILED")
    unknown = f"{BECAUSE}.startsWith('The tracks moved: whether it was written')"
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        seat_room.number(page)
        arrives = lose(page, "moves")
        seat_room.press(page, "move")
        page.locator("#slip .write").click()
        alert = page.locator("#slip .alert")
        alert.get_by_text("No answer yet").wait_for()
        assert "sensors" not in alert.inner_text()
        assert page.evaluate(f"{GONE} && {unknown}")
        page.locator("#slip").get_by_role("button", name="Stop asking").click()
        alert.get_by_text("Asking was stopped").wait_for()
        page.locator("#slip").get_by_role("button", name="Cancel").click()
        waited(page, 1000)
        assert page.evaluate(f"{GONE} && {unknown}")
        page.locator("#slip").get_by_role("button", name="It did not happen").click()
        seat_room.shows(page, seat_room.read(job, DIG, "bottom of footing"))

        seat_room.press(page, "move")
        page.locator("#slip .write").click()
        alert.get_by_text("No answer yet").wait_for()
        page.locator("#slip").get_by_role("button", name="Stop asking").click()
        page.locator("#slip").get_by_role("button", name="Cancel").click()
        arrives()
        page.locator("#slip").get_by_role("button", name="Write it again").click()
        seat_room.write(page)
        room.until(page, f"{GONE} && {BECAUSE}.includes('touch')")
    assert kinds(job).count("move") == 1
