"""The measure-up sheet: by keys to a profile on record, faults beside fields, the dimension of every field marked."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

import pytest
import tomlkit

from machine_profiles import parse_profile, shipped
from tests.service.api.touching import MACHINE as OURS
from tests.service.api.touching import added, body, revisions

from . import room, shop
from .view import View

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from .view import Watch

MACHINE = {
    "units.length": "mm", "units.angle": "deg", "id": "our-digger", "name": "Our digger",
    "source": "Taped in the yard by two people.", "boom.foot.forward": "250", "boom.foot.left": "-60",
    "boom.length": "4600", "boom.range.low": "-41", "boom.range.high": "54", "stick.length": "2500",
    "stick.range.low": "-147", "stick.range.high": "-30", "bucket.range.low": "-29", "bucket.range.high": "134",
}  # fmt: skip
"""As the guide on measuring has it, lengths and ranges only."""


BUDGET = {
    "machine": "crawler-14t", "attachment": "digging-1500", "reach_low": "3", "reach_high": "8", "depth_low": "0",
    "depth_high": "3", "touch_reach": "6", "touch_depth": "0", "tolerance": "0.03",
}  # fmt: skip


def budget(page: Page) -> None:
    for name, text in BUDGET.items():
        if name in ("machine", "attachment"):
            page.locator(f"#b-{name}").select_option(text)
        else:
            page.locator(f"#b-{name}").fill(text)


def typed(page: Page, path: str, text: str) -> None:
    """Reached by the Tab key alone, and typed; of a list, chosen by its first letters."""
    room.tab_to(page, shop.at(path))
    page.keyboard.type(text)


def test_by_keys_to_a_profile_on_record(page: Page) -> None:
    shop.opened(page)
    for path in ("units.length", "units.angle", "id", "name", "source"):
        typed(page, path, MACHINE[path])
    assert page.locator(shop.at("bucket.range.low")).count() == 0, (
        "nobody walks to the bucket before the steps"
    )
    for _ in range(page.locator("#measure .steps input").count()):
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
    page.locator(shop.at("boom.length")).wait_for()
    for part, paths in (
        ("boom", ("foot.forward", "foot.left", "length")),
        ("stick", ("length",)),
        ("bucket", ()),
    ):
        for path in paths:
            typed(page, f"{part}.{path}", MACHINE[f"{part}.{path}"])
        room.tab_to(page, f"[name='p-{part}']")
        # None is chosen: space chooses the first, the arrow goes on to the range.
        page.keyboard.press("Space")
        page.keyboard.press("ArrowDown")
        for end in ("low", "high"):
            typed(page, f"{part}.range.{end}", MACHINE[f"{part}.range.{end}"])
    page.keyboard.press("Enter")
    page.locator("#outcome .verdict", has_text="No fault").wait_for()
    assert page.evaluate("document.activeElement.matches('.verdict')")
    room.tab_to(page, ".records-now")
    page.keyboard.press("Enter")
    page.locator("#saved .said").wait_for()
    kept = page.request.get("/v1/machines/our-digger").json()
    assert kept["revision"][:12] in page.locator("#saved").inner_text()
    assert flat(kept["document"]) == MACHINE | {"schema": "1", "kind": "machine"}


def flat(document: dict[str, Any], prefix: str = "") -> dict[str, str]:
    found: dict[str, str] = {}
    for name, value in document.items():
        if isinstance(value, dict):
            found |= flat(value, f"{prefix}{name}.")
        else:
            found[prefix + name] = f"{value:g}" if isinstance(value, float) else str(value)
    return found


def test_every_fault_beside_its_field(page: Page) -> None:
    """Nothing is filled in but a length with a comma: each fault of the service stands at its place, all at once."""
    shop.opened(page)
    page.locator(shop.at("units.length")).select_option("mm")
    shop.ticked(page, "#measure")
    page.locator("[id='p-bucket-linkage']").check()
    page.locator("[id='p-stick-cylinder']").check()
    page.locator("[id='o-receiver']").check()
    page.locator(shop.at("boom.length")).fill("4,6")
    page.locator("#sheet").get_by_role("button", name="Check the sheet").click()
    page.locator("#outcome .verdict").wait_for()
    assert page.evaluate("document.activeElement.getAttribute('aria-invalid')") == "true"
    page.locator("#outcome summary", has_text="text").click()
    text = page.locator("#toml").inner_text()
    faults = page.request.post("/v1/profile-checks", data={"toml": text}).json()["faults"]
    assert len(faults) > 20
    assert page.locator("#outcome .verdict").inner_text().startswith(f"{len(faults)} faults")
    for each in faults:
        said = shop.beside(page, each["path"])
        if each["code"] == "missing-key" and page.locator(shop.at(each["path"])).count():
            assert said == "Empty: still to be measured."
            assert page.locator(shop.at(each["path"])).get_attribute("aria-invalid") == "true"
        else:
            assert each["found"] in said
            assert each["expected"] in said
    assert '"4,6"' in shop.beside(page, "boom.length")
    assert page.locator(".records-now").count() == 0


@pytest.mark.parametrize(("kind", "name", "fits"), [
    ("machine", "crawler-14t", "digging-1500"), ("attachment", "tilt-rotator-1600", "crawler-14t"),
    ("machine", "compact-1t8", ""), ("attachment", "v-bucket-1200", "crawler-14t"),
])  # fmt: skip
def test_a_whole_profile_goes_through_the_sheet(page: Page, kind: str, name: str, fits: str) -> None:
    """Every number of a shipped profile, and every field's dimension is marked on the drawing while it is filled in."""
    shop.opened(page)
    page.locator("#kind").select_option(kind)
    shop.ticked(page, "#measure")
    document = shipped()[kind, name].document
    shop.filled(page, document)
    unmarked = page.evaluate(
        """() => [...document.querySelectorAll("#sheet input[data-path]")].filter((each) => {
          each.focus();
          const path = each.dataset.path;
          const marked = document.querySelector("#sketch .marked");
          return path.includes(".") && !/^(uncertainty|hydraulics)\\./.test(path) && (marked.dataset.path !== path
            || marked.querySelectorAll(".dimension").length === 0 || /NaN/.test(marked.innerHTML)
            || document.querySelectorAll("#sketch .pin.own").length === 0);
        }).map((each) => each.dataset.path)"""
    )
    assert unmarked == []
    page.locator("#fits").select_option(fits)
    page.locator(shop.at("name")).press("Enter")
    page.locator(
        "#outcome .verdict", has_text="No fault, and the two close" if fits else "No fault."
    ).wait_for()
    page.locator("#outcome summary", has_text="text").click()
    assert (
        parse_profile(page.locator("#toml").inner_text()).content_hash == shipped()[kind, name].content_hash
    )


