"""The exercise on the classroom page: dug by keys and by pointer, scored, handed in, looked at, played again."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest

from . import room
from .view import NOTEBOOK, PHONE, View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

EARTH = "[data-ground=surface]"


def surface(page: Page) -> str:
    """The line of the ground as it is drawn."""
    return room.course(page, "surface", "ground")


def listed(page: Page) -> Page:
    """The list of exercises, chosen by keys."""
    room.opened(page)
    room.tab_to(page, ".mode[data-mode=exercise]")
    page.keyboard.press("Enter")
    page.locator("#exercise li button").first.wait_for()
    return page


def begun(page: Page) -> None:
    """The first exercise begun by keys; the levers have the keyboard."""
    listed(page)
    room.tab_to(page, "#exercise li button")
    page.keyboard.press("Enter")
    room.tab_to(page, "#exercise .acts button")
    page.keyboard.press("Enter")
    page.locator(".levers").wait_for()
    assert page.evaluate("document.activeElement.matches('.levers button')")
    page.locator(f"#second-sheet path{EARTH}").wait_for()


def held(page: Page, key: str, until: str) -> None:
    """A key held until the page shows something."""
    page.keyboard.down(key)
    room.until(page, until)
    page.keyboard.up(key)


def score_of(score: Any) -> list[str]:
    """A score as the page writes it."""
    return [
        score["share_shown"], score["overcut"]["shown"], score["left"]["shown"], str(score["passes"]),
        f"{score['time_s']:.1f} s",
    ]  # fmt: skip


def shown_score(page: Page) -> list[str]:
    told: list[str] = page.locator(".score dd").evaluate_all(
        "(all) => all.map((each) => each.firstChild.textContent)"
    )
    return told


def dug(page: Page) -> Any:
    """A pass dug by keys alone and scored; the course that the page sent."""
    begun(page)
    held(page, "a", "/Passes 1/.test(document.querySelector('#so-far').textContent)")
    at = page.evaluate("window.at = document.querySelector('#sheets').dataset.drawn")
    held(page, "s", f"Number(document.querySelector('#sheets').dataset.drawn) > {at} + 5")
    depth = page.locator("#depth").inner_text()
    assert depth.split()[0] in ("CUT", "FILL", "ON", "outside")
    room.tab_to(page, "#exercise .acts button")
    with page.expect_request("**/v1/digs") as sent:
        page.keyboard.press("Enter")
    page.locator(".score").wait_for()
    assert page.evaluate("document.activeElement.id") == "exercise-name"
    return sent.value.post_data_json


def hand_in(page: Page, name: str, learner: str) -> None:
    """By keys alone."""
    for field, text in (("#class", name), ("#learner", learner)):
        room.tab_to(page, field)
        page.keyboard.press("ControlOrMeta+A")
        page.keyboard.insert_text(text)
    page.keyboard.press("Enter")


@pytest.mark.parametrize("page", [View(NOTEBOOK, still=True)], indirect=True, ids=str)
def test_a_dig_by_keys_alone_from_start_to_class(page: Page) -> None:
    asked = dug(page)
    told = room.answer(page, "/v1/digs", asked)
    assert shown_score(page) == score_of(told["score"])
    assert told["score"]["passes"] == 1
    times = asked["course"]["t_s"]
    assert times[0] == 0.0
    assert all(a < b for a, b in pairwise(times))
    room.settled(page)
    ended = surface(page)

    hand_in(page, "Not a name!", "AB")
    page.locator("#exercise form .said").get_by_text("A class is small letters").wait_for()
    assert page.locator("#class").get_attribute("aria-invalid") == "true"
    assert page.locator("#exercise .class").count() == 0
    page.evaluate("document.activeElement.blur()")
    hand_in(page, "by-keys", "AB")
    page.locator("#exercise .said").get_by_text("Handed in to by-keys as number 1.").wait_for()
    table = page.locator("#exercise .class")
    table.wait_for()
    assert table.locator("tbody th").all_inner_texts() == ["1. AB"]
    assert table.locator("tbody td").all_inner_texts()[1:6] == score_of(told["score"])
    kept = page.request.get("/v1/classes/by-keys/digs/1", params={"units": "m"}).json()
    assert kept["course"] == asked["course"]

    room.tab_to(page, "#exercise .class button")
    page.keyboard.press("Enter")
    page.locator("#exercise-name").get_by_text("AB: ").wait_for()
    assert shown_score(page) == score_of(told["score"])
    room.tab_to(page, "#replay-at")
    page.keyboard.press("Home")
    room.until(page, "document.querySelector('#exercise output').textContent === '0.0 s'")
    room.settled(page)
    level = surface(page)
    page.keyboard.press("End")
    room.until(
        page, f"document.querySelector('#exercise output').textContent === '{told['score']['time_s']:.1f} s'"
    )
    room.until(page, f"document.querySelector('#second-sheet path{EARTH}').getAttribute('d') === '{ended}'")
    assert level != ended
    page.locator("#exercise .way button").click()
    room.until(page, "document.querySelector('#replay-at').value === '0'")
    room.until(page, f"document.querySelector('#second-sheet path{EARTH}').getAttribute('d') !== '{ended}'")


def test_a_replay_moves_the_ground(page: Page) -> None:
    """With motion it runs from the beginning to the end, and leaves the ground as the dig did."""
    asked = dug(page)
    room.settled(page)
    ended = surface(page)
    page.evaluate(
        """() => { window.grounds = new Set(); new MutationObserver(() => window.grounds.add(
          document.querySelector("#second-sheet path[data-ground=surface]").getAttribute("d")))
          .observe(document.querySelector("#sheets"), { attributeFilter: ["data-drawn"] }); }"""
    )
    page.get_by_role("button", name="Four times as fast").click()
    last = len(asked["course"]["t_s"]) - 1
    room.until(page, f"window.grounds.size > 3 && document.querySelector('#replay-at').value === '{last}'")
    room.until(page, f"document.querySelector('#second-sheet path{EARTH}').getAttribute('d') === '{ended}'")
    assert shown_score(page) == score_of(room.answer(page, "/v1/digs", asked)["score"])


@pytest.mark.parametrize("page", [View(PHONE, "dark", still=True)], indirect=True, ids=str)
def test_levers_held_by_the_pointer(page: Page) -> None:
    """A joint turns as long as its button is held, and stands once it is let go."""
    begun(page)
    for name in ("raise", "push out"):
        at = room.drawn(page)
        page.get_by_role("button", name=name).hover()
        page.mouse.down()
        room.until(page, f"Number(document.querySelector('#sheets').dataset.drawn) > {at} + 3")
        page.mouse.up()
    with page.expect_request("**/v1/digs") as sent:
        page.get_by_role("button", name="Done: score it").click()
    page.locator(".score").wait_for()
    asked: Any = sent.value.post_data_json
    angles = asked["course"]["angles_deg"]
    boom, stick = angles["boom"], angles["stick"]
    steps = list(zip(pairwise(boom), pairwise(stick), strict=True))
    moved = [(b > a, d > c) for (a, b), (c, d) in steps]
    assert set(moved) - {(False, False)} == {(True, False), (False, True)}, (
        "one after the other, none goes on"
    )
    assert boom == sorted(boom)
    assert stick == sorted(stick)
    assert set(angles["bucket"]) == {angles["bucket"][0]}


@pytest.mark.parametrize("page", [View(NOTEBOOK, still=True)], indirect=True, ids=str)
def test_handed_in_again_after_a_lost_answer_it_is_recorded_once(page: Page, watch: Watch) -> None:
    watch.expect("net::ERR_FAILED")
    dug(page)

    def lose(route: Route) -> None:
        route.fetch()  # the service records it
        route.abort()  # and the page never hears of it

    page.route("**/v1/classes/lost/digs", lose, times=1)
    hand_in(page, "lost", "CD")
    page.locator("#exercise form .said").get_by_text("The service does not answer.").wait_for()
    page.locator("#exercise form button[type=submit]").click()
    page.locator("#exercise form .said").get_by_text("Handed in to lost as number 1.").wait_for()
    kept = page.request.get("/v1/classes/lost/digs", params={"units": "m"}).json()["digs"]
    assert [(each["seq"], each["learner"]) for each in kept] == [(1, "CD")]


def test_free_play_is_as_it_was_left(page: Page) -> None:
    """Poses, target and readout come back; nothing of the exercise's stands in them."""
    room.opened(page)
    page.locator(".joint[data-axis=boom] .degrees").fill("33")
    page.locator(".joint[data-axis=boom] .degrees").press("Enter")
    before = room.link(page)
    room.mode(page, "exercise")
    page.locator("#exercise li button").first.wait_for()
    room.mode(page, "free")
    room.as_explained(page)
    assert room.link(page) == before
    assert page.locator(f"#second-sheet path{EARTH}").count() == 0


