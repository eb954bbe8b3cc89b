"""What holds for every page as it stands: axe, boxes, what is touched, what the keyboard reaches, words that are whole.

Each looks at the page as it is now and fails with all that is wrong. Sizes are CSS pixels.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.need import need

from .contrast import colour, contrast, ratio

if TYPE_CHECKING:
    from playwright.sync_api import Page

_BOXES = (Path(__file__).parent / "boxes.js").read_text(encoding="utf-8")
_AXE = {
    "resultTypes": ["violations"],
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"],
    "rules": {"target-size": {"enabled": True}},  # of WCAG 2.2, and off unless asked for
}
_ROUNDED_PX = 1.0
"""Browsers lay out in parts of a pixel and tell some sizes in whole ones."""
_TO_THE_TOP = "() => { const body = document.body; body.tabIndex = -1; body.focus(); body.removeAttribute('tabindex'); }"
_LEAST_OUTLINE_PX = 2.0
_LEAST_OUTLINE_RATIO = 3.0
"""WCAG 2.2, success criteria 1.4.11 and 2.4.13."""


def _ask(page: Page, what: str, *given: object) -> Any:
    return page.evaluate(f"(given) => {{ {_BOXES}\nreturn {what}(...given); }}", list(given))


def _none(faults: list[str]) -> None:
    assert not faults, "\n".join(["", *faults])


def axe(page: Page) -> None:
    """No violation of a rule of axe for WCAG 2.2 A and AA or for best practice.

    Its script is evaluated through the browser's own debugging protocol, which no policy of a page governs: the page is
    looked at under its own policy, trusted types and all, and needs no `bypass_csp`.
    """
    runner = need("axe_playwright_python.sync_playwright").Axe
    # Half a megabyte of it: once for each page that is opened, in whatever state that is looked at then.
    there = page.evaluate("typeof axe !== 'undefined'")
    told = (runner("0") if there else runner()).run(page, options=_AXE).response
    assert told["passes"], "axe looked at nothing"
    _none(
        [
            f"{rule['id']}: {rule['help']}: {' '.join(map(str, node['target']))}"
            for rule in told["violations"]
            for node in rule["nodes"]
        ]
    )


def not_sideways(page: Page) -> None:
    """The page is no wider than the window."""
    wide, window, sticking_out = _ask(page, "sideways")
    assert wide <= window, f"{wide} px in a window of {window} px: {sticking_out}"


def no_overlap(page: Page, selectors: list[str]) -> None:
    """What the selectors find is there, inside the window's width, and none covers another unless it holds it."""
    page.evaluate("scrollTo(0, 0)")  # what sticks covers what was scrolled past
    not_sideways(page)
    _none(_ask(page, "overlapping", selectors, _ROUNDED_PX))


def targets(page: Page, minimum_px: float = 44) -> None:
    """Every control is at least so wide and high, its label counted in; links in running text are exempt.

    Source of the usual size and the exemption: WCAG 2.2, success criterion 2.5.5.
    """
    _none(_ask(page, "small", minimum_px - 0.01))


def words_within(page: Page, selector: str) -> None:
    """No words of what the selector finds are cut off, by it or by what is around it."""
    _none(_ask(page, "cut", selector, _ROUNDED_PX))


def tab_order(page: Page) -> list[str]:
    """The Tab key reaches every control, from the top of the page in the order of its text, each with an outline seen.

    Gives the controls in that order. What may not be reached so must say tabindex=-1; of radio buttons with one name one
    is reached. Leaves the keyboard at the top.
    """
    controls = page.evaluate_handle(f"() => {{ {_BOXES}\nreturn tabbable(); }}")
    names: list[str] = page.evaluate("(controls) => controls.map((each) => each.told)", controls)
    reached, faults = [], []
    page.evaluate(_TO_THE_TOP)
    for _ in range(len(names) + 1):
        page.keyboard.press("Tab")
        at = page.evaluate(f"(controls) => {{ {_BOXES}\nreturn focused(controls); }}", controls)
        if at is None or at["which"] in reached:
            break
        reached.append(at["which"])
        faults += [f"{at['told']}: {fault}" for fault in _unseen(at)]
    page.evaluate(_TO_THE_TOP)
    _none(faults)
    found = [names[which] for which in reached]
    assert found == names, f"the Tab key goes to {found}, expected {names}"
    return names


def _unseen(at: dict[str, Any]) -> list[str]:
    """What is wrong with a focused control."""
    faults = []
    if at["which"] < 0:
        faults.append("focused, and no control")
    if at["style"] == "none" or at["width"] < _LEAST_OUTLINE_PX:
        faults.append(f"outline {at['style']} of {at['width']} px")
    elif (reached := ratio(colour(at["color"]), colour(at["ground"]))) < _LEAST_OUTLINE_RATIO:
        faults.append(f"outline of contrast {reached:.2f}")
    if not at["inside"]:
        faults.append("outside the window")
    return faults


def looked_at(page: Page, words: str, boxes: list[str], *controls: str) -> None:
    """A state of a page in all that holds for every page; the keyboard comes by these controls."""
    axe(page)
    contrast(page)
    no_overlap(page, boxes)
    targets(page)
    words_within(page, words)
    reached = " ".join(tab_order(page))
    for each in controls:
        assert each in reached, each
