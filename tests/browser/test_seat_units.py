"""Number, staff and scale bar at the seat in every unit: figures of 25 mm, and no unit converted by the page."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import pytest

from kinematics.graduation import graduation
from tests.service.api.doing import as_asked, opened

from . import room, seat_room
from .seat_room import FOOTING_M, edge_at
from .view import PHONE, View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.service.api.doing import JobDoer

UNITS = ("m", "mm", "ft", "ftUS", "ftin")
TABLET = (1280, 800)
FIGURE_PX = 148
"""25 mm of a screen that is 216 mm wide and has 1280 px: 148.1."""
HIGH_M = 1609.344
"""A slab as high as a mile: seven figures in metres; as many feet are more than four figures."""
DIG = edge_at(FOOTING_M - 0.567)
_SET = """() => {
  const set = document.querySelector("#number .set");
  if (set === null) return null;
  const pen = document.createElement("canvas").getContext("2d");
  const style = getComputedStyle(set);
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const cap = pen.measureText("0").actualBoundingBoxAscent;
  const [over, under] = [set.firstElementChild, set.lastElementChild].map((each) => each.getBoundingClientRect());
  return under.bottom - over.top - (under.height - cap);
}"""
_GRADUATED = """() => {
  const seen = document.querySelector("#field").getBoundingClientRect();
  const texts = [...document.querySelectorAll("#field g text")].filter((each) => {
    const { y, height } = each.getBoundingClientRect();
    return y > seen.y && y + height < seen.y + seen.height;
  });
  const middle = seen.y + seen.height / 2;
  return texts.map((each) => {
    const tick = each.previousElementSibling.getBoundingClientRect();
    return [each.textContent, (middle - (tick.y + tick.height / 2)) / seen.height];
  });
}"""
_BAR = """() => {
  const bar = document.querySelector("#long [data-line=bar]");
  const { viewBox, clientWidth } = bar.ownerSVGElement;
  return [bar.nextElementSibling.textContent, (bar.getBoundingClientRect().width * viewBox.baseVal.width) / clientWidth];
}"""
_jobs = itertools.count(1)


def dug(home: str, units: str, slab_m: float = 100.0) -> JobDoer:
    """A job in these units with a target a little above the footing's bottom."""
    with seat_room.asking(home) as client:
        job = opened(client, f"units-{next(_jobs)}", units)
        job.benchmark("slab", slab_m)
        job.setup()
        job.touch(seat_room.TOUCHED_M)
        job.target("footing", FOOTING_M)
        return job


def told(job: JobDoer, home: str, target: str | None) -> Any:
    """The centre as the service tells it."""
    with seat_room.asking(home) as client:
        body = {"pose": as_asked(DIG), "units": job.units} | ({} if target is None else {"target": target})
        return client.post(f"{job.path}/readouts", body, 200)["points"]["centre"]


def shows(page: Page, shown: str, units: str) -> None:
    figures = shown if units == "ftin" else shown.removesuffix(f" {units}")
    room.until(page, f"document.querySelector('#number').textContent === {figures!r}")


def fits(page: Page) -> None:
    assert page.locator("#number").evaluate("(each) => each.scrollWidth <= each.clientWidth")


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_figures_of_25_mm(page: Page, home: str, units: str) -> None:
    """CUT, an elevation of a hundred and of a thousand and more metres; a set fraction is one figure high in all."""
    for slab_m in (100.0, HIGH_M):
        job = dug(home, units, slab_m)
        with seat_room.machine(home, job, DIG):
            seat_room.seated(page, job.id)
            for target in ("footing", None):
                page.locator(f"#sheet input[value='{target or ''}']").press("Space")
                centre = told(job, home, target)
                length = centre["elevation"] if target is None else centre["cut_fill"]["amount"]
                shows(page, length["shown"], units)
                fits(page)
                if units == "ftin" and target is None and slab_m == HIGH_M:
                    continue  # four figures of feet, two of inches and a fraction: the one that is smaller
                assert seat_room.tall(page) >= FIGURE_PX, length["shown"]
                high = page.evaluate(_SET)
                assert (high is None) == ("/" not in length["shown"])
                assert high is None or high == pytest.approx(seat_room.tall(page), rel=0.05)


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("page", [View(PHONE)], indirect=True, ids=str)
def test_on_a_phone_it_fits_its_box(page: Page, home: str, units: str) -> None:
    job = dug(home, units)
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        shows(page, told(job, home, "footing")["cut_fill"]["amount"]["shown"], units)
        fits(page)


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("page", [View(TABLET)], indirect=True, ids=str)
def test_staff_and_scale_bar_are_the_service_s(page: Page, home: str, units: str) -> None:
    """Every figure seen stands as far from the hair as the edge does from the height that the figure says."""
    job = dug(home, units)
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        page.locator("#field g text").first.wait_for(state="attached")
        height = told(job, home, None)["elevation"]["m"]
        at = {written: m for m, written in graduation(height, units).figures}
        seen = page.evaluate(_GRADUATED)
        assert len(seen) >= 3
        for written, share in seen:
            # Half a metre from rim to rim, which is 392 of the drawing's 400; half a pixel of 300.
            assert (at[written] - height) / 0.5 * 0.98 == pytest.approx(share, abs=0.004), written
        [written, wide] = page.evaluate(_BAR)
        bars = {each: m for m, each in graduation(height, units).bars}
        # 0.567 m of cut are drawn at 100 of the drawing's 150 units of height a metre; its ends are 1.5 wide.
        assert wide == pytest.approx(100 * bars[written], abs=3)


def test_a_staff_that_could_not_be_asked_for_comes_later(page: Page, home: str, watch: Watch) -> None:
    """The number does not wait for its drawing, and an answer that is lost is asked for again."""
    watch.expect("net::ERR_FAILED")
    job = dug(home, "ft")
    page.route("**/v1/graduations*", lambda route: route.abort())
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        shows(page, told(job, home, "footing")["cut_fill"]["amount"]["shown"], "ft")
        assert page.locator("#field g text").count() == 0
        assert page.locator("#long [data-line=bar]").count() == 0
        page.unroute("**/v1/graduations*")
        page.locator("#field g text").first.wait_for(state="attached")
        page.locator("#long [data-line=bar]").wait_for(state="attached")