@pytest.mark.parametrize("page", [View(NOTEBOOK, still=True)], indirect=True, ids=str)
def test_a_lever_is_free_wherever_its_key_is_let_go(page: Page) -> None:
    begun(page)
    at = room.drawn(page)
    page.keyboard.down("Space")
    room.until(page, f"Number(document.querySelector('#sheets').dataset.drawn) > {at} + 2")
    page.keyboard.press("Tab")
    page.keyboard.up("Space")
    room.settled(page)
    stood, passed = surface(page), page.locator("#so-far").inner_text()
    page.evaluate(
        "new Promise((done) => setTimeout(done, 400))"
    )  # nothing may happen: some eight looks of the page
    room.settled(page)
    assert (surface(page), page.locator("#so-far").inner_text()) == (stood, passed)


@pytest.mark.parametrize("page", [View(NOTEBOOK, still=True)], indirect=True, ids=str)
def test_a_dig_that_could_not_be_scored_is_still_there(page: Page, watch: Watch) -> None:
    watch.expect("net::ERR_FAILED")
    page.route("**/v1/digs", lambda route: route.abort(), times=1)
    begun(page)
    held(page, "a", "/Passes 1/.test(document.querySelector('#so-far').textContent)")
    page.get_by_role("button", name="Done: score it").click()
    page.get_by_text("The dig is still here.").wait_for()
    with page.expect_request("**/v1/digs") as sent:
        page.get_by_role("button", name="Score it again").click()
    page.locator(".score").wait_for()
    asked: Any = sent.value.post_data_json
    told = room.answer(page, "/v1/digs", asked)
    assert shown_score(page) == score_of(told["score"])
    assert told["score"]["passes"] == 1


