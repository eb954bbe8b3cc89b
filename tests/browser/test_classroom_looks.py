"""What holds for every page, of the classroom in each of its states."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import looking, room
from .view import NOTEBOOK, PHONE, WALL, View, looks

if TYPE_CHECKING:
    from playwright.sync_api import Page

WORDS = (
    "main p:not(.unseen), main label, main legend, main li, main td, main summary, main dt, main dd, main figcaption, "
    "main button:not(.handle), main tbody th"
)
"""All but what only a screen reader is told, and names of rings, which may stand past the drawing's edge."""


def looked_at(page: Page, boxes: list[str], *controls: str) -> None:
    looking.looked_at(page, WORDS, ["nav[aria-label=Pages] a", ".paper", *boxes], *controls)


def free_play(page: Page) -> None:
    room.opened(page)
    room.unfold(page)
    page.locator(".joint[data-axis=bucket] .degrees").fill("50")
    page.locator(".joint[data-axis=boom] .degrees").fill("30")
    page.keyboard.press("Enter")
    page.locator("#readout summary").first.click()
    room.settled(page)
    looked_at(
        page, [".joint > *", ".acts > *", ".choices > *", ".mode", "#why-part > *"],
        "boom on the drawing", "bucket less", "input#slide-pitch", "select#point", "summary \"elevation\"", "input#link",
    )  # fmt: skip


@looks(View(PHONE), View(WALL, "dark"), thorough=(View(NOTEBOOK, "dark"),))
def test_free_play(page: Page) -> None:
    free_play(page)


@looks(View(PHONE, "dark", still=True), View(WALL, still=True))
def test_every_state(page: Page) -> None:
    """Free play, lessons listed, a question open and answered, exercises listed, digging, and the score with a class."""
    free_play(page)

    room.mode(page, "lessons")
    page.locator("[data-lesson=curl]").wait_for()
    room.settled(page)
    looked_at(page, ["#lessons > *", "#lessons li"], "Hold the pin")
    page.locator("[data-lesson=curl]").click()
    page.locator(".question").wait_for()
    room.settled(page)
    looked_at(page, ["#lessons > *", ".question > *"], 'button "Answer"')
    page.locator(".question input").last.check()
    page.locator(".question button").click()
    page.locator(".verdict").wait_for()
    room.settled(page)
    looked_at(page, ["#lessons > *", ".answered > *"], 'button "Next"')

    room.mode(page, "exercise")
    page.locator("#exercise li button").first.wait_for()
    room.settled(page)
    looked_at(page, ["#exercise > *", "#exercise li"], "input#class", "Show the class")
    page.locator("#exercise li button").first.click()
    page.locator("#exercise .acts button").first.click()
    page.locator(".levers").wait_for()
    page.keyboard.down("a")
    room.until(page, "/Passes 1/.test(document.querySelector('#so-far').textContent)")
    page.keyboard.up("a")
    room.settled(page)
    stage, levers = page.locator("#second-sheet").bounding_box(), page.locator(".levers").bounding_box()
    assert stage is not None
    assert levers is not None
    assert stage["y"] >= 0, "whoever digs sees the ground"
    looked_at(page, ["#exercise > *", ".lever > *"], "lower", "raise", "Done: score it")
    page.get_by_role("button", name="Done: score it").click()
    page.locator(".score").wait_for()
    page.locator("#class").fill(f"looked-{page.viewport_size and page.viewport_size['width']}")
    page.locator("#learner").fill("A learner with quite a long name")
    page.locator("#learner").press("Enter")
    page.locator("#exercise .class").wait_for()
    room.settled(page)
    looked_at(page, ["#exercise > *", ".score > *"], "A tenth further", "Look at 1")
