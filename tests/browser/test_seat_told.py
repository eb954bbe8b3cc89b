"""What the seat tells and asks for: which field is wrong, why an entry is undone, what is not known, all the jobs."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from email.utils import formatdate
from time import time
from typing import TYPE_CHECKING

import pytest

from tests.service.api.doing import opened
from tests.service.live.making import ATTACHMENT, MACHINE

from . import room, seat_room
from .seat_room import FOOTING_M, GONE, edge_at
from .view import Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

    from tests.service.api.doing import JobDoer

DIG = edge_at(FOOTING_M - 0.12)
MORE_THAN_A_PAGE = 101
_jobs = itertools.count(1)


@pytest.fixture
def job(home: str) -> Iterator[JobDoer]:
    with seat_room.asking(home) as client:
        yield seat_room.begun(client, f"told-{next(_jobs)}")


def test_a_refusal_names_its_fields_and_marks_them(page: Page, job: JobDoer, watch: Watch) -> None:
    watch.expect("status of 422")
    seat_room.seated(page, job.id)
    seat_room.record(page, "Add to the depth sheet")
    typed = {
        "Name": "sump", "Layer 1": "all", "Thickness, positive down": "0,1", "Overdig, 0 for none": "0",
        "Tolerance, half the band": "0",
    }  # fmt: skip
    for label, text in typed.items():
        page.get_by_label(label, exact=True).fill(text)
    page.locator("#slip .write").click()
    told = page.locator("#slip .alert")
    told.get_by_text("Thickness, positive down: '0,1'").wait_for()
    assert "Tolerance, half the band: 0 m. Expected: more than zero." in told.inner_text()
    wrong = page.locator("#slip input[aria-invalid=true]")
    assert wrong.evaluate_all("(all) => all.map((each) => each.value)") == ["0,1", "0"]


def test_why_an_entry_is_undone_is_said_by_whoever_undoes_it(page: Page, job: JobDoer) -> None:
    seat_room.seated(page, job.id)
    seat_room.record(page, "Undo")
    assert "they may be somebody else's" in page.locator("#slip legend").first.inner_text()
    assert "because: (say why)" in page.locator("#slip .says").inner_text()
    page.locator("#slip .write").click()
    page.locator("#slip .alert").get_by_text("Why: fill it in.").wait_for()
    page.get_by_label("Or in your words").fill("another drain")
    seat_room.write(page)
    assert job.events()[-1]["payload"]["reason"] == "another drain"


def test_warnings_are_none_of_a_number_that_is_gone(page: Page, home: str, job: JobDoer) -> None:
    job.touch(seat_room.TOUCHED_M)
    told = "document.querySelector('#warned').textContent"
    with seat_room.machine(home, job, DIG) as machine:
        seat_room.seated(page, job.id)
        seat_room.number(page)
        room.until(page, f"{told} !== '' && {told} !== 'Not known without a number.'")
        machine.quiet()
        room.until(page, f"{GONE} && {told} === 'Not known without a number.'")


def test_another_line_is_no_longer_asked_for_once_it_is_chosen(page: Page, job: JobDoer) -> None:
    seat_room.seated(page, job.id, "&target=cellar")
    page.locator("#trouble").get_by_text("choose another line").wait_for()
    page.locator("#sheet input[value=drain]").press("Space")
    room.until(page, "document.querySelector('#trouble').textContent === ''")


def test_a_tone_that_was_not_had_is_asked_for_again(
    page: Page, home: str, job: JobDoer, watch: Watch
) -> None:
    watch.expect("status of 503")
    job.touch(seat_room.TOUCHED_M)
    refused: list[str] = []

    def once(route: Route) -> None:
        if refused:
            route.continue_()
        else:
            refused.append(route.request.url)
            route.fulfill(status=503, body="")

    page.route("**/v1/tones*", once)
    with seat_room.machine(home, job, DIG):
        seat_room.seated(page, job.id)
        page.locator("#tone").press("Enter")
        page.locator("#tone-said").get_by_text("How it is to sound is not known yet").wait_for()
        room.until(page, "document.querySelector('#tone').dataset.sounds === 'single'")


def test_all_jobs_are_listed(page: Page, home: str) -> None:
    with seat_room.asking(home) as client:
        for number in range(MORE_THAN_A_PAGE):
            opened(client, f"pit-{number}")
    page.goto("/seat")
    page.locator("#jobs a[href='/seat?job=pit-99']").wait_for()
    assert page.locator("#jobs a").count() >= MORE_THAN_A_PAGE


def test_a_machine_is_put_on_the_job_at_the_seat(page: Page, home: str) -> None:
    with seat_room.asking(home) as client:
        job = opened(client, "no-machine")
        seat_room.seated(page, job.id)
        seat_room.press(page, "touch")
        page.locator("#slip").get_by_role("button", name="Put a machine on the job").press("Enter")
        for each in (MACHINE, ATTACHMENT):
            page.locator(f"#slip input[value={each}]").press("Space")
        says = page.locator("#slip .says").inner_text()
        assert f"{MACHINE} with {ATTACHMENT} stands on the job" in says
        seat_room.write(page)
        assert (job.get()["machine"]["id"], job.get()["attachment"]["id"]) == (MACHINE, ATTACHMENT)


def test_a_wait_that_is_told_as_a_date_is_waited(page: Page, job: JobDoer, watch: Watch) -> None:
    watch.expect("status of 503")
    asked: list[str] = []

    def busy(route: Route) -> None:
        asked.append(route.request.url)
        route.fulfill(status=503, headers={"retry-after": formatdate(time() + 60.0, usegmt=True)}, body="")

    page.route("**/moves", busy)
    seat_room.seated(page, job.id)
    seat_room.press(page, "move")
    page.locator("#slip .write").click()
    page.locator("#slip .alert").get_by_text("No answer yet").wait_for()
    page.evaluate("new Promise((done) => setTimeout(done, 1500))")
    assert len(asked) == 1
