"""What holds for every page, of the workshop in each of its parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from machine_profiles import shipped
from tests.service.api.touching import BUCKET, MACHINE, added, touches

from . import looking, shop
from .view import NOTEBOOK, PHONE, WALL, View, looks

if TYPE_CHECKING:
    from playwright.sync_api import Page

WORDS = (
    "main p:not(.unseen), main label, main legend, main li, main td, main summary, main dt, main dd, main figcaption, "
    "main button, main th"
)


@pytest.fixture(scope="module", autouse=True)
def _there(home: str) -> None:
    """A calibrated pair's profiles, and a job on which nothing speaks."""
    with shop.client(home) as asking:
        added(asking)
        job = shop.doer(asking, "pump-house")
        job.benchmark("slab", 100.0)
        job.setup(MACHINE, BUCKET)


def looked_at(page: Page, boxes: list[str], *controls: str) -> None:
    looking.looked_at(page, WORDS, ["nav a", ".mode", *boxes], *controls)


def sheet_with_faults(page: Page) -> None:
    shop.opened(page)
    shop.ticked(page, "#measure")
    page.locator("[id='p-bucket-linkage']").check()
    page.locator("[id='p-boom-cylinder']").check()
    page.locator("#sheet").get_by_role("button", name="Check the sheet").click()
    page.locator("#outcome .verdict").wait_for()
    looked_at(
        page,
        [".fault:not(:empty)", "figcaption"],
        "input#f-boom.cylinder.foot.x",
        "select#fits",
        "Check the sheet",
    )


def sheet_whole(page: Page) -> None:
    page.locator("#kind").select_option("attachment")
    shop.ticked(page, "#measure")
    shop.filled(page, dict(shipped()["attachment", "digging-1500"].document) | {"id": "our-other-bucket"})
    page.locator(shop.at("name")).press("Enter")
    page.locator("#outcome .verdict", has_text="No fault.").wait_for()
    for summary in page.locator("#outcome summary").all():
        summary.click()
    looked_at(page, ["#outcome > *"], "Put this attachment on record", "Download the text")


def sheet_from_record(page: Page) -> None:
    """A machine with sensors, two of them unfolded, and an edge by points."""
    shop.opened(page)
    for kind, name in (("machine", "crawler-14t"), ("attachment", "v-bucket-1200")):
        if kind == "attachment":
            page.locator("#kind").select_option(kind)
        page.locator("#load").select_option(name)
        page.get_by_role("button", name="Fill the sheet with it").click()
        shop.until(page, f"document.querySelector('#heard').textContent.includes('{name}')")
        shop.ticked(page, "#measure")
        for sensor in ("body", "boom") if kind == "machine" else ():
            page.locator(f"[id='s-sensors.{sensor}']").click()
        page.get_by_role("button", name="Begin an empty sheet").click()
        looked_at(page, ["#sheet .field", "#begin > *"], "Yes, let it go", "n-uncertainty.of")
        page.get_by_role("button", name="Yes, let it go").click()
        shop.until(page, "document.activeElement.id === 'load'")


def calibration(page: Page) -> None:
    shop.opened(page, "calibrate", "pump-house")
    page.locator("#c-machine").select_option(MACHINE)
    page.locator("#c-attachment").select_option(BUCKET)
    page.locator("[id='u-boom.zero']").check()
    page.locator("#of-name").fill("nail in the slab")
    for k, pose in enumerate(touches()["poses"][:3]):
        for name, value in pose["readings"].items():
            for i, number in enumerate(value["deg"] if isinstance(value["deg"], list) else [value["deg"]]):
                page.locator(f"[id='said-{name}.{i}']").fill(repr(number))
        page.get_by_role("button", name="Add this observation").click()
        page.locator("#seen caption", has_text=f"Observed: {k + 1}").wait_for()
    page.locator("#answer .verdict").wait_for()
    page.locator("#unknowns summary").click()
    looked_at(
        page,
        ["#observation .field", "#answer > div > *"],
        "Add this observation",
        "Take out observation 1",
        "Apply what was found",
    )


def others(page: Page) -> None:
    for part, there in (
        ("sensors", "#no-angles"), ("moves", ".move"), ("zeros", "#z-sensor"), ("accept", "#asking")
    ):  # fmt: skip
        page.locator(f".mode[data-part={part}]").click()
        page.locator(f"#{part} {there}").first.wait_for()
        if part == "accept":
            page.locator("#acceptance details:not([open]) > summary").evaluate_all(
                "(all) => all.forEach((each) => each.click())"
            )
        if part == "zeros":
            page.locator("#z-sensor").select_option("boom")
            shop.ticked(page, "#zeroing")
        looked_at(page, [f"#{part} > *"])
    page.locator(".mode[data-part=budget]").click()
    for name, value in (("machine", "crawler-14t"), ("attachment", "digging-1500")):
        page.locator(f"#b-{name}").select_option(value)
    for name, text in {
        "reach_low": "3",
        "reach_high": "8",
        "depth_low": "0",
        "depth_high": "3",
        "touch_reach": "6",
        "touch_depth": "0",
    }.items():
        page.locator(f"#b-{name}").fill(text)
    page.locator("#b-touch_depth").press("Enter")
    page.locator("#map table").first.wait_for()
    page.locator("#map summary").click()
    shop.press(page, "What is it made of there?")
    page.locator("#one-place .verdict").wait_for()
    looked_at(page, ["#budget .field", "#map > *"], "Reckon and draw")


@looks(
    View(PHONE, "dark"), View(WALL),
    thorough=(View(PHONE), View(NOTEBOOK), View(NOTEBOOK, "dark"), View(WALL, "dark")),
)  # fmt: skip
def test_the_sheet(page: Page) -> None:
    sheet_with_faults(page)


@looks(View(PHONE), View(WALL, "dark"))
def test_every_part(page: Page) -> None:
    shop.opened(page)
    looked_at(page, [".steps label", ".field"], "select#kind", "input#f-id")
    sheet_from_record(page)
    sheet_whole(page)
    calibration(page)
    others(page)
