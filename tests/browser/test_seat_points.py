"""Which point of which line is read: named beside the number, drawn, advised for, kept in the address; and what must not
move or be torn apart around it."""

from __future__ import annotations

import io
import itertools
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image

from kinematics.arm import Pose
from tests.service.api.doing import as_asked, opened
from tests.service.live.making import MACHINE, sensed

from . import room, seat_room
from .seat_room import FOOTING_M, edge_at
from .test_seat_opening import TOOTHED, toothed
from .test_seat_units import HIGH_M, dug
from .view import PHONE, View

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

    from tests.service.api.doing import JobDoer

A_SHADE = 3.0
"""Of 255, of a colour that a browser mixed of itself."""
TABLET, UPRIGHT = (1280, 800), (800, 1280)
LEANING = edge_at(FOOTING_M - 0.12, 1.5)
_jobs = itertools.count(1)
_LONG = "[...document.querySelectorAll('#long text')].map((each) => each.textContent).join()"
_BOTTOMS = (
    """() => ["corners", "sheet"].map((id) => document.getElementById(id).getBoundingClientRect().bottom)"""
)
_TOPS = """() => ["bar", "sheet", "corners"].map((id) => document.getElementById(id).getBoundingClientRect().top)"""
_WITHIN = """() => {
  const sub = document.querySelector("#sub");
  const at = sub.textContent.indexOf("within");
  const range = document.createRange();
  range.setStart(sub.firstChild, at);
  range.setEnd(sub.firstChild, sub.textContent.indexOf(";"));
  return [range.getBoundingClientRect().bottom, sub.getBoundingClientRect().bottom];
}"""
_CROSS = """() => {
  const cross = document.querySelector("#cross svg");
  const target = cross.querySelector("[data-line=target]");
  return [[...cross.querySelectorAll("circle")].map((each) => Number(each.getAttribute("cy"))),
    target === null ? null : target.getPointAtLength(target.getTotalLength() / 2).y];
}"""
_CUT_BY_THE_RIM = """() => {
  const { x, y, width } = document.querySelector("#field .rim").getBoundingClientRect();
  const [cx, cy, r] = [x + width / 2, y + width / 2, width / 2];
  return [...document.querySelectorAll("#field g text")].filter((each) => getComputedStyle(each).visibility === "visible")
    .filter((each) => {
      const { left, right, top, bottom } = each.getBoundingClientRect();
      const corners = [[left, top], [left, bottom], [right, top], [right, bottom]];
      const far = corners.map(([a, b]) => Math.hypot(a - cx, b - cy));
      return Math.min(...far) < r && Math.max(...far) > r + 3;
    }).map((each) => each.textContent);
}"""
_HEARD = """() => {
  window.heard = [];
  const at = document.querySelector("#heard");
  new MutationObserver(() => window.heard.push(at.textContent)).observe(at, { childList: true });
}"""


@pytest.fixture
def job(home: str) -> Iterator[JobDoer]:
    with seat_room.asking(home) as client:
        found = seat_room.begun(client, f"points-{next(_jobs)}")
        found.touch(seat_room.TOUCHED_M)
        yield found


@pytest.fixture
def between(home: str) -> Iterator[Callable[..., None]]:
    """Feeds a job from one pose to the other and back, twenty times a second."""
    running: list[seat_room.Machine] = []

    def feed(job: JobDoer, *poses: Pose) -> None:
        running.append(seat_room.Machine(home, job.id, *poses))

    yield feed
    for each in running:
        each.end()


def at_rest(page: Page, job: JobDoer, more: str = "") -> Page:
    """The page with a number, the rod check put away."""
    seat_room.seated(page, job.id, more)
    seat_room.number(page)
    page.locator("#notices").get_by_role("button", name="on paper").press("Enter")
    return page


