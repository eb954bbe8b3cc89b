"""The classroom's link, other machines, units, targets and references, and what the page weighs."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from . import room
from .view import PHONE, View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page, Response

MOST_KB = 400
"""Page weight in all, from the requirements."""
TEXT_KB = 120
"""Text and scripts, as the guide says."""


def test_the_address_brings_the_same_back_elsewhere(page: Page, look: Callable[[View], Page]) -> None:
    """Poses, readout and what is looked at, in another profile, on a phone by night."""
    room.opened(page)
    room.unfold(page)
    page.locator("#units").select_option("ft")
    room.settled(page)
    for axis, degrees in (("stick", "-88.25"), ("roll", "1.5")):
        page.locator(f".joint[data-axis={axis}] .degrees").fill(degrees)
    page.locator("#point").select_option("right")
    for name, value in (("look", "bucket"), ("drawn", "beside"), ("quantity", "reach")):
        page.locator(f"input[name={name}][value={value}]").check()
    room.settled(page)
    room.until(page, "location.hash.includes('stick%3A-88.25') && location.hash.includes('quantity=reach')")
    fragment = room.link(page)
    assert page.url == f"{page.url.partition('#')[0]}{fragment}"
    room.as_explained(page)
    other = room.opened(look(View(PHONE, "dark")), fragment)
    assert room.link(other) == fragment
    assert room.numbers(other) == room.numbers(page)
    room.as_explained(other)
    for name, value in (("look", "bucket"), ("drawn", "beside"), ("quantity", "reach")):
        assert other.locator(f"input[name={name}][value={value}]").is_checked()
    assert other.locator("#first-sheet").is_visible()
    assert other.locator("#point").input_value() == "right"


def test_a_faulty_link_is_told_and_the_usual_start_shown(page: Page, watch: Watch) -> None:
    watch.expect("status of 404 (Not Found)")
    room.opened(page)
    usual = room.link(page)
    faulty = {
        "&x=1": usual + "&x=1",
        "units twice": usual + "&units=m",
        "NaN": usual.replace("boom%3A25.9", "boom%3ANaN"),
        "out of range": usual.replace("bucket%3A68.3", "bucket%3A168.3"),
        "a joint too many": usual.replace("stick%3A", "tilt%3A0%2Cstick%3A"),
        "no poses": usual.partition("&first")[0],
        "unknown machine": usual.replace("crawler-14t", "crawler-99t"),
    }
    for what, fragment in faulty.items():
        assert fragment != usual, what
        page.goto("about:blank")
        room.opened(page, fragment)
        said = page.locator("#trouble").inner_text()
        assert said.startswith("The link does not describe a state of this page: "), what
        assert said.endswith("What is shown is the usual start."), what
        assert room.link(page) == usual, what
    room.as_explained(page)


def test_another_machine_in_feet_and_inches(page: Page, watch: Watch) -> None:
    """The attachment of before does not close on it: another is taken, and it says so."""
    watch.expect("status of 422")
    room.opened(page)
    room.unfold(page)
    page.locator("#machine").select_option("compact-1t8")
    page.locator("#trouble").get_by_text("does not fit compact-1t8").wait_for()
    room.settled(page)
    assert page.locator("#attachment").input_value() in page.locator("#trouble").inner_text()
    page.locator("#units").select_option("ftin")
    room.until(page, "document.querySelector('#origin').value.includes('\"')")
    room.as_explained(page)
    axes = page.locator(".joint").evaluate_all("(all) => all.map((each) => each.dataset.axis)")
    assert sorted(axes) == sorted(["swing_boom", "boom", "stick", "bucket", "pitch", "roll"])
    page.locator(".joint[data-axis=swing_boom]").get_by_role("button", name="more").click()
    room.as_explained(page)
    assert room.explained(page)["changed"] == ["swing_boom"]
    assert '"' in room.numbers(page)["elevation"][1]
    before = room.link(page)
    page.locator("#origin").fill("10 yards")
    page.locator("#origin").press("Enter")
    room.until(page, "document.querySelector('#trouble').textContent !== ''")
    room.settled(page)
    page.locator("#origin").fill("105' 2 1/2\"")
    page.locator("#origin").press("Enter")
    room.as_explained(page)
    assert room.link(page) != before


def test_without_a_target_nothing_is_cut_or_filled(page: Page) -> None:
    room.opened(page)
    room.unfold(page)
    page.locator("input[name=quantity][value=above_target]").check()
    page.locator("#target").fill("")
    page.locator("#target").press("Enter")
    room.as_explained(page)
    assert "above_target" not in room.numbers(page)
    assert page.locator("input[name=quantity]:checked").get_attribute("value") == "elevation"
    page.locator("#target").fill("98.5")
    page.locator("#target").press("Enter")
    room.as_explained(page)
    assert room.numbers(page)["above_target"][1].startswith("CUT 1.5")


def test_another_reference_has_a_share(page: Page) -> None:
    """Lifted by 0.1 m while nothing moved: all of the change is the reference's, and words say so."""
    room.opened(page)
    room.unfold(page)
    page.locator("#origin").fill("101.8")
    page.locator("#origin").press("Enter")
    room.as_explained(page)
    assert room.numbers(page)["elevation"][2] == "+0.100 m"
    shares = page.locator("#walk rect").evaluate_all("(all) => all.map((each) => each.dataset.share)")
    assert shares == ["reference", "together"]
    assert "reference" in page.locator("#why").inner_text()
    page.locator("#origin").fill("high")
    page.locator("#origin").press("Enter")
    assert (
        page.locator("#trouble").inner_text()
        == '"high" is no elevation in these units: expected one such as 101.7.'
    )
    assert page.locator("#origin").get_attribute("aria-invalid") == "true"


def test_what_the_page_weighs(page: Page) -> None:
    """Everything it loads at its start, compressed or not: as it is."""
    got: list[Response] = []
    page.on("response", lambda each: got.append(each))  # noqa: PLW0108  it keeps a mark on what it is given
    room.opened(page)
    kinds = {each.url: (each.headers.get("content-type", ""), len(each.body())) for each in got}
    for kind in ("text/html", "text/css", "text/javascript", "application/json"):
        assert any(media.startswith(kind) for media, _ in kinds.values()), kind
    text = sum(size for media, size in kinds.values() if media.startswith("text/"))
    assert text < TEXT_KB * 1000
    assert sum(len(each.body()) for each in got) < MOST_KB * 1000