def text_of(page: Page) -> dict[str, Any]:
    """What the sheet says, checked and good."""
    page.locator(shop.at("name")).press("Enter")
    page.locator("#outcome .verdict", has_text="No fault.").wait_for()
    page.locator("#outcome summary", has_text="text").click()
    return tomllib.loads(page.locator("#toml").inner_text())


@pytest.mark.parametrize(("kind", "name"), [
    ("machine", "crawler-14t"), ("machine", "midi-8t"), ("machine", "compact-1t8"), ("attachment", "v-bucket-1200"),
    ("attachment", "tilt-rotator-1600"),
])  # fmt: skip
def test_a_profile_on_record_fills_the_sheet(page: Page, kind: str, name: str) -> None:
    """All of it but its id: a shipped one is nobody's machine."""
    shop.opened(page)
    if kind != "machine":
        page.locator("#kind").select_option(kind)
    page.locator("#load").select_option(name)
    page.get_by_role("button", name="Fill the sheet with it").click()
    room.until(page, f"document.querySelector('#heard').textContent.includes('{name}')")
    shop.ticked(page, "#measure")
    assert page.locator(shop.at("id")).input_value() == ""
    page.locator(shop.at("id")).fill("our-own")
    assert parse_profile(toml(text_of(page))).document == shipped()[kind, name].document | {"id": "our-own"}


def toml(document: dict[str, Any]) -> str:
    return tomlkit.dumps(document)


