"""The workshop page opened, filled in and read, and a job with its client beside it, in few words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, cast

from tests.service.api.doing import JobDoer
from tests.service.live.making import OverHttp

from . import room

if TYPE_CHECKING:
    from fastapi import FastAPI
    from playwright.sync_api import Page

ELSEWHERE = ("schema", "kind")
"""What a sheet has no field for."""
_AT_IT = """([selector, words]) => document.activeElement.matches(selector)
  && document.activeElement.textContent.includes(words)"""


def opened(page: Page, part: str = "measure", job: str = "") -> Page:
    """A part of the page with all of it there."""
    page.goto(f"/workshop#part={part}" + (f"&job={job}" if job else ""))
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    page.locator(f"#{part}-name").wait_for()
    return page


@contextmanager
def client(home: str) -> Iterator[OverHttp]:
    """A client of the same service, beside the page."""
    asking = OverHttp(cast("FastAPI", None), home)
    try:
        yield asking
    finally:
        asking.close()


def doer(asking: OverHttp, job: str) -> JobDoer:
    """A new job in metres."""
    asking.post("/v1/jobs", {"id": job, "name": "Village pump house", "units": "m"})
    return JobDoer(asking, job, "m")


def at(path: str) -> str:
    """The field of a place in a profile."""
    return f"[id='f-{path}']"


def beside(page: Page, path: str) -> str:
    """What is told beside the field, or part, of a place."""
    return page.locator(f"[id='e-{path}']").inner_text()


def ticked(page: Page, where: str) -> None:
    """All steps before the bucket; with the last one they make room for what comes."""
    page.locator(f"{where} .steps").wait_for()
    for box in page.locator(f"{where} .steps input").all():
        box.click()


def filled(page: Page, document: Mapping[str, Any], prefix: str = "") -> None:
    """A sheet filled in with a profile's numbers; what is optional is unfolded first."""
    for name, value in document.items():
        path = f"{prefix}{name}"
        if not prefix and name in ELSEWHERE:
            continue
        for opener in (f"[id='o-{path}']", f"[id='p-{prefix[:-1]}-{name}']", *_form(path, value)):
            if page.locator(opener).count():
                page.locator(opener).check()
        _grown(page, path, value)
        if name == "points":
            for i, row in enumerate(value):
                filled(page, {str(j): number for j, number in enumerate(row)}, f"{path}.{i}.")
        elif isinstance(value, Mapping):
            filled(page, value, f"{path}.")
        else:
            _put(page, path, value)


def _grown(page: Page, path: str, value: Any) -> None:
    """What grows has as many as the profile has."""
    if path == "sensors":
        for each in value:
            page.locator("[id='n-sensors']").fill(each)
            page.get_by_role("button", name="Add this sensor").click()
    elif path == "uncertainty.of":
        for each in value:
            page.locator(f"[id='n-{path}']").select_option(each)
    elif path.endswith(".points"):
        for _ in range(3, len(value)):
            page.get_by_role("button", name="One more point").click()


def _form(path: str, value: Any) -> Iterator[str]:
    """How a value is given that may be given in several ways."""
    if not isinstance(value, Mapping):
        yield f"[id='p-{path}-Number']"
    elif "to_inner" in value:
        yield f"[id='p-{path}-ByTape']"
    elif "points" in value:
        yield f"[id='p-{path}-ByPoints']"
    elif path.endswith("zero_uncertainty"):
        yield f"[id='p-{path}-BothZeros']"


def _put(page: Page, path: str, value: Any) -> None:
    field, text = page.locator(at(path)), str(value).lower() if isinstance(value, bool) else str(value)
    if field.evaluate("(each) => each.localName") == "select":
        field.select_option(text)
    else:
        field.fill(text)


def told(page: Page, table: str) -> list[list[str]]:
    """The rows of a table by its caption, cells as text."""
    rows: list[list[str]] = page.locator("table", has=page.locator(f"caption:has-text('{table}')")).evaluate(
        "(each) => [...each.tBodies[0].rows].map((row) => [...row.cells].map((cell) => cell.textContent))"
    )
    return rows


def confirmed(page: Page, name: str) -> None:
    """A record made: the button, then yes."""
    page.get_by_role("button", name=name, exact=True).click()
    page.get_by_role("button", name="Yes, put it on record").click()


def until(page: Page, condition: str) -> None:
    room.until(page, condition)


def reach(page: Page, selector: str, words: str = "") -> None:
    """By the Tab key alone, to the first that is reached and shows these words."""
    for _ in range(250):
        page.keyboard.press("Tab")
        if page.evaluate(_AT_IT, [selector, words]):
            return
    raise AssertionError(f"the Tab key does not reach {selector} {words}")


def press(page: Page, words: str, key: str = "Enter") -> None:
    """A button, by keys."""
    reach(page, "button", words)
    page.keyboard.press(key)


def typed(page: Page, name: str, text: str) -> None:
    """A field by its id, by keys: what stood there is selected when it is reached; of a list, chosen by its letters."""
    reach(page, f"[id='{name}']")
    page.keyboard.type(text)
    shown: str = page.locator(f"[id='{name}']").evaluate(
        "(each) => each.selectedOptions?.[0].textContent ?? each.value"
    )
    assert shown.startswith(text), f"{name} shows {shown!r}, expected {text!r}"


def spaced(page: Page, selector: str) -> None:
    """A tick, by keys."""
    reach(page, selector)
    page.keyboard.press("Space")


def steps(page: Page, where: str) -> None:
    """All steps before the bucket ticked, by keys."""
    page.locator(f"{where} .steps").wait_for()
    for _ in range(page.locator(f"{where} .steps input").count()):
        spaced(page, f"{where} .steps input:not(:checked)")


def written(page: Page, name: str) -> None:
    """A record made by keys: the button, then yes, which has the keyboard by then."""
    press(page, name)
    until(page, "document.activeElement.matches('.yes')")
    page.keyboard.press("Enter")