def advised(page: Page, told: Any) -> None:
    """Wait until the advice is this readout's, but for figures: a reading comes and goes by a hair."""
    room.until(page, f"document.querySelectorAll('#advice li').length === {len(told['corrections']) + 1}")
    words = [each["words"].split(" deg")[0] for each in told["corrections"]]
    for each in words:
        page.locator("#advice li").filter(has_text=each).wait_for()


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_the_corner_that_is_read_is_named_drawn_and_advised_for(page: Page, job: JobDoer, home: str) -> None:
    with seat_room.machine(home, job, LEANING):
        at_rest(page, job)
        for point, words in (("right", "right corner"), ("left", "left corner"), ("centre", "edge centre")):
            page.locator(f"#corners input[value={point}]").press("Space")
            seat_room.shows(page, seat_room.read(job, LEANING, "bottom of footing", point))
            told = job.read(as_asked(LEANING), "bottom of footing", edge_point=point)
            assert f"{words}, within" in page.locator("#sub").inner_text()
            shown = told["points"][point]["elevation"]["shown"]
            room.until(page, f"{_LONG}.includes('{words},{shown}')")
            assert f"{words} at {shown}" in (page.locator("#long svg").get_attribute("aria-label") or "")
            page.locator("#advice-for").get_by_text(f"Of the {words}, to the target:").wait_for()
            advised(page, told)
        page.locator("#corners input[value=right]").press("Space")
        assert "point=right" in page.url
        page.reload()
        page.wait_for_selector("html[data-ready=yes]", state="attached")
        seat_room.shows(page, seat_room.read(job, LEANING, "bottom of footing", "right"))


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_another_corner_comes_without_a_blank(page: Page, job: JobDoer, home: str) -> None:
    """The number stands for as long as it may; only its advice is asked for."""
    with seat_room.machine(home, job, LEANING):
        at_rest(page, job)
        page.evaluate("""() => {
          window.blanked = 0;
          const box = document.querySelector("#box");
          new MutationObserver(() => { window.blanked += Number(box.dataset.state === "none"); })
            .observe(box, { attributes: true });
        }""")
        for point in ("left", "right", "centre"):
            page.locator(f"#corners input[value={point}]").press("Space")
            seat_room.shows(page, seat_room.read(job, LEANING, "bottom of footing", point))
            room.until(page, "document.querySelector('#advice-for').textContent !== ''")
        assert page.evaluate("window.blanked") == 0


def test_the_line_that_the_height_was_touched_with_is_read_first(page: Page, home: str) -> None:
    with seat_room.asking(home) as client:
        job, stood = toothed(client)
        with seat_room.machine(home, job, stood, sensors=sensed(MACHINE, TOOTHED)):
            seat_room.seated(page, job.id)
            seat_room.shows(page, ("CUT", "0.100 m"))
            assert page.locator("#sub").inner_text().startswith("m middle tooth, within")
            assert page.locator("#corners span").all_inner_texts() == [
                "left tooth",
                "middle tooth",
                "right tooth",
            ]
            assert "middle tooth at " in (page.locator("#long svg").get_attribute("aria-label") or "")
            page.locator("#hangs li").filter(has_text="touch slab").filter(
                has_text=", middle tooth"
            ).wait_for()
            page.locator("#line input[value=edge]").press("Space")
            room.until(page, "document.querySelector('#sub').textContent.startsWith('m edge centre, within')")
            page.reload()
            page.wait_for_selector("html[data-ready=yes]", state="attached")
            room.until(page, "document.querySelector('#sub').textContent.startsWith('m edge centre, within')")


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_a_floor_limit_passed_again_and_again_moves_nothing(
    page: Page, job: JobDoer, between: Callable[..., None]
) -> None:
    job.post("targets", job.target_body("sump", 1.4) | {"floor_limit_below": 1.45})
    between(job, edge_at(1.435), edge_at(1.465))
    seat_room.seated(page, job.id, "&target=sump")
    seat_room.number(page)
    page.evaluate(_HEARD)
    page.locator("#notices").get_by_role("button", name="Record a rod check").focus()
    assert (
        "98.550 m" in page.locator("#floor").inner_text() or page.locator("#floor[data-passed=yes]").count()
    )
    seen = []
    for state in ("yes", "", "yes", ""):
        page.locator(f"#floor[data-passed='{state}']").wait_for()
        seen.append(page.evaluate(_TOPS))
    assert seen == [seen[0]] * len(seen)
    assert page.evaluate("document.activeElement.textContent") == "Record a rod check"
    room.until(page, "window.heard.some((each) => each.startsWith('BELOW THE FLOOR LIMIT'))")


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_a_millimetre_at_rest_is_not_read_out(page: Page, job: JobDoer, between: Callable[..., None]) -> None:
    between(job, *(edge_at(FOOTING_M - above) for above in (0.120, 0.121, 0.122)))
    at_rest(page, job)
    page.evaluate(_HEARD)
    drawn = page.evaluate("Number(document.querySelector('#box').dataset.drawn)")
    room.until(page, f"Number(document.querySelector('#box').dataset.drawn) > {drawn + 120}")
    heard = page.evaluate("window.heard")
    lost = sum(each.startswith("NO NUMBER") for each in heard)  # as on a machine that is busy
    assert len(heard) - lost <= 1 + lost, heard