def test_one_dimension_is_corrected_in_a_calibrated_machine(page: Page, home: str, watch: Watch) -> None:
    """By keys: what a calibration found stays, the next revision follows the one the sheet began with; and where somebody
    else recorded one meanwhile, nothing is written over."""
    watch.expect("status of 412")
    with shop.client(home) as asking:
        added(asking)
        asking.post("/v1/calibrations/applied", revisions(asking) | body())
        before = asking.get(f"/v1/machines/{OURS}")
        shop.opened(page)
        shop.typed(page, "load", f"{before['name']} ({OURS})")
        shop.press(page, "Fill the sheet with it")
        room.until(page, f"document.querySelector('#heard').textContent.includes('{OURS}')")
        assert before["revision"][:12] in page.locator("#from").inner_text()
        shop.steps(page, "#measure")
        shop.typed(page, "f-stick.length", "2507")
        page.keyboard.press("Enter")
        page.locator("#outcome .verdict", has_text="No fault.").wait_for()
        shop.press(page, "Put this machine on record")
        page.locator("#saved .said").wait_for()
        after = asking.get(f"/v1/machines/{OURS}")
        assert after["revision"][:12] in page.locator("#from").inner_text()
        stick = before["document"]["stick"] | {"length": 2507}
        assert after["document"] == before["document"] | {"stick": stick}

        source = after["toml"].replace('source = "', 'source = "Somebody else. ')
        theirs = asking.post("/v1/machines", {"toml": source})
        shop.typed(page, "f-stick.length", "2509")
        page.keyboard.press("Enter")
        page.locator("#outcome .verdict", has_text="No fault.").wait_for()
        shop.press(page, "Put this machine on record")
        page.locator("#trouble li", has_text=theirs["revision"][:12]).wait_for()
        assert asking.get(f"/v1/machines/{OURS}")["revision"] == theirs["revision"]
        assert page.locator(shop.at("stick.length")).input_value() == "2509"


def test_an_id_on_record_is_asked_about(page: Page, home: str) -> None:
    """A sheet begun empty under the id of another machine: asked before it becomes that one's next revision."""
    with shop.client(home) as asking:
        source = shipped()["attachment", "digging-1500"].source_text
        first = asking.post(
            "/v1/attachments", {"toml": source.replace('id = "digging-1500"', 'id = "yard-bucket"')}
        )
        shop.opened(page)
        page.locator("#kind").select_option("attachment")
        shop.ticked(page, "#measure")
        document = dict(shipped()["attachment", "digging-1500"].document)
        shop.filled(page, document | {"id": "yard-bucket", "pins": {"spacing": 421}})
        text_of(page)
        page.get_by_role("button", name="as the next revision of yard-bucket").click()
        assert first["revision"][:12] in page.locator("#outcome .question").inner_text()
        page.get_by_role("button", name="No", exact=True).click()
        assert asking.get("/v1/attachments/yard-bucket")["revision"] == first["revision"]
        shop.confirmed(page, "Put it on record as the next revision of yard-bucket")
        page.locator("#saved .said").wait_for()
        assert asking.get("/v1/attachments/yard-bucket")["document"]["pins"]["spacing"] == 421


def test_what_is_typed_is_not_lost_by_a_press(page: Page) -> None:
    shop.opened(page)
    page.locator(shop.at("name")).fill("Our digger")
    page.get_by_role("button", name="Begin an empty sheet").click()
    page.get_by_role("button", name="No", exact=True).click()
    assert page.locator(shop.at("name")).input_value() == "Our digger"
    page.get_by_role("button", name="Begin an empty sheet").click()
    page.get_by_role("button", name="Yes, let it go").click()
    room.until(page, f"""document.querySelector("{shop.at("name")}").value === ''""")


def test_a_fault_in_a_folded_sensor_is_shown(page: Page) -> None:
    """A sensor folded away has a wrong number: it is unfolded, and the keyboard is there."""
    shop.opened(page)
    page.locator("#load").select_option("crawler-14t")
    page.get_by_role("button", name="Fill the sheet with it").click()
    room.until(page, "document.querySelector('#heard').textContent.includes('crawler-14t')")
    page.locator(shop.at("id")).fill("our-own")
    shop.ticked(page, "#measure")
    page.locator("[id='s-sensors.stick']").click()
    page.locator(shop.at("sensors.stick.noise")).fill("a little")
    page.locator("[id='s-sensors.stick']").click()
    page.locator(shop.at("name")).press("Enter")
    page.locator("#outcome .verdict", has_text="One fault").wait_for()
    assert "a number" in shop.beside(page, "sensors.stick.noise")
    assert page.evaluate("document.activeElement.id") == "f-sensors.stick.noise"
    page.locator(".entry", has=page.locator("[id='s-sensors.stick']")).get_by_role(
        "button", name="Take out"
    ).click()
    assert page.locator(shop.at("sensors.stick.noise")).count() == 0


