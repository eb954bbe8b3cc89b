"""The pages that are only read, the sign-in page with access control off, and the interactive documentation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from .contrast import contrast
from .looking import axe, no_overlap, tab_order, targets, words_within
from .view import NOTEBOOK, PHONE, WALL, View, Watch, views

if TYPE_CHECKING:
    from playwright.sync_api import Page

# The front page, the list, code with drawings, tables, figures, the longest page.
READ = ("/", "/guide", "/guide/drawings", "/guide/exchange", "/guide/notebook", "/guide/problems")


@pytest.mark.parametrize("path", READ)
@pytest.mark.parametrize("page", [View(PHONE, "dark"), View(NOTEBOOK, "light")], indirect=True, ids=str)
def test_a_page_of_the_guide(page: Page, path: str) -> None:
    answer = page.goto(path)
    assert answer is not None
    assert answer.status == 200
    axe(page)
    assert contrast(page, enhanced=4.5) == []
    no_overlap(page, ["nav a", "main > *"])
    targets(page)
    words_within(page, "nav a, h1, h2, h3, p, li, pre, .wide")


@pytest.mark.parametrize("path", READ)
def test_the_keyboard_reaches_all_of_a_page(page: Page, path: str) -> None:
    page.goto(path)
    links = page.locator("nav a").all_inner_texts()
    assert tab_order(page)[: len(links)] == [f'a "{words}"' for words in links]


def test_a_link_leads_to_its_heading(page: Page) -> None:
    page.goto("/guide/problems#no-setup")
    heading = page.locator("#no-setup")
    assert heading.evaluate("(each) => each.matches(':target')")
    box = heading.bounding_box()
    assert box is not None
    assert 0 <= box["y"] < NOTEBOOK[1] - box["height"]


@views(PHONE, WALL)
def test_where_no_token_is_needed(page: Page, watch: Watch) -> None:
    page.goto("/sign-in")
    page.locator("#off").wait_for()
    axe(page)
    contrast(page)
    no_overlap(page, ["nav a", "#off > *"])
    targets(page)
    words_within(page, "#off > *")
    assert tab_order(page)[page.locator("nav a").count() :] == ['a "How to switch access control on"']
    assert f"{watch.home}/v1/sessions/current" in watch.asked


def test_the_interactive_documentation_is_here_whole(page: Page, watch: Watch) -> None:
    """It draws every route that the service describes, from files of the package alone."""
    page.goto("/docs")
    page.locator(".opblock").first.wait_for()
    described = page.evaluate(
        """async () => {
          const paths = (await (await fetch("/openapi.json")).json()).paths;
          return Object.values(paths).flatMap(Object.keys).length;
        }"""
    )
    assert page.locator(".opblock").count() == described > 50
    assert any(asked.endswith("/swagger-ui-bundle.js") for asked in watch.asked)