@pytest.mark.parametrize("page", [View(TABLET), View(UPRIGHT)], indirect=True, ids=str)
def test_corners_and_depth_sheet_are_in_sight_of_the_number(page: Page, job: JobDoer, home: str) -> None:
    """Neither a name, nor notices, nor what is told of readings moves the number; nothing covers the word over it."""
    high = page.viewport_size["height"] if page.viewport_size else 0
    with seat_room.machine(home, job, LEANING):
        seat_room.seated(page, job.id)
        seat_room.number(page)
        assert max(page.evaluate(_BOTTOMS)) <= high
        top = page.evaluate("document.querySelector('#box').getBoundingClientRect().top")
        page.evaluate("""() => {
          document.querySelector("#name").textContent = "Pump house, lower terrace, behind the old weighbridge";
          document.querySelector("#fresh").append("; quiet: boom, stick, bucket; 12 warnings below");
        }""")
        assert page.evaluate("document.querySelector('#box').getBoundingClientRect().top") == top
        before = page.evaluate(_TOPS)
        job.withdraw(5)
        job.post("targets", job.target_body("bottom of footing", 1.62))
        page.locator("#notices").get_by_text("Changed: bottom of footing").wait_for()
        assert page.evaluate(_TOPS) == before
        page.evaluate("scrollTo(0, document.body.scrollHeight)")
        strip, word = page.evaluate("""() => [document.querySelector(".strip").getBoundingClientRect().bottom,
          document.querySelector("#word").getBoundingClientRect().top]""")
        assert word >= strip - 1


def test_a_line_that_was_changed_is_told_where_nobody_sits(page: Page, job: JobDoer, home: str) -> None:
    pose = edge_at(FOOTING_M - 0.12)
    with seat_room.machine(home, job, pose):
        at_rest(page, job)
        page.locator("#hangs").get_by_text("Nobody is told apart here").wait_for()
        job.withdraw(5)
        job.post("targets", job.target_body("bottom of footing", FOOTING_M + 0.2, tolerance=0.03))
        # Where the page looked between the two, the line had gone and is chosen again.
        page.locator("#sheet input[value='bottom of footing']").press("Space")
        seat_room.shows(page, ("CUT", "0.320 m"))
        told = page.locator("#notices .notice").filter(has_text="Changed: ")
        told.wait_for()
        assert "now 1.620 m below slab" in told.inner_text().replace("\u00a0", " ")
        assert "it was 1.420 m below slab" in told.inner_text().replace("\u00a0", " ")
        assert "takes effect at once" in told.inner_text()
        assert told.get_by_role("button").all_inner_texts() == ["Seen"], (
            "no seat to take where nobody is told apart"
        )
        told.get_by_role("button", name="Seen").press("Enter")
        told.wait_for(state="hidden")


@pytest.mark.parametrize("page", [View(PHONE)], indirect=True, ids=str)
def test_a_long_name_hides_neither_point_nor_how_sure(page: Page, job: JobDoer, home: str) -> None:
    name = "bottom of footing below the pump chamber's outer wall"
    job.post("targets", job.target_body(name, FOOTING_M))
    with seat_room.machine(home, job, LEANING):
        seat_room.seated(page, job.id, f"&target={name}&point=right")
        seat_room.number(page)
        within, box = page.evaluate(_WITHIN)
        assert within <= box


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_the_cross_section_has_the_target_where_it_is(page: Page, job: JobDoer, home: str) -> None:
    """To be cut: all of the edge above it. Too far below to be drawn to scale: no line at all."""
    with seat_room.machine(home, job, edge_at(FOOTING_M - 0.307, 2.0)) as machine:
        at_rest(page, job)
        room.until(page, "document.querySelector('#cross [data-line=target]') !== null")
        corners, target = page.evaluate(_CROSS)
        assert max(corners) < target
        machine.stands(edge_at(FOOTING_M + 0.1, -2.0))
        room.until(page, "document.querySelector('#word').textContent === 'FILL'")
        corners, target = page.evaluate(_CROSS)
        assert min(corners) > target
        machine.stands(edge_at(0.0))
        room.until(page, "document.querySelector('#cross [data-line=target]') === null")


