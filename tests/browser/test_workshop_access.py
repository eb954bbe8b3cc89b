"""The workshop with access control on: a viewer can change nothing and is told why, a builder what is a builder's."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from machine_profiles import shipped
from tests.service.api.touching import touches
from tests.service.running import service
from tests.service.test_access_cli import good, token

from . import shop

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from .view import Watch

ROLES = ("viewer", "builder")
PARTS = ("measure", "sensors", "moves", "zeros", "calibrate", "accept", "budget")


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module", autouse=True)
def held(data: Path) -> dict[str, str]:
    """A token for each role. Made before the browser starts: no command runs beside its event loop."""
    return {role: token(good(data, "create", f"the {role}", "--role", role)) for role in ROLES}


@pytest.fixture(scope="module")
def home(browser: Browser, data: Path, held: dict[str, str]) -> Iterator[str]:
    with service(data, "--access") as address:
        yield address


def signed_in(page: Page, held: dict[str, str], role: str) -> None:
    assert page.request.post("/v1/sessions", data={"token": held[role]}).ok


def sheet(page: Page) -> None:
    """A good sheet, checked."""
    page.locator("#kind").select_option("attachment")
    shop.ticked(page, "#measure")
    shop.filled(page, dict(shipped()["attachment", "digging-1500"].document) | {"id": "our-bucket"})
    page.locator(shop.at("name")).press("Enter")
    page.locator("#outcome .verdict", has_text="No fault.").wait_for()


def calibration(page: Page) -> None:
    """Touches that find a zero of a shipped machine."""
    shop.opened(page, "calibrate")
    page.locator("#c-machine").select_option("crawler-14t")
    page.locator("#c-attachment").select_option("digging-1500")
    page.locator("[id='u-stick.zero']").check()
    page.locator("#of-name").fill("nail")
    for pose in touches()["poses"][:4]:
        for name, value in pose["readings"].items():
            for i, number in enumerate(value["deg"] if isinstance(value["deg"], list) else [value["deg"]]):
                page.locator(f"[id='said-{name}.{i}']").fill(repr(number))
        page.get_by_role("button", name="Add this observation").click()
    page.locator("#answer .verdict").wait_for()


def test_a_viewer_changes_nothing_and_is_told_why(page: Page, held: dict[str, str], watch: Watch) -> None:
    signed_in(page, held, "viewer")
    shop.opened(page)
    assert "the viewer is signed in as viewer" in page.locator("#who").inner_text()
    sheet(page)
    told = page.locator("#outcome .why-not").inner_text()
    assert "needs the role builder or administrator" in told
    assert page.get_by_role("button", name="Put this attachment on record").is_disabled()
    calibration(page)
    assert page.get_by_role("button", name="Apply what was found").is_disabled()
    for part in PARTS:
        page.locator(f".mode[data-part={part}]").click()
        page.locator(f"#{part}-name").wait_for()
        assert page.locator(".records-now").count() == 0, part
    posted = [each for each in watch.asked if each.endswith(("/machines", "/attachments", "/applied"))]
    assert not [each for each in page.request.get("/v1/attachments").json() if each["id"] == "our-bucket"], (
        posted
    )


def test_a_builder_puts_a_profile_on_record(page: Page, held: dict[str, str]) -> None:
    signed_in(page, held, "builder")
    shop.opened(page)
    assert "jobs can be looked at, not written to" in page.locator("#who").inner_text()
    sheet(page)
    page.get_by_role("button", name="Put this attachment on record").click()
    page.locator("#saved .said").wait_for()
    assert "by the builder" in page.locator("#saved").inner_text()
    assert page.request.get("/v1/attachments/our-bucket").json()["actor"] == "the builder"


def test_nobody_is_signed_in(page: Page, watch: Watch) -> None:
    watch.expect("status of 401")
    page.goto("/workshop")
    page.locator("#trouble a").wait_for()
    assert (
        page.locator("#trouble").inner_text() == "Nobody is signed in here, or the session has ended. Sign in"
    )
    assert page.locator("#sheet").count() == 0
