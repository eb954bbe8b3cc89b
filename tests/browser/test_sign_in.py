"""The sign-in page with access control on: every state it shows, and the way through it by keyboard alone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from service.secret import mint
from tests.service.running import service
from tests.service.test_access_cli import TABLET, good, token

from .contrast import contrast
from .looking import axe, no_overlap, tab_order, targets, words_within
from .view import PHONE, WALL, View, Watch, views

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

# The browser logs every refusal.
NOBODY_YET = "status of 401 (Unauthorized) (%s/v1/sessions/current)"
NOT_KNOWN = "status of 401 (Unauthorized) (%s/v1/sessions)"


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module", autouse=True)
def held(data: Path) -> str:
    """A token. Made before the browser starts: no command runs beside its event loop."""
    return token(good(data, "create", *TABLET))


@pytest.fixture(scope="module")
def home(browser: Browser, data: Path, held: str) -> Iterator[str]:
    with service(data, "--access") as address:
        yield address


@pytest.fixture
def opened(page: Page, watch: Watch) -> Page:
    """The page, with nobody signed in."""
    watch.expect(NOBODY_YET % watch.home)
    page.goto("/sign-in")
    page.locator("#out").wait_for()
    return page


def looked_at(page: Page, section: str) -> list[str]:
    """A state of the page in all that holds for every page; its controls in the order of the keyboard."""
    axe(page)
    contrast(page)
    no_overlap(
        page, ["nav a", f"{section} > :not(form)", *([f"{section} form > *"] if section == "#out" else [])]
    )
    targets(page)
    words_within(page, f"{section} > *, {section} form > :not(input)")
    return tab_order(page)[page.locator("nav a").count() :]


SIGNING_IN = ['input#token ""', 'input#show "on"', 'button#send "Sign in"']


@pytest.mark.parametrize("page", [View(PHONE, "dark"), View(WALL, "light")], indirect=True, ids=str)
def test_signed_in_and_out(page: Page, watch: Watch, held: str) -> None:
    watch.expect(NOBODY_YET % watch.home)
    page.goto("/sign-in")
    page.locator("#out").wait_for()
    assert looked_at(page, "#out") == SIGNING_IN
    page.locator("#token").fill(held)
    page.locator("#send").click()
    page.locator("#in").wait_for()
    assert looked_at(page, "#in") == ['button#leave "Sign out"']
    assert page.locator("#name").inner_text() == TABLET[0]
    assert page.locator("#roles").inner_text().startswith("Operator:")
    assert page.locator("#machines").inner_text() == TABLET[-1]
    page.reload()
    page.locator("#in").wait_for()
    page.locator("#leave").click()
    page.locator("#said").get_by_text("Signed out.").wait_for()
    assert looked_at(page, "#out") == SIGNING_IN


@views(PHONE)
def test_a_token_that_is_not_known(page: Page, watch: Watch) -> None:
    watch.expect(NOBODY_YET % watch.home, NOT_KNOWN % watch.home)
    page.goto("/sign-in")
    page.locator("#token").fill(mint().text)
    page.locator("#send").click()
    page.locator("#problem").get_by_text("This service does not know this token.").wait_for()
    assert page.locator("#token").input_value() == ""
    assert page.evaluate("document.activeElement.id") == "token"
    assert looked_at(page, "#out") == SIGNING_IN


def test_half_a_token_is_not_sent(opened: Page, watch: Watch, held: str) -> None:
    before = list(watch.asked)
    opened.locator("#token").fill(held[:-2])
    opened.keyboard.press("Enter")
    opened.locator("#problem").get_by_text("found 76 signs").wait_for()
    assert watch.asked == before


def test_by_keyboard_alone(opened: Page, held: str) -> None:
    """Tab past the links to the field, the token, shown by Space, sent by Enter; Tab and Enter to sign out again."""
    keys = opened.keyboard
    for _ in range(opened.locator("nav a").count() + 1):
        keys.press("Tab")
    assert opened.evaluate("document.activeElement.id") == "token"
    keys.insert_text(held)
    keys.press("Tab")
    keys.press("Space")
    assert opened.locator("#token").get_attribute("type") == "text"
    keys.press("Tab")
    keys.press("Enter")
    opened.locator("#in").wait_for()
    assert opened.evaluate("document.activeElement.textContent") == "Signed in"
    keys.press("Tab")
    keys.press("Enter")
    opened.locator("#said").get_by_text("Signed out.").wait_for()
    assert opened.evaluate("document.activeElement.textContent") == "Sign in"
    assert opened.locator("#token").input_value() == ""