def test_what_is_held_against_is_told(page: Page) -> None:
    """A bucket whose pins are too far apart for the linkage: the pair's own fault, in words."""
    shop.opened(page)
    page.locator("#kind").select_option("attachment")
    shop.ticked(page, "#measure")
    document = dict(shipped()["attachment", "digging-1500"].document)
    shop.filled(page, document | {"id": "our-bucket", "pins": {"spacing": 1420}})
    page.locator("#fits").select_option("crawler-14t")
    page.locator(shop.at("name")).press("Enter")
    page.locator("#outcome .verdict").wait_for()
    assert (
        "With what it is held against: expected"
        in page.locator("#measure .fault:not(:empty)").first.inner_text()
    )
    page.locator("#fits").select_option("")
    page.locator(shop.at("name")).press("Enter")
    page.locator("#outcome .verdict", has_text="No fault.").wait_for()
    # What is typed after the check is another sheet: it is not recorded unseen.
    page.locator(shop.at("bucket.width")).fill("1400")
    assert page.locator(".records-now").is_disabled()


def test_a_sheet_outlives_the_page(page: Page) -> None:
    """It takes half a day: what was typed is there again, the steps are to be ticked anew."""
    shop.opened(page)
    page.locator(shop.at("name")).fill("Our digger")
    shop.ticked(page, "#measure")
    page.locator(shop.at("stick.length")).fill("2500")
    page.reload()
    page.locator("#measure .steps").wait_for()
    assert page.locator(shop.at("name")).input_value() == "Our digger"
    shop.ticked(page, "#measure")
    assert page.locator(shop.at("stick.length")).input_value() == "2500"


def test_the_error_budget_is_drawn_and_says_what_helps(page: Page) -> None:
    shop.opened(page, "budget")
    budget(page)
    page.locator("#b-tolerance").press("Enter")
    page.locator("#map .map svg").wait_for()
    told = page.request.post("/v1/error-budgets", data={
        "machine": "crawler-14t", "attachment": "digging-1500", "units": "m",
        "attitude_deg": {"pitch": 0, "roll": 0}, "floor_angle_deg": 0,
        "zone": {"reach": {"low": 3, "high": 8}, "depth": {"low": 0, "high": 3}, "columns": 60, "rows": 40},
        "touch": {"reach": 6, "depth": 0}, "tolerance": 0.03,
    }).json()  # fmt: skip
    said = page.locator("#map").inner_text()
    for words in (*told["tolerance"]["words"], *told["assumed"], f"{told['worst']['standard_mm']:.1f} mm"):
        assert words in said
    sources = [[each["part"], f"{each['standard_mm']:.1f} mm"] for each in told["worst"]["sources"]]
    assert shop.told(page, "Single sources") == sources
    figures = sum(len(each) for each in told["sensors"].values())
    assert len(shop.told(page, "Sensors as reckoned with")) == figures
    # Any other place, by its own figures on the map.
    shop.typed(page, "b-at-reach", told["reach_shown"][30])
    shop.typed(page, "b-at-down", told["down_shown"][20])
    shop.press(page, "What is it made of there?")
    page.locator("#one-place .verdict").wait_for()
    assert f"{told['standard_mm'][20][30]:.1f} mm" in page.locator("#one-place .verdict").inner_text()


@pytest.mark.parametrize("page", [View(form="dark")], indirect=True, ids=str)
def test_the_map_turns_with_the_night(page: Page) -> None:
    """No colour of the day's drawing is left, and what was paper is the page's paper."""
    shop.opened(page, "budget")
    budget(page)
    page.locator("#b-tolerance").press("Enter")
    page.locator("#map .map svg").wait_for()
    day = page.evaluate(
        """() => [...document.querySelectorAll("#map svg *")].flatMap((each) => ["fill", "stroke"].flatMap((what) => {
          const own = each.getAttribute(what);
          if (own === null || !own.startsWith("#")) return [];
          const [r, g, b] = [1, 3, 5].map((i) => parseInt(own.slice(i, i + 2), 16));
          return getComputedStyle(each)[what] === `rgb(${r}, ${g}, ${b})` ? [`${each.localName} ${what} ${own}`] : [];
        }))"""
    )
    assert day == []


def test_a_refused_budget_is_told_in_words(page: Page, watch: Any) -> None:
    watch.expect("status of 422", "status of 422")
    shop.opened(page, "budget")
    page.locator("#b-machine").select_option("crawler-14t")
    page.locator("#b-attachment").select_option("digging-1500")
    page.locator("#b-reach_low").press("Enter")
    page.locator("#trouble li").first.wait_for()
    assert "zone, reach, low" in page.locator("#trouble").inner_text()
    assert page.locator("#map svg").count() == 0
