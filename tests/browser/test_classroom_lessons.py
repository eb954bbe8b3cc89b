"""Lessons on the classroom page, by keys: nothing of the answer before it is given; what is right from the service."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from . import room
from .view import NOTEBOOK, PHONE, View

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

PAIR = {"machine": "crawler-14t", "attachment": "digging-1500", "units": "m"}
ANSWERED = ("#joints-part", "#readout-part", "#why-part", "#way-row", "#handles")


def lesson_of(page: Page, name: str) -> Any:
    told = page.request.get("/v1/lessons", params={**PAIR}).json()
    [found] = [each for each in told["lessons"] if each["id"] == name]
    return found


def right_of(page: Page, lesson: str, step: Any) -> Any:
    """What the service says to some answer: what is right, and why."""
    question = step["question"]
    some = question["choices"][0]["id"] if question["kind"] == "choice" else 0.0
    return room.answer(page, f"/v1/lessons/{lesson}/answers", PAIR | {"step": step["id"], "answer": some})


def begun(page: Page, name: str) -> None:
    """Chosen by keys alone."""
    room.opened(page)
    room.tab_to(page, ".mode[data-mode=lessons]")
    page.keyboard.press("Enter")
    page.locator(f"[data-lesson={name}]").wait_for()
    room.tab_to(page, f"[data-lesson={name}]")
    page.keyboard.press("Space")
    page.locator("#lessons .question").wait_for()
    room.settled(page)


def nothing_told(page: Page, step: Any, right: Any) -> None:
    """While a question is open: one pose, no number of the second, no words of why, nothing for the ear."""
    room.settled(page)
    for part in ANSWERED:
        assert not page.locator(part).is_visible(), part
    assert page.locator('#second-sheet [data-side="1"]').count() == 0
    assert page.locator("#second-name").inner_text() == "First pose"
    drawn = page.request.post(
        "/v1/explanations",
        data=PAIR | {"sides": [step["sides"][0], step["sides"][-1]]},
    ).json()["whole"]
    asked = room.request_of(room.link(page))["sides"]
    assert asked[0] == asked[1], "the link is that of the first pose alone"
    words = page.locator("main").inner_text()
    assert right["words"][0] not in words
    if step["question"]["kind"] != "choice":
        assert right["right_words"] not in words
    assert not any(each in words for each in drawn["words"])
    if step["view"] == "front":
        assert page.locator("#second-sheet text").count() == 0


def answer(page: Page, step: Any, right: Any, *, rightly: bool) -> None:
    """By keys alone."""
    question = step["question"]
    room.tab_to(page, "#lessons .question input")
    if question["kind"] == "choice":
        ids = [each["id"] for each in question["choices"]]
        at = ids.index(right["right_choice"]["id"])
        page.keyboard.press("Space")
        for _ in range(at if rightly else (at + 1) % len(ids)):
            page.keyboard.press("ArrowDown")
        room.tab_to(page, "#lessons .question button")
    else:
        size = right["right_length"]["m"] if question["kind"] == "length" else right["right_percent"]
        page.keyboard.insert_text(f"{size if rightly else 3 * size:.3f}")
    page.keyboard.press("Enter")
    page.locator(".verdict").wait_for()


def told(page: Page, right: Any, *, rightly: bool) -> None:
    verdict = page.locator(".verdict")
    words = right["right_words"]
    assert verdict.inner_text() == (f"Right: {words}" if rightly else f"Not so. Right is: {words}")
    assert page.locator(".answered li").all_text_contents() == right["words"]


@pytest.mark.parametrize(
    ("page", "name", "wrong"),
    [(View(PHONE, "dark", still=True), "curl", {1}), (View(NOTEBOOK, still=True), "corners", {0, 2})],
    indirect=["page"], ids=["curl", "corners"],
)  # fmt: skip
def test_a_lesson_from_start_to_end_by_keys_alone(page: Page, name: str, wrong: set[int]) -> None:
    lesson = lesson_of(page, name)
    begun(page, name)
    for which, step in enumerate(lesson["steps"]):
        assert page.locator(".step-words").inner_text() == step["words"]
        assert page.evaluate("document.activeElement.id") == "lessons-name"
        right = right_of(page, name, step)
        nothing_told(page, step, right)
        answer(page, step, right, rightly=which not in wrong)
        told(page, right, rightly=which not in wrong)
        room.until(page, "document.activeElement.className === 'verdict'")
        for part in ANSWERED:
            assert page.locator(part).is_visible() or part == "#handles", part
        room.settled(page)
        assert page.locator("#way-shown").inner_text() == "100 %", (
            "with reduced motion the second pose is there at once"
        )
        room.as_explained(page)
        told_of = room.request_of(room.link(page))["sides"]
        assert told_of[1]["angles_deg"] == step["sides"][-1]["angles_deg"]
        room.tab_to(page, "#steps button")
        page.keyboard.press("Enter")
        room.until(page, "document.activeElement.id === 'lessons-name'")
        room.settled(page)
    count = len(lesson["steps"])
    assert page.locator("#tally").inner_text() == f"{count - len(wrong)} of {count} right at the first try."


def test_an_answer_is_played_and_none_is_none(page: Page) -> None:
    """With motion the arm goes from the first pose to the second; an empty answer is told, and judges nothing."""
    begun(page, "lean")
    step = lesson_of(page, "lean")["steps"][0]
    room.tab_to(page, "#lessons .question button")
    page.keyboard.press("Enter")
    page.locator("#lessons .question .alert").get_by_text("Choose one, then answer.").wait_for()
    page.locator("input[name=view][value=front]").check()
    room.settled(page)
    assert page.locator("#second-sheet svg").count() == 1
    assert page.locator("#second-sheet text").count() == 0, "seen from the front it would tell heights"
    answer(page, step, right_of(page, "lean", step), rightly=True)
    room.until(page, "document.querySelector('#play').textContent === 'Pause'")
    room.until(page, "document.querySelector('#play').textContent !== 'Pause'")
    room.settled(page)
    assert page.locator("#way-shown").inner_text() == "100 %"
    assert page.locator("#second-name").inner_text() == "Second pose"
    room.mode(page, "free")
    assert not page.locator("#lessons").is_visible()
    room.as_explained(page)


def test_a_link_leads_into_a_lesson(page: Page) -> None:
    room.opened(page)
    fragment = room.link(page) + "&mode=lessons&lesson=curl&step=2"
    page.goto("about:blank")
    room.opened(page, fragment)
    assert page.locator("#lessons .hint").first.inner_text() == "Step 2 of 4"
    page.goto("about:blank")
    room.opened(page, fragment.replace("curl", "unknown-lesson"))
    assert 'There is no lesson "unknown-lesson"' in page.locator("#trouble").inner_text()
    assert page.locator("[data-lesson]").count() > 1


@pytest.mark.parametrize("page", [View(NOTEBOOK, still=True)], indirect=True, ids=str)
def test_an_answer_that_comes_after_one_went_on_is_dropped(page: Page) -> None:
    begun(page, "lean")
    waiting: list[Route] = []
    page.route("**/v1/lessons/lean/answers", lambda route: waiting.append(route))  # noqa: PLW0108  it keeps a mark on it
    page.locator("#lessons .question input").first.check(force=True)
    page.locator("#lessons .question button").dblclick()
    page.get_by_role("button", name="Another lesson").click()
    page.locator("[data-lesson=corners]").click()
    page.locator("#lessons .question").wait_for()
    [late] = waiting
    late.continue_()
    page.evaluate("new Promise((done) => setTimeout(done, 300))")
    room.settled(page)
    assert page.locator("#lessons .answered").count() == 0
    assert not page.locator("#readout-part").is_visible()
    assert page.locator("#lessons #steps button").count() == 1
