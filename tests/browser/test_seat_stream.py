"""A number no longer to be believed goes by the page's own clock; a restart of the service is told and survived."""

from __future__ import annotations

import json
import signal
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.service.running import Restarted

from . import room, seat_room
from .seat_room import FOOTING_M, GONE, SHOWN, edge_at
from .view import Watch

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

DIG = edge_at(FOOTING_M - 0.12)
SILENT_S, PROMPT_S = 1.5, 0.5
"""The page looks ten times a second; the rest is for a machine that does something else as well."""
LATEST_MS = """() => new Promise((done) => {
  const at = performance.now();
  const gone = () => document.querySelector("#box").dataset.state === "none";
  const look = () => (gone() ? done(performance.now() - at) : setTimeout(look, 5));
  look();
})"""
KEPT = """() => new Promise((done) => {
  const at = document.querySelector("#because");
  let kept = true;
  const watch = new MutationObserver(() => { kept &&= at.textContent.includes("Expected: at most"); });
  watch.observe(at, { childList: true });
  setTimeout(() => { watch.disconnect(); done(kept); }, 500);
})"""
_HIDE = """(hidden) => {
  Object.defineProperty(document, "hidden", { configurable: true, get: () => hidden === 1 });
  document.dispatchEvent(new Event("visibilitychange"));
  return document.querySelector("#because").textContent;
}"""


@pytest.fixture(scope="module")
def running(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Restarted]:
    found = Restarted(tmp_path_factory.mktemp("data"))
    yield found
    found.stop()


@pytest.fixture(scope="module")
def home(running: Restarted) -> str:
    return running.address


@pytest.fixture
def client(running: Restarted) -> Iterator[seat_room.Http]:
    with seat_room.asking(running.address) as found:
        yield found


def because(page: Page) -> str:
    told: str = page.locator("#because").inner_text()
    return told


def test_sensors_gone_quiet_a_service_that_hangs_and_one_that_starts_again(
    page: Page, running: Restarted, client: seat_room.Http, watch: Watch
) -> None:
    watch.expect("ERR_CONNECTION_REFUSED")
    job = seat_room.begun(client, "pump-house")
    job.touch(seat_room.TOUCHED_M)
    with seat_room.machine(running.address, job, DIG) as machine:
        seat_room.seated(page, job.id)
        told = seat_room.read(job, DIG, "bottom of footing")
        seat_room.shows(page, told)

        machine.quiet()
        limits = [each["age_limit_s"] for each in job.get("sensors")["sensors"]]
        assert page.evaluate(LATEST_MS) / 1e3 < max(limits) + PROMPT_S
        room.until(page, "document.querySelector('#because').textContent.includes('Expected: at most')")
        # One is past its limit some milliseconds before the others.
        names = json.dumps([each["name"] for each in job.get("sensors")["sensors"]])
        room.until(page, f"{names}.every(n => document.querySelector('#because').textContent.includes(n))")
        assert page.evaluate(KEPT), "the service's reason stands"
        said = because(page)
        assert said.count("Look at its wiring") == 1, "what is alike is told once"
        assert all(each["name"] in said for each in job.get("sensors")["sensors"]), said
        assert "last read" in said
        machine.stands(DIG)
        seat_room.shows(page, told)

        running.process.send_signal(signal.SIGSTOP)  # the connection stands, and nothing comes
        try:
            assert page.evaluate(LATEST_MS) / 1e3 < min(SILENT_S, max(limits)) + PROMPT_S
            assert because(page).startswith(("Nothing has come", "The oldest reading"))
        finally:
            running.process.send_signal(signal.SIGCONT)
        seat_room.shows(page, told)

        running.stop()
        room.until(page, GONE)
        assert because(page).startswith("No connection to the service since ")
        running.start()
        seat_room.shows(page, told)
        assert "is there again since" in page.locator("#trouble").inner_text()
        seat_room.press(page, "move")
        seat_room.write(page)
        seat_room.close(page)
        room.until(page, f"{GONE} && document.querySelector('#because').textContent.includes('touch')")


def test_a_page_out_of_sight_begins_anew(page: Page, running: Restarted, client: seat_room.Http) -> None:
    job = seat_room.begun(client, "out-of-sight")
    job.touch(seat_room.TOUCHED_M)
    with seat_room.machine(running.address, job, DIG):
        seat_room.seated(page, job.id)
        seat_room.number(page)
        assert page.evaluate(_HIDE, 1) == "This page was out of sight: waiting for a fresh reading."
        room.until(
            page,
            "window.waited ??= (setTimeout(() => { window.late = true; }, 300), true), window.late === true",
        )
        assert page.evaluate(GONE)
        page.evaluate(_HIDE, 0)
        room.until(page, SHOWN)
