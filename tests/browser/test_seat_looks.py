"""What holds for every page, of the one at the seat in each of its states."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from . import room, seat_room
from .contrast import colour, contrast, ratio
from .looking import axe, no_overlap, not_sideways, tab_order, targets, words_within
from .seat_room import FOOTING_M, GONE, edge_at
from .view import PHONE, WALL, View, looks

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.service.api.doing import JobDoer

TABLET, UPRIGHT = (1280, 800), (800, 1280)
TABLET_TOUCH_PX, PHONE_TOUCH_PX = 90, 48
"""15 mm on a tablet of 10 inches; what ink.css gives a gloved thumb on a phone."""
WORDS = ", ".join(
    f"main {each}:not(.unseen)" for each in ("p", "label", "legend", "li", "h2", "button", "small")
)
_NUMBER = """() => {
  const { top, bottom } = document.querySelector("#number").getBoundingClientRect();
  return [top, bottom, innerHeight];
}"""
_COVERED = """() => {
  const at = document.activeElement;
  const box = document.querySelector("#box");
  if (box.contains(at)) return null;
  const whole = at.closest("label") ?? at;
  return whole.getBoundingClientRect().top < box.getBoundingClientRect().bottom - 1;
}"""
_jobs = itertools.count(1)


@pytest.fixture
def job(home: str) -> Iterator[JobDoer]:
    with seat_room.asking(home) as client:
        yield seat_room.begun(client, f"looked-{next(_jobs)}")


def looked_at(page: Page, boxes: list[str]) -> None:
    """A state of the page in all that holds for every page."""
    size = page.viewport_size
    assert size is not None
    axe(page)
    contrast(page)
    not_sideways(page)
    no_overlap(page, ["nav[aria-label=Pages] a", ".strip", *boxes])
    targets(page, TABLET_TOUCH_PX if size["width"] >= 700 else PHONE_TOUCH_PX)
    words_within(page, WORDS)
    tab_order(page)


def number_contrast(page: Page) -> float:
    told = page.evaluate("""() => ["color", "backgroundColor"].map((name) => getComputedStyle(name === "color"
      ? document.querySelector("#number") : document.body)[name])""")
    return ratio(*map(colour, told))


@looks(
    View(PHONE), View(TABLET, "dark"), View(WALL, "dark"),
    thorough=(View(TABLET), View(PHONE, "dark"), View(UPRIGHT), View(WALL)),
)  # fmt: skip
def test_every_state(page: Page, home: str, job: JobDoer) -> None:
    """Cautions, no number, a number, a slip, one that is written."""
    page.goto(f"/seat?job={job.id}")
    page.locator("#before-done").wait_for()
    looked_at(page, ["#before > *"])
    seat_room.seated(page, job.id)
    box = page.locator("#box").bounding_box()
    assert box is not None
    assert box["y"] >= 0, "the number is in sight"
    room.until(page, f"{GONE} && document.querySelector('#because').textContent !== ''")
    looked_at(page, ["#box", "#field", ".drawing > *", "#notices > *", ".beneath > *"])
    job.touch(seat_room.TOUCHED_M)
    with seat_room.machine(home, job, edge_at(FOOTING_M - 0.12, 1.5)) as machine:
        seat_room.shows(page, seat_room.read(job, edge_at(FOOTING_M - 0.12, 1.5), "bottom of footing"))
        assert number_contrast(page) >= 7
        looked_at(
            page,
            [
                "#box",
                "#field",
                ".drawing > *",
                "#notices > *",
                ".beneath > *",
                "#corners label",
                "#sheet label",
            ],
        )
        seat_room.press(page, "touch")
        looked_at(page, ["#box", "#slip form > *", "#slip fieldset label"])
        page.locator("#slip input[value=check]").press("Space")
        machine.rested()
        seat_room.write(page)
        looked_at(page, ["#box", "#slip > *", "#slip .acts > *"])


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_the_switch_for_the_night(page: Page, job: JobDoer) -> None:
    seat_room.seated(page, job.id)
    by_day = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.locator("#form").select_option("night")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") != by_day
    assert number_contrast(page) >= 7


@looks(View(PHONE, "dark"), View(WALL), thorough=(View(PHONE), View((768, 1024)), View(TABLET, "dark")))
def test_further_states(page: Page, home: str, job: JobDoer) -> None:
    """Below a floor limit; more records, a rod check, a line for the sheet."""
    job.post("targets", job.target_body("sump", 1.4) | {"floor_limit_below": 1.45})
    job.touch(seat_room.TOUCHED_M)
    with seat_room.machine(home, job, edge_at(1.5, -1.0)):
        seat_room.seated(page, job.id, "&target=sump")
        seat_room.shows(page, seat_room.read(job, edge_at(1.5, -1.0), "sump"))
        page.locator("#floor[data-passed=yes]").wait_for()
        looked_at(page, ["#box", "#field", "#bar > *", "#notices > *", ".drawing > *", ".beneath > *"])
        seat_room.press(page, "more")
        looked_at(page, ["#box", "#slip .acts > *"])
        for name in ("Rod check", "Add to the depth sheet"):
            page.locator("#slip").get_by_role("button", name=name, exact=True).press("Enter")
            page.locator("#slip .says").wait_for()
            looked_at(page, ["#box", "#slip form > *", "#slip fieldset label"])
            page.locator("#slip").get_by_role("button", name="Cancel").press("Enter")
            seat_room.press(page, "more")


@pytest.mark.parametrize(
    "page", [View(PHONE), View((768, 1024)), View(TABLET), View(WALL)], indirect=True, ids=str
)
def test_the_number_stays_in_sight_and_covers_nothing_the_keyboard_is_at(
    page: Page, home: str, job: JobDoer
) -> None:
    job.touch(seat_room.TOUCHED_M)
    with seat_room.machine(home, job, edge_at(FOOTING_M - 0.12)):
        seat_room.seated(page, job.id)
        seat_room.shows(page, seat_room.read(job, edge_at(FOOTING_M - 0.12), "bottom of footing"))
        page.evaluate("scrollTo(0, document.body.scrollHeight)")
        top, bottom, high = page.evaluate(_NUMBER)
        assert 0 <= top < bottom <= high
        page.locator("#leaf a").last.focus()
        for _ in range(12):
            page.keyboard.press("Shift+Tab")
            covered = page.evaluate(_COVERED)
            assert covered is None or not covered, page.evaluate("document.activeElement.outerHTML")
