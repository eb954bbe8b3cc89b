"""A whole shift at the seat by touch, the simulated machine under it: every number against where the edge truly was, the
level book against what the page said."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest

from . import room, seat_room
from .seat_room import FOOTING_M
from .seat_shift import Levers, shift
from .view import View

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.service.api.doing import JobDoer

TOUCH = View((1280, 800), touch=True)
OFF_M = 0.015
"""The sensors are off by up to some 0.03 deg that stand still, 3 mm over 6 m of arm each, and touches rest 1 mm off; a
hundredth of a degree of noise is 1 mm. The same as the demo's."""
SHOWN_FOR_S = 1.5
"""A number is shown until its oldest reading is past its age limit, 0.5 s, or nothing comes for 1.5 s."""
DRAIN_M, STATION_M, GRADE = 0.9, 2.5, 0.01
# What the page says the edge is above its target; on grade without a sign.
_OFF = """((word, figures) => Math.min(...(word === "CUT" ? [1] : word === "FILL" ? [-1] : [1, -1])
  .map((sign) => Math.abs(sign * Number(figures) - (ABOVE)))))(document.querySelector("#word").textContent,
  document.querySelector("#number").textContent)"""
_WATCH = """() => {
  window.drawn = [];
  const [word, number] = ["word", "number"].map((id) => document.getElementById(id));
  new MutationObserver(() => {
    if (number.textContent !== "") window.drawn.push([Date.now() / 1000, word.textContent, number.textContent]);
  }).observe(number, { childList: true });
}"""