@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_no_figure_of_the_staff_is_cut_and_up_stands_above(page: Page, home: str) -> None:
    job = dug(home, "ft", HIGH_M)
    with seat_room.machine(home, job, edge_at(FOOTING_M - 0.567)) as machine:
        at_rest(page, job)
        page.locator("#field g text").first.wait_for(state="attached")
        for below, above_hair in ((FOOTING_M - 0.567, False), (FOOTING_M + 0.4, True)):
            machine.stands(edge_at(below))
            words = "target up" if above_hair else "target down"
            page.locator("#field .away").get_by_text(words).wait_for()
            lines = page.locator("#field .away tspan").evaluate_all(
                "(all) => all.map((each) => Number(each.getAttribute('y')))"
            )
            assert all((y < 0) == above_hair for y in lines), lines
            assert page.evaluate(_CUT_BY_THE_RIM) == []


def test_feet_and_inches_in_a_sentence_bring_their_own_marks(page: Page, home: str) -> None:
    job = dug(home, "ftin")
    with seat_room.machine(home, job, LEANING):
        at_rest(page, job)
        shown = page.locator("#corners small").all_text_contents()
        assert [each.count(" ") for each in shown] == [1, 1, 1], f"FILL 7 is not 7 7/8 inches: {shown}"
        assert any("\u00a0" in each for each in shown), shown
        page.locator("#sheet input[value='']").press("Space")
        room.until(page, "document.querySelector('#sub').textContent.startsWith('edge centre, within')")
        seat_room.press(page, "more")
        page.locator("#slip").get_by_role("button", name="A known point").press("Enter")
        for label, text in (("Name", "nail"), ("Its elevation", "98' 6\"")):
            page.get_by_label(label, exact=True).fill(text)
        assert page.locator("#slip .says").inner_text() == 'Will be written: "nail" has elevation 98\' 6".'


@pytest.mark.parametrize("page", [View(TABLET), View(TABLET, "dark")], indirect=True, ids=str)
def test_the_hair_is_seen_on_the_blocks(page: Page, job: JobDoer, home: str) -> None:
    """Nothing but the ground is next to it, whatever blocks stand behind."""
    with seat_room.machine(home, job, edge_at(FOOTING_M)):
        at_rest(page, job)
        page.locator("#field g text").first.wait_for(state="attached")
        seen = Image.open(io.BytesIO(page.locator("#field svg").screenshot())).convert("RGB")
        pixels = np.asarray(seen, dtype=np.float64)
        unit, middle = seen.width / 400, seen.height / 2
        for x in range(-64, -10, 2):
            beside = pixels[[int(middle - 4 * unit), int(middle + 4 * unit)], int((200 + x) * unit)]
            assert np.abs(beside - pixels[1, -2]).max() <= A_SHADE, (x, beside)
        sub = page.locator("#sub").inner_text()
        assert sub.endswith("; at bottom of footing"), "0.000 m is neither above nor below"


def test_a_rod_check_is_asked_for_job_by_job(page: Page, job: JobDoer, home: str) -> None:
    """Knocked on one, it is not due on the other, whose own is on paper; back at the first it still is."""
    with seat_room.asking(home) as client:
        other = seat_room.begun(client, f"points-{next(_jobs)}")
    seat_room.seated(page, job.id)
    seat_room.press(page, "more")
    page.locator("#slip").get_by_role("button", name="Something was knocked").press("Enter")
    page.locator("#notices").get_by_text("something was knocked").wait_for()
    seat_room.seated(page, other.id)
    page.locator("#notices").get_by_text("start of the shift").wait_for()
    page.locator("#notices").get_by_role("button", name="on paper").press("Enter")
    page.evaluate("(job) => sessionStorage.setItem('seat-cautions-read', job)", job.id)
    page.goto(f"/seat?job={job.id}")
    page.locator("#notices").get_by_text("something was knocked").wait_for()


def test_every_job_is_listed(page: Page, home: str) -> None:
    """More than the service tells at a time."""
    with seat_room.asking(home) as client:
        for k in range(105):
            opened(client, f"many-{k:03}")
    asked: list[str] = []

    def by_forty(route: Route) -> None:
        asked.append(route.request.url)
        route.continue_(url=route.request.url.replace("limit=500", "limit=40"))

    page.route("**/v1/jobs?*", by_forty)
    page.goto("/seat")
    page.locator("#jobs a[href='/seat?job=many-104']").wait_for()
    assert page.locator("#jobs a[href^='/seat?job=many-']").count() == 105
    assert len(asked) >= 3
