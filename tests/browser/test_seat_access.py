"""The seat with access control on: who only looks changes nothing; what somebody else changes waits for the seat."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.service.running import service
from tests.service.test_access_cli import good, token

from . import room, seat_room
from .seat_room import FOOTING_M, edge_at
from .view import Watch

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from tests.service.api.doing import JobDoer

HOLDERS = {
    "anna": ("--role", "operator", "--all-machines"), "olga": ("--role", "operator", "--all-machines"),
    "vera": ("--role", "viewer"), "mia": ("--role", "operator", "--machine", "midi-8t"),
}  # fmt: skip
DIG = edge_at(FOOTING_M - 0.12)
SIGNED_IN = "status of 401 (Unauthorized) (%s/v1/sessions/current)"


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module", autouse=True)
def tokens(data: Path) -> dict[str, str]:
    """Of every holder. Made before the browser starts: no command runs beside its event loop."""
    return {name: token(good(data, "create", name, *words)) for name, words in HOLDERS.items()}


@pytest.fixture(scope="module")
def home(browser: Browser, data: Path, tokens: dict[str, str]) -> Iterator[str]:
    with service(data, "--access") as address:
        yield address


@pytest.fixture(scope="module")
def job(home: str, tokens: dict[str, str]) -> Iterator[JobDoer]:
    """A job at which anna sits."""
    with seat_room.asking(home, tokens["anna"]) as client:
        found = seat_room.begun(client, "pump-house")
        found.touch(seat_room.TOUCHED_M)
        yield found


def signed_in(page: Page, watch: Watch, held: str) -> Page:
    watch.expect(SIGNED_IN % watch.home)
    page.goto("/sign-in")
    page.locator("#token").fill(held)
    page.locator("#send").click()
    page.locator("#in").wait_for()
    return page


@pytest.mark.parametrize(("who", "why"), [("vera", "looks only"), ("mia", "not for crawler-14t")])
def test_whoever_may_not_record_has_nothing_to_record_with(
    page: Page, watch: Watch, home: str, job: JobDoer, tokens: dict[str, str], who: str, why: str
) -> None:
    with seat_room.machine(home, job, DIG, tokens["anna"]):
        signed_in(page, watch, tokens[who])
        seat_room.seated(page, job.id)
        seat_room.shows(page, seat_room.read(job, DIG, "bottom of footing"))
        assert why in page.locator("#bar").inner_text()
        buttons = page.locator("main button:visible").all_inner_texts()
        assert [each for each in buttons if "Sound" not in each and "rod check" not in each] == []
        before = job.get()["seq"]
        refused = page.evaluate(
            """async (path) => (await fetch(path, { method: "POST", headers: { "content-type": "application/json" },
          body: "{}" })).status""",
            f"/v1/jobs/{job.id}/moves",
        )
        assert refused == 403
        assert job.get()["seq"] == before
    watch.expect("status of 403")


def test_what_somebody_else_changed_waits_until_it_is_acknowledged_here(
    page: Page, watch: Watch, home: str, job: JobDoer, tokens: dict[str, str]
) -> None:
    with seat_room.asking(home, tokens["olga"]) as other, seat_room.machine(home, job, DIG, tokens["anna"]):
        signed_in(page, watch, tokens["anna"])
        seat_room.seated(page, job.id)
        told = seat_room.number(page)
        footing = [
            each["seq"] for each in job.get("level-book")["rows"] if each["point"] == "bottom of footing"
        ]
        other.post(f"{job.path}/withdrawals", {"seq": footing[0], "reason": "deeper by a layer"})
        other.post(f"{job.path}/targets", job.target_body("bottom of footing", FOOTING_M + 0.1))
        page.get_by_role("button", name="Put all into effect, in this order").wait_for()
        assert seat_room.number(page) == told, "until then nothing changes"
        assert "by olga" in page.locator("#notices").inner_text()
        other.post(f"{job.path}/targets", job.target_body("not wanted", 3.0))
        page.locator("#notices .notice").get_by_text("not wanted").wait_for()
        acts = page.locator("#notices button").all_inner_texts()
        assert acts[0] == "Put all into effect, in this order", "what belongs together comes first to hand"
        page.locator("#notices").get_by_role("button", name="One by one").press("Enter")
        page.locator("#slip button").filter(has_text="Decline: ").filter(has_text="not wanted").press("Enter")
        assert "does not take effect" in page.locator("#slip .says").inner_text()
        seat_room.write(page)
        seat_room.close(page)
        room.until(page, "!document.querySelector('#notices').textContent.includes('not wanted')")
        page.get_by_role("button", name="Put all into effect, in this order").press("Enter")
        seat_room.write(page)
        seat_room.close(page)
        room.until(page, "!document.querySelector('#notices').textContent.includes('olga')")
        seat_room.shows(page, seat_room.read(job, DIG, "bottom of footing"))
        assert seat_room.number(page) != told
    assert [each["name"] for each in job.get("targets")] == ["drain", "bottom of footing"]


def test_nobody_signed_in_is_shown_the_way(page: Page, watch: Watch, job: JobDoer) -> None:
    watch.expect("status of 401")
    page.goto(f"/seat?job={job.id}")
    page.locator("#trouble a").wait_for()
    assert page.locator("#trouble a").get_attribute("href") == "/sign-in"
