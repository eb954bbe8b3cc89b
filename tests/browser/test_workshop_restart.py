"""The service is started again under the page: it says so, nothing typed is lost, and what was begun goes on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.service.api.touching import BUCKET, MACHINE, added, ours, touches
from tests.service.running import Restarted

from . import room, shop

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from .view import Watch

GONE = "document.querySelector('#link').textContent.startsWith('No answer from the service since ')"
AGAIN = "document.querySelector('#link').textContent.includes('answers again')"
SERIALS = {"agreed_by": "both of us", "builder": "our workshop", "serial-boom": "B-2", "least_lean_deg": "3"}


@pytest.fixture(scope="module")
def running(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Restarted]:
    found = Restarted(tmp_path_factory.mktemp("data"))
    yield found
    found.stop()


@pytest.fixture(scope="module")
def home(running: Restarted) -> str:
    return running.address


@pytest.fixture(scope="module", autouse=True)
def _there(home: str) -> None:
    """A pair of our own on a job that has a height."""
    with shop.client(home) as asking:
        added(asking)
        job = shop.doer(asking, "pump-house")
        job.benchmark("slab", 100.0)
        job.setup(MACHINE, BUCKET)


def away(page: Page, running: Restarted) -> None:
    running.stop()
    room.until(page, GONE)


def back(page: Page, running: Restarted) -> None:
    running.start()
    room.until(page, AGAIN)


def test_an_observation_half_typed(page: Page, running: Restarted, watch: Watch) -> None:
    """One observed, one half typed; the service goes, what is sent meanwhile is told, and sent again it is answered."""
    watch.expect("ERR_CONNECTION_REFUSED")
    shop.opened(page, "calibrate", "pump-house")
    for kind, profile in zip(("machine", "attachment"), ours()[:2], strict=True):
        page.locator(f"#c-{kind}").select_option(profile.id)
    page.locator("[id='u-boom.zero']").check()
    page.locator("#of-name").fill("nail in the slab")
    first, second, third = touches()["poses"][:3]
    typed(page, first)
    page.get_by_role("button", name="Add this observation").click()
    page.locator("#answer .verdict").wait_for()
    typed(page, second)
    away(page, running)
    page.get_by_role("button", name="Add this observation").click()
    room.until(
        page, "document.querySelector('#trouble').textContent.startsWith('The service does not answer')"
    )
    page.locator("#seen caption", has_text="Observed: 2").wait_for()
    typed(page, third)
    back(page, running)
    assert page.locator("#of-name").input_value() == "nail in the slab"
    assert page.locator("[id='said-boom.0']").input_value() == repr(third["readings"]["boom"]["deg"])
    page.get_by_role("button", name="Add this observation").click()
    page.locator("#answer .verdict").wait_for()
    page.locator("#seen caption", has_text="Observed: 3").wait_for()
    assert page.locator("#trouble").inner_text() == ""


def typed(page: Page, pose: dict[str, dict[str, dict[str, float]]]) -> None:
    for name, value in pose["readings"].items():
        both = value["deg"] if isinstance(value["deg"], list) else [value["deg"]]
        for i, number in enumerate(both):
            page.locator(f"[id='said-{name}.{i}']").fill(repr(number))


def test_a_certificate_half_typed_and_a_part_that_could_not_be_opened(
    page: Page, running: Restarted, watch: Watch
) -> None:
    """What was typed is there after another part was looked at; one opened while nobody answered comes by itself."""
    watch.expect("ERR_CONNECTION_REFUSED")
    shop.opened(page, "accept", "pump-house")
    page.locator("#acceptance summary", has_text="Limits").click()
    for name, text in SERIALS.items():
        page.locator(f"#a-{name}").fill(text)
    away(page, running)
    page.locator(".mode[data-part=zeros]").click()
    room.until(
        page, "document.querySelector('#trouble').textContent.startsWith('The service does not answer')"
    )
    back(page, running)
    page.locator("#zeros-name").wait_for()
    assert page.locator("#trouble").inner_text() == ""
    page.locator(".mode[data-part=accept]").click()
    page.locator("#asking").wait_for()
    page.locator("#acceptance summary", has_text="Limits").click()
    for name, text in SERIALS.items():
        assert page.locator(f"#a-{name}").input_value() == text, name
    assert page.locator("#link").inner_text() == "", "told once: another part was opened since"