class Seat:
    """Whoever sits at the page: taps, and keeps what the page said was written."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.said: dict[int, str] = {}

    def tap(self, selector: str) -> None:
        self.page.locator(selector).tap()

    def record(self, name: str, *taps: str, **typed: str) -> str:
        """A record of the bar, or of those under More; `typed` by the label."""
        if self.page.locator(f"#bar [data-record='{name}']").count():
            self.tap(f"#bar [data-record='{name}']")
        else:
            self.tap("#bar [data-record=more]")
            self.page.locator("#slip").get_by_role("button", name=name, exact=True).tap()
        self.page.locator("#slip .says").wait_for()
        for each in taps:
            self.tap(each)
        for label, text in typed.items():
            self.page.get_by_label(label.replace("_", " ")).fill(text)
        return self.written()

    def written(self) -> str:
        """Write what the slip says; what was told once it is on disk."""
        self.tap("#slip .write")
        told = seat_room.written(self.page)
        [seq] = re.findall(r"Written as entry (\d+)\.", told)
        self.said[int(seq)] = told
        return told

    def close(self) -> None:
        self.page.locator("#slip").get_by_role("button", name="Close").tap()
        self.page.locator("#slip").wait_for(state="hidden")

    def is_near(self, above_m: float) -> None:
        """Wait for a number this near the truth: what was drawn last may still be from a moment ago."""
        room.until(self.page, f"{seat_room.SHOWN} && {_OFF} < {OFF_M}".replace("ABOVE", str(above_m)))

    def strikes(self, but: str = "") -> str:
        """Wait until another strike than `but` was taken, by what the page says of it."""
        told = "document.querySelector('#strike').textContent"
        room.until(self.page, f"/: taken \\(entry \\d+\\)/.test({told}) && {told} !== {but!r}")
        words = self.page.locator("#strike").inner_text()
        [seq] = re.findall(r"entry (\d+)", words)
        self.said[int(seq)] = words
        return words


def fell_as_the_edge_did(drawn: list[tuple[float, str, str]], levers: Levers, target_m: float) -> None:
    """Every number drawn lies, within `OFF_M`, between the highest and the lowest that the edge stood while it might be
    shown."""
    assert len(drawn) > 20
    for when, word, figures in drawn:
        ways = [levers.elevation(when - SHOWN_FOR_S * k / 30) - target_m for k in range(31)]
        shown = float(figures) * (-1 if word == "FILL" else 1)
        near = [shown, -shown] if word == "ON GRADE" else [shown]
        assert any(min(ways) - OFF_M <= each <= max(ways) + OFF_M for each in near), (word, figures, ways[0])
    cuts = [float(figures) for _, word, figures in drawn if word == "CUT"]
    assert cuts[0] > 0.3
    assert all(b <= a + OFF_M for a, b in pairwise(cuts)), "CUT shrinks"
    assert drawn[-1][1] == "ON GRADE"


@pytest.mark.parametrize("page", [TOUCH], indirect=True, ids=str)
def test_a_shift_by_touch_over_a_simulated_machine(page: Page, home: str) -> None:
    with seat_room.asking(home) as client:
        job = seat_room.begun(client, "pump-house")
        slab = job.get()["points"][0]["elevation"]["m"]
        footing = slab - FOOTING_M
        seat = Seat(page)
        page.goto(f"/seat?job={job.id}")
        seat.tap("#before-done")
        page.wait_for_selector("html[data-ready=yes]", state="attached")
        with Levers(home, job.id, shift()) as levers:
            _begins(seat, levers, footing)
            _digs(seat, levers, footing)
            _moves(seat, levers, footing)
            _drains(seat, levers, slab)
        _the_book_is_what_the_page_said(seat, job)


def _begins(seat: Seat, levers: Levers, footing: float) -> None:
    """A touch sets the height; a crossing of the laser sets the plane by itself."""
    levers.held(2)
    room.until(
        seat.page, f"{seat_room.GONE} && document.querySelector('#because').textContent.includes('touch')"
    )
    assert "It sets the height" in seat.record("touch")
    seat.close()
    seat.is_near(levers.resting(2) - footing)
    levers.go_on()
    levers.held(4)
    seat.strikes()
    seat.is_near(levers.resting(4) - footing)


def _digs(seat: Seat, levers: Levers, footing: float) -> None:
    """Down to the footing; a check, taken back, and taken again."""
    seat.page.evaluate(_WATCH)  # before it goes on: a busy machine would begin to watch too late
    levers.go_on()
    levers.held(7)
    room.until(seat.page, "document.querySelector('#word').textContent === 'ON GRADE'")
    seat.is_near(levers.resting(7) - footing)
    seat.page.evaluate("new Promise((done) => setTimeout(done, 0))")
    drawn = seat.page.evaluate("window.drawn")
    over = next(i for i, (_, _, figures) in enumerate(drawn) if float(figures) < 0.36)
    fell_as_the_edge_did(drawn[over:], levers, footing)
    told = seat.record("check")
    assert "centre on grade" in told
    seat.page.locator("#slip").get_by_role("button", name="Undo entry").tap()
    seat.page.get_by_text("Which entry").wait_for()
    seat.tap("#slip input[value='It did not happen']")
    assert "Void now: entry" in seat.written()
    seat.close()
    seat.record("check")
    seat.close()


def _moves(seat: Seat, levers: Levers, footing: float) -> None:
    """A stone is levelled, the move announced; the second strike brings the height back, the stone checks it."""
    levers.go_on()
    levers.held(9)
    seat.record("turning", Name="stone")
    seat.close()
    assert "height until the next strike or touch" in seat.record("move")
    seat.close()
    room.until(
        seat.page, f"{seat_room.GONE} && document.querySelector('#because').textContent.includes('strike')"
    )
    before = seat.page.locator("#strike").inner_text()
    levers.go_on()
    seat.strikes(but=before)
    levers.held(13)
    seat.is_near(levers.resting(13) - footing)
    seat.page.locator("#hangs").get_by_text("strike laser").first.wait_for()
    told = seat.record("touch", "#slip input[value=stone]")
    [misclosure] = re.findall(r"Misclosure (-?[\d.]+) m", told)
    assert abs(float(misclosure)) < OFF_M
    seat.close()


def _drains(seat: Seat, levers: Levers, slab: float) -> None:
    """A sloping line from a station by the tape."""
    levers.go_on()
    levers.held(15)
    seat.tap("#sheet input[value=drain]")
    room.until(
        seat.page, f"{seat_room.GONE} && document.querySelector('#because').textContent.includes('station')"
    )
    seat.record("Touch a station", Its_station=str(STATION_M))
    seat.close()
    seat.is_near(levers.resting(15) - (slab - DRAIN_M + GRADE * STATION_M))
    seat.tap("#corners input[value=left]")
    seat.is_near(levers.resting(15, "left") - (slab - DRAIN_M + GRADE * STATION_M))


def _the_book_is_what_the_page_said(seat: Seat, job: JobDoer) -> None:
    """Every entry since the office's is one that the page told, with the numbers it told."""
    rows: list[dict[str, Any]] = job.get("level-book")["rows"]
    office = 6
    assert [row["seq"] for row in rows[office:]] == sorted(seat.said)
    assert [(row["what"], row["point"], row["status"]) for row in rows[office:]] == [
        ("touch", "slab", "counts"), ("strike", "laser", "counts"), ("check", "bottom of footing", "withdrawn"),
        ("withdrawal", "entry 9", "counts"), ("check", "bottom of footing", "counts"),
        ("turning point", "stone", "counts"), ("move", "", "counts"), ("strike", "laser", "counts"),
        ("check touch", "stone", "counts"), ("station", "drain", "counts"),
    ]  # fmt: skip
    by_what = {row["what"]: (row, seat.said[row["seq"]]) for row in rows[office:]}
    for what, number in (
        ("touch", "origin"),
        ("turning point", "elevation"),
        ("check touch", "elevation"),
        ("check touch", "misclosure"),
    ):
        row, told = by_what[what]
        assert row[number]["shown"] in told, (what, told)
    [taken_back, check] = job.get("checks")["checks"]
    assert (taken_back["status"], check["status"]) == ("withdrawn", "counts")
    for name in ("left", "centre", "right"):
        point = check["points"][name]
        assert f"{point['word']} {point['above_target']['shown']}" in seat.said[check["seq"]]