@pytest.mark.parametrize("page", [View(NOTEBOOK, still=True)], indirect=True, ids=str)
def test_a_piece_that_was_not_dug_does_not_count(page: Page, watch: Watch) -> None:
    """The ground on screen and the score are of the same course, though an answer got lost on the way."""
    watch.expect("net::ERR_FAILED")
    begun(page)
    held(page, "a", "/Passes 1/.test(document.querySelector('#so-far').textContent)")
    page.route("**/v1/dig-steps", lambda route: route.abort(), times=1)
    page.keyboard.down("s")
    page.locator("#trouble").get_by_text("The service does not answer.").wait_for()
    page.keyboard.up("s")
    at = room.drawn(page)
    held(page, "d", f"Number(document.querySelector('#sheets').dataset.drawn) > {at} + 2")
    room.settled(page)
    stood = surface(page)
    with page.expect_request("**/v1/digs") as sent:
        page.get_by_role("button", name="Done: score it").click()
    page.locator(".score").wait_for()
    room.settled(page)
    assert surface(page) == stood
    asked: Any = sent.value.post_data_json
    stick = asked["course"]["angles_deg"]["stick"]
    assert set(stick) == {stick[0]}


@pytest.mark.parametrize("page", [View(NOTEBOOK, still=True)], indirect=True, ids=str)
def test_whoever_goes_on_before_the_answer_is_let_go(page: Page) -> None:
    room.opened(page)
    usual = room.link(page)
    waiting: list[Route] = []
    page.route("**/v1/exercises?*", lambda route: waiting.append(route))  # noqa: PLW0108  it keeps a mark on it
    room.mode(page, "exercise")
    room.mode(page, "free")
    room.settled(page)
    page.evaluate("new Promise((done) => setTimeout(done))")
    [late] = waiting
    late.continue_()
    page.evaluate("new Promise((done) => setTimeout(done, 300))")
    room.settled(page)
    assert page.locator(f"#second-sheet path{EARTH}").count() == 0
    assert room.link(page) == usual
