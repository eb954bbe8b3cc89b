"""A shift at the seat by keys alone: every number is the service's own for the same angles, every record is on disk."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

from . import room, seat_room
from .seat_room import FOOTING_M, GONE, edge_at
from .view import View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route, WebSocketRoute

    from tests.service.api.doing import JobDoer

TABLET = (1280, 800)
FIGURE_PX = 148
"""25 mm of a screen that is 216 mm wide and has 1280 px: 148.1."""
A_SECOND_MS = 990
"""A timer of a browser may be early by some milliseconds, never by ten."""
_jobs = itertools.count(1)
# From the top of the page, as the number stays in the window wherever it is scrolled to.
_WHERE = """() => {
  scrollTo(0, 0);
  return ["box", "field"].map((id) => {
    const { x, y, width, height } = document.getElementById(id).getBoundingClientRect();
    return [x, y, width, height];
  });
}"""
_HEARD = """() => {
  window.heard = [];
  const at = document.querySelector("#heard");
  new MutationObserver(() => window.heard.push(performance.now())).observe(at, { childList: true });
}"""
_SHIFTS = """() => {
  window.shifts = 0;
  const inReading = ({ node }) => node?.parentElement?.closest("#reading");
  new PerformanceObserver((list) => {
    const ours = list.getEntries().filter((each) => !each.hadRecentInput && each.sources.some(inReading));
    window.shifts += ours.reduce((sum, each) => sum + each.value, 0);
  }).observe({ type: "layout-shift" });
}"""


@pytest.fixture
def job(home: str) -> Iterator[JobDoer]:
    """A job of its own, as the office leaves it: six entries."""
    with seat_room.asking(home) as client:
        yield seat_room.begun(client, f"seat-{next(_jobs)}")


def touched(page: Page, purpose: str = "reference", point: str = "slab") -> str:
    """A touch on record, by keys."""
    seat_room.press(page, "touch")
    page.locator(f"#slip input[value='{point}']").press("Space")
    page.locator(f"#slip input[value={purpose}]").press("Space")
    return seat_room.write(page)


def because(page: Page, words: str) -> None:
    """There is no number, for this reason, and none is shown beside it."""
    room.until(page, f"{GONE} && document.querySelector('#because').textContent.includes({words!r})")
    assert page.locator("#some").is_hidden()
    assert (
        page.evaluate("['word', 'number', 'sub'].map((id) => document.getElementById(id).textContent)")
        == [""] * 3
    )


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_a_shift_by_keys(page: Page, job: JobDoer, home: str) -> None:
    with seat_room.machine(home, job) as machine:
        seat_room.seated(page, job.id)
        because(page, "touch")
        seat_room.press(page, "more")
        page.get_by_role("button", name="Take the seat").press("Enter")
        assert "Will be written: " in page.locator("#slip .says").inner_text()
        assert "entry 7" in seat_room.write(page)
        seat_room.close(page)

        machine.rested()
        assert "entry 8" in touched(page)
        seat_room.close(page)
        seat_room.shows(page, seat_room.read(job, seat_room.SLAB, "bottom of footing"))

        for below, tilt in ((FOOTING_M - 0.12, 0.0), (FOOTING_M + 0.05, 2.0), (FOOTING_M - 0.004, -1.0)):
            pose = edge_at(below, tilt)
            machine.stands(pose)
            for point in ("centre", "right", "left"):
                page.locator(f"#corners input[value={point}]").press("Space")
                seat_room.shows(page, seat_room.read(job, pose, "bottom of footing", point))
        page.locator("#corners input[value=centre]").press("Space")

        machine.rested()
        seat_room.press(page, "check")
        assert "bottom of footing: " in seat_room.write(page)
        [check] = job.get("checks")["checks"]
        page.get_by_role("button", name=f"Undo entry {check['seq']}").press("Enter")
        page.get_by_text("Which entry").wait_for()
        page.locator("#slip input[value='It did not happen']").press("Space")
        told = seat_room.write(page)
        assert f"Void now: entry {check['seq']}." in told
        assert job.get("checks")["checks"][0]["status"] == "withdrawn"
        seat_room.close(page)

        stone = edge_at(1.2)
        machine.stands(stone)
        page.locator("#sheet input[value='']").press("Space")
        seat_room.shows(page, seat_room.read(job, stone, None))
        machine.rested()
        seat_room.press(page, "turning")
        page.locator("#slip input[type=text]").fill("stone")
        assert "sets a turning point" in seat_room.write(page)
        seat_room.close(page)

        seat_room.press(page, "move")
        assert "height until the next strike or touch" in seat_room.write(page)
        seat_room.close(page)
        because(page, "touch")
        machine.stands(stone)  # readings from before the move no longer count
        machine.rested()
        touched(page, point="stone")
        seat_room.close(page)
        page.locator("#sheet input[value='bottom of footing']").press("Space")
        seat_room.shows(page, seat_room.read(job, stone, "bottom of footing"))
        page.locator("#hangs").get_by_text("touch stone (entry 13)").wait_for()
        machine.rested()
        assert "misclosure" in touched(page, "check", "stone").lower()
    types = [row["what"] for row in job.get("level-book")["rows"]][6:]
    assert types == ["seat", "touch", "check", "withdrawal", "turning point", "move", "touch", "check touch"]


def test_a_line_for_the_sheet_and_refusals_in_words(page: Page, job: JobDoer, watch: Watch) -> None:
    watch.expect("status of 422")
    seat_room.seated(page, job.id)
    because(page, "")
    seat_room.press(page, "more")
    page.get_by_role("button", name="Add to the depth sheet").press("Enter")
    room.tab_to(page, "#slip .write")
    page.keyboard.press("Enter")
    page.locator("#slip .alert").get_by_text("Name: fill it in.").wait_for()
    for label, text in (("Name", "slab pad"), ("Layer 1", "gravel"), ("Thickness, positive down", "0.3 m"),
                        ("Overdig, 0 for none", "0"), ("Tolerance, half the band", "0.02")):  # fmt: skip
        page.get_by_label(label, exact=True).fill(text)
    room.tab_to(page, "#slip .write")
    page.keyboard.press("Enter")
    page.locator("#slip .alert").get_by_text("0.3 m").wait_for()
    assert len(job.get("targets")) == 2
    page.get_by_label("Thickness, positive down", exact=True).fill("0.3")
    page.evaluate("document.activeElement.blur()")
    assert "0.300 m below slab" in seat_room.write(page)
    seat_room.close(page)
    page.locator("#sheet input[value='slab pad']").wait_for()
    seat_room.press(page, "touch")  # no sensor has said anything
    room.tab_to(page, "#slip .write")
    page.keyboard.press("Enter")
    page.locator("#slip .alert").get_by_text("Expected: ").wait_for()


def test_a_lost_answer_is_asked_again_and_written_once(
    page: Page, job: JobDoer, home: str, watch: Watch
) -> None:
    watch.expect("net::ERR_FAILED")
    lost: list[int] = []

    def lose_one(route: Route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort()

    page.route("**/moves", lose_one)
    seat_room.seated(page, job.id)
    seat_room.press(page, "move")
    assert "An earlier try had already written it." in seat_room.write(page)
    assert lost == [201]
    assert [row["what"] for row in job.get("level-book")["rows"]].count("move") == 1


def test_asking_stopped_and_begun_again_is_the_same_record(
    page: Page, job: JobDoer, home: str, watch: Watch
) -> None:
    """Whoever stops asking and presses again has not moved the machine a second time."""
    watch.expect("net::ERR_FAILED")
    keys: list[str] = []

    def lose(route: Route) -> None:
        keys.append(route.request.headers["idempotency-key"])
        route.fetch()
        route.abort()

    page.route("**/moves", lose)
    seat_room.seated(page, job.id)
    seat_room.press(page, "move")
    page.locator("#slip .write").click()
    page.locator("#slip .alert").get_by_text("No answer").wait_for()
    page.locator("#slip").get_by_role("button", name="Stop").click()
    page.locator("#slip .alert").get_by_text("Asking was stopped").wait_for()
    page.unroute("**/moves")
    assert "An earlier try had already written it." in seat_room.write(page)
    assert len(set(keys)) == 1
    assert [row["what"] for row in job.get("level-book")["rows"]].count("move") == 1


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_nothing_moves_whatever_the_number_is(page: Page, job: JobDoer, home: str) -> None:
    """CUT, FILL, ON GRADE, an elevation and no number at all, from 3 to 6 figures; figures of 25 mm or more."""
    job.touch(seat_room.TOUCHED_M)
    with seat_room.machine(home, job) as machine:
        seat_room.seated(page, job.id)
        page.locator("#notices").get_by_role("button", name="on paper").press("Enter")
        page.evaluate(_SHIFTS)
        page.evaluate(_HEARD)
        seen = []
        for below in (0.0, FOOTING_M - 0.12, FOOTING_M + 0.04, FOOTING_M, FOOTING_M - 0.333):
            machine.stands(edge_at(below))
            seat_room.shows(page, seat_room.read(job, edge_at(below), "bottom of footing"))
            seen.append(page.evaluate(_WHERE))
            assert seat_room.tall(page) >= FIGURE_PX
        page.locator("#sheet input[value='']").press("Space")
        seat_room.shows(page, seat_room.read(job, edge_at(FOOTING_M - 0.333), None))
        assert seat_room.tall(page) >= FIGURE_PX
        seen.append(page.evaluate(_WHERE))
        assert page.evaluate(
            "document.querySelector('#number').scrollWidth <= document.querySelector('#number').clientWidth"
        )
        machine.quiet()
        room.until(page, GONE)
        seen.append(page.evaluate(_WHERE))
    assert seen == [seen[0]] * len(seen)
    assert page.evaluate("window.shifts") == 0
    room.until(page, "window.heard.length > 1")
    heard = page.evaluate("window.heard")
    assert all(later - earlier >= A_SECOND_MS for earlier, later in pairwise(heard)), heard


def test_the_tone_is_off_until_pressed_and_silent_without_a_number(
    page: Page, job: JobDoer, home: str
) -> None:
    job.touch(seat_room.TOUCHED_M)
    sounds = "document.querySelector('#tone').dataset.sounds"
    with seat_room.machine(home, job, edge_at(FOOTING_M - 0.12)) as machine:
        seat_room.seated(page, job.id)
        seat_room.number(page)
        assert page.evaluate(sounds) is None
        page.locator("#tone").press("Enter")
        for above, kind in (
            (0.12, "single"),
            (0.0, "unbroken"),
            (-0.1, "pairs"),
            (0.9, "silent"),
            (-0.1, "pairs"),
        ):
            machine.stands(edge_at(FOOTING_M - above))
            room.until(page, f"{sounds} === {kind!r}")
        machine.quiet()
        room.until(page, f"{GONE} && {sounds} === 'silent'")
        page.locator("#tone").press("Enter")
        assert page.evaluate(sounds) == ""


def test_without_a_job_all_are_listed(page: Page, job: JobDoer) -> None:
    page.goto("/seat")
    page.locator("#jobs a").first.wait_for()
    found = page.locator("#jobs a").evaluate_all("(all) => all.map((each) => each.getAttribute('href'))")
    assert f"/seat?job={job.id}" in found


def test_a_job_that_is_not_there_is_told(page: Page, watch: Watch) -> None:
    watch.expect("status of 404")
    page.goto("/seat?job=nowhere")
    page.locator("#trouble").get_by_text("No such job").wait_for()
    assert page.locator("#box").is_hidden()


def test_the_other_records(page: Page, job: JobDoer, home: str) -> None:
    """A station of the sloping line, the laser, a swing: by keys, each with its entry and what it voids."""
    job.touch(seat_room.TOUCHED_M)
    dig = edge_at(0.88)
    with seat_room.machine(home, job, dig) as machine:
        seat_room.seated(page, job.id, "&target=drain")
        because(page, "station")
        machine.rested()

        def more(name: str, filled: dict[str, str]) -> str:
            seat_room.press(page, "more")
            page.get_by_role("button", name=name).press("Enter")
            for label, text in filled.items():
                page.get_by_label(label).fill(text)
            told = seat_room.write(page)
            seat_room.close(page)
            return told

        assert "entry 8" in more("Touch a station", {"Its station": "2.5"})
        seat_room.shows(page, seat_room.read(job, dig, "drain"))
        told = more(
            "Laser set up", {"Turns of the head a second": "5", "Fall in percent, 0 for a level plane": "0"}
        )
        assert "Void now: laser plane" in told
        assert job.get()["laser"]["revolutions_per_s"] == 5.0
        assert "stations of sloping targets" in more("The body swung", {})
        because(page, "station")
        seat_room.press(page, "more")
        page.get_by_role("button", name="Undo").press("Enter")
        page.get_by_text("Which entry").wait_for()
        assert page.locator("#slip fieldset").first.locator("span").first.inner_text() == "swing (entry 10)"
        assert "swing (entry 10) is withdrawn" in page.locator("#slip .says").inner_text()
        page.locator("#slip input[value='It did not happen']").press("Space")
        seat_room.write(page)
        seat_room.close(page)
        seat_room.shows(page, seat_room.read(job, dig, "drain"))


def test_a_strike_is_told_with_its_reason(page: Page, job: JobDoer, home: str) -> None:
    """A message of the service with a strike put into it, as the live door tells one."""
    reason = {"code": "too-fast", "found": "50 mm/s", "expected": "at most 30 mm/s", "advice": "slower"}
    strike = {
        "at": "2026-05-04T07:31:12.000Z",
        "verdict": "turned down",
        "seq": 9,
        "role": None,
        "because": [reason],
    }

    def with_strike(socket: WebSocketRoute) -> None:
        server = socket.connect_to_server()
        server.on_message(lambda text: socket.send(json.dumps(json.loads(text) | {"strike": strike})))

    page.route_web_socket("**/readouts/live*", with_strike)
    with seat_room.machine(home, job):
        seat_room.seated(page, job.id)
        page.locator("#strike").get_by_text(
            "turned down (entry 9) because: 50 mm/s. Expected: at most 30 mm/s. Slower."
        ).wait_for()


@pytest.mark.parametrize("broken", ["points", "no_number_because", "warnings"])
def test_what_cannot_be_drawn_leaves_no_number_standing(
    page: Page, job: JobDoer, home: str, watch: Watch, broken: str
) -> None:
    """A message that is not of this page's kind, as after an upgrade of the service alone."""
    watch.expect("thrown: ")
    breaks: list[bool] = []

    def without(text: str) -> str:
        told = json.loads(text)
        if breaks and told["readout"] is not None:
            del told["readout"][broken]
        return json.dumps(told)

    def spoilt(socket: WebSocketRoute) -> None:
        server = socket.connect_to_server()
        server.on_message(lambda text: socket.send(without(str(text))))

    page.route_web_socket("**/readouts/live*", spoilt)
    job.touch(seat_room.TOUCHED_M)
    with seat_room.machine(home, job):
        seat_room.seated(page, job.id)
        seat_room.number(page)
        breaks.append(True)
        because(page, "This page could not show what came.")
