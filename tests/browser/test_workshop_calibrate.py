"""A calibration on the page from simulated touches, applied, taken back, and the acceptance certificate after it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest

from machine_profiles import parse_profile
from tests.service.api.checking import REACH, SERIALS, level_body, on_slope, zone
from tests.service.api.doing import JobDoer, as_asked
from tests.service.api.touching import BUCKET, MACHINE, PLANTED, added, level_on, staff, touches
from tests.service.live.making import OverHttp

from . import shop

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from .view import Watch

WRITTEN_DEG = 0.05
"""Touches are exact here; what is left is the weight of what the profile said before."""


@pytest.fixture(scope="module")
def asking(home: str) -> Iterator[OverHttp]:
    """A client beside the page."""
    with shop.client(home) as found:
        yield found


@pytest.fixture(scope="module", autouse=True)
def _profiles(asking: OverHttp) -> None:
    added(asking)


def said(page: Page, readings: dict[str, Any]) -> None:
    """What every sensor said, typed."""
    for name, value in readings.items():
        both = value["deg"] if isinstance(value["deg"], list) else [value["deg"]]
        for i, number in enumerate(both):
            page.locator(f"[id='said-{name}.{i}']").fill(repr(number))


def add(page: Page, count: int) -> None:
    page.get_by_role("button", name="Add this observation").click()
    page.locator("#seen caption", has_text=f"Observed: {count}").wait_for()


def begun(page: Page) -> None:
    shop.opened(page, "calibrate")
    page.locator("#c-machine").select_option(MACHINE)
    page.locator("#c-attachment").select_option(BUCKET)
    for name in PLANTED:
        page.locator(f"[id='u-{name}']").check()


def touched(page: Page, group: dict[str, Any], poses: list[dict[str, Any]], before: int) -> int:
    page.locator("#of-name").fill(group["name"])
    for i, pose in enumerate(poses):
        said(page, pose["readings"])
        add(page, before + i + 1)
    return before + len(poses)


def test_touches_end_in_applied_revisions_and_are_taken_back(page: Page, asking: OverHttp) -> None:
    begun(page)
    first, second = touches(), touches("stake on the heap", 8, 1.2, 2)
    count = touched(page, first, first["poses"][:2], 0)
    page.locator("#next li").first.wait_for()
    assert "Not found yet" in page.locator("#answer .verdict").inner_text()
    assert page.get_by_role("button", name="Apply what was found").count() == 0
    count = touched(page, first, first["poses"][2:], count)
    count = touched(page, second, second["poses"], count)
    rods = staff()
    page.locator("#observed").select_option("staff")
    page.locator("#of-name").fill(rods["name"])
    for each in rods["seen"]:
        page.locator("#of-read").fill(repr(each["rod"]))
        said(page, each["readings"])
        count += 1
        add(page, count)
    level = level_on("boom", 12.0, -80.0, 20.0)
    page.locator("#observed").select_option("line")
    page.locator("#observation .steps").wait_for()
    assert page.locator("#of-inclination").count() == 0
    shop.ticked(page, "#observation")
    page.locator("#of-name").fill("level on the boom")
    page.locator("#of-inclination").fill(repr(level["inclination_deg"]))
    page.locator("#of-way").select_option("ahead")
    page.locator("#of-uncertainty").fill("0.05")
    said(page, level["readings"])
    add(page, count + 1)
    page.locator("#answer .verdict", has_text="Found.").wait_for()
    rows = {row[0]: row for row in shop.told(page, "Before and after")}
    assert set(rows) == set(PLANTED)
    assert rows["boom.zero"][2].startswith("3.5")
    before = asking.get(f"/v1/machines/{MACHINE}")
    shop.confirmed(page, "Apply what was found")
    page.locator("#applied").wait_for()
    after = asking.get(f"/v1/machines/{MACHINE}")
    assert after["revision"][:12] in page.locator("#applied").inner_text()
    assert after["revision"] != before["revision"]
    mounting = parse_profile(after["toml"]).document["sensors"]["boom"]["mounting"]["nose_up"]
    assert mounting == pytest.approx(3.2 + 0.30, abs=WRITTEN_DEG)
    shop.confirmed(page, "Take it back")
    page.locator("#calibrations td", has_text="takes one back").wait_for()
    restored = asking.get(f"/v1/machines/{MACHINE}")
    assert restored["document"]["sensors"]["boom"]["mounting"]["nose_up"] == pytest.approx(3.2)
    assert page.get_by_role("button", name="Take it back").count() == 0


def test_a_suspect_is_looked_at_before_it_is_left_out(page: Page, watch: Watch) -> None:
    """One touch of another nail among the rest: named, taken out, and the rest stands."""
    watch.expect("status of 422")
    begun(page)
    first = touches()
    count = touched(page, first, first["poses"][:5], 0)
    count = touched(page, first, touches("other", 1, -1.0, 9)["poses"], count)
    second = touches("stake on the heap", 8, 1.2, 2)
    touched(page, second, second["poses"][:5], count)
    page.locator("#answer .verdict", has_text="left out").wait_for()
    assert page.locator("#answer label.tick", has_text="Looked at, and to be left out").count() == 1
    shop.confirmed(page, "Apply what was found")
    page.locator("#trouble li").first.wait_for()
    page.get_by_role("button", name="Take out observation 6, nail in the slab").click()
    page.locator("#answer .verdict", has_text="Found.").wait_for()


class Ours(JobDoer):
    """A job whose machine is the one that was calibrated."""

    def setup(self, machine: str = MACHINE, attachment: str = "tilting-1800") -> Any:
        return super().setup(machine, attachment)


def test_a_certificate(page: Page, asking: OverHttp, watch: Watch) -> None:
    """One cell is empty: told in its place, nothing recorded. Then whole: verdict, rule, points by cells, and printed."""
    watch.expect("status of 422")
    job = shop.doer(asking, "accepted")
    ours = Ours(job.client, job.id, "m")
    zone(ours, skip=(("far", "left", 2),))
    shop.opened(page, "accept", "accepted")
    page.locator("#a-tolerance").fill("0.03")
    for name in ("agreed_by", "builder", "customer", "machine_serial"):
        page.locator(f"#a-{name}").fill("the water works")
    for name, serial in SERIALS.items():
        page.locator(f"#a-serial-{name}").fill(serial)
    shop.confirmed(page, "Issue the certificate")
    page.locator("#missing table").first.wait_for()
    near, middle, far = shop.told(page, "Cells at swing 2")
    assert far == ["far", "no point yet", "has a point", "has a point"]
    assert near[1:] == middle[1:] == ["has a point"] * 3
    assert job.get("certificates") == []

    pose = on_slope(REACH["far"], -2.0, 2)
    origin = job.get()["height"]["elevation"]["m"]
    for off in (0.004, -0.004):
        job.post(
            "rod-checks",
            level_body(job, origin + pose.height("left") - off, as_asked(pose), "left", swing_deg=90.0),
        )
        pose = on_slope(REACH["far"], -2.15, 2)
    shop.confirmed(page, "Issue the certificate")
    page.locator("#one .verdict").wait_for()
    [line] = job.get("certificates")
    told = job.get(f"certificates/{line['seq']}")
    assert told["passed"] is True
    assert page.locator("#one .verdict").inner_text() == told["verdict"]
    assert told["rule"] in page.locator("#one").inner_text()
    assert page.locator("#missing table").count() == 0
    seqs = [
        each["seq"]
        for each in told["content"]["points"]
        if (each["distance"], each["side"], each["swing"]) == ("far", "left", 2)
    ]
    assert shop.told(page, "Cells at swing 2")[2][1] == f"entry {', '.join(map(str, seqs))}"
    with page.context.expect_page() as opening:
        page.get_by_role("link", name="Open the printed form").click()
    assert "passed" in opening.value.locator("main, body").first.inner_text()
