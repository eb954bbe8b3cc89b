"""Free play on the classroom page: every way to move a joint, the numbers, the drawing, the shares, two poses."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest

from . import room
from .view import PHONE, View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page

HALF_A_PIXEL = 0.5
ROUNDED_DEG = 0.0051
"""Angles are kept to a hundredth of a degree."""


def ring(page: Page, joint: str) -> tuple[float, float]:
    """The middle of a ring on the screen."""
    box = page.locator(f".handle[data-joint={joint}]").bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_every_way_to_move_a_joint(page: Page) -> None:
    """Each moves the bucket by what it says, and the readout is the service's for it."""
    room.opened(page)
    row = page.locator(".joint[data-axis=bucket]")
    at = room.angle(page, "bucket")
    room.as_explained(page)

    row.locator("input[type=range]").press("ArrowRight")
    assert room.angle(page, "bucket") == pytest.approx(at + 0.1, abs=ROUNDED_DEG)
    row.get_by_role("button", name="bucket more").click()
    row.get_by_role("button", name="bucket more").click()
    row.get_by_role("button", name="bucket less").click()
    assert room.angle(page, "bucket") == pytest.approx(at + 0.6, abs=ROUNDED_DEG)
    room.as_explained(page)
    row.locator(".degrees").fill("47.25")
    row.locator(".degrees").press("Enter")
    assert room.angle(page, "bucket") == 47.25
    room.as_explained(page)

    handle = page.locator(".handle[data-joint=bucket]")
    for key, degrees in (("ArrowUp", 0.5), ("ArrowLeft", -0.5), ("Shift+ArrowUp", 5.0), ("PageDown", -5.0)):
        before = room.angle(page, "bucket")
        handle.press(key)
        assert room.angle(page, "bucket") == pytest.approx(before + degrees, abs=ROUNDED_DEG), key
    room.as_explained(page)
    assert handle.get_attribute("aria-valuenow") == "47.3"
    assert row.locator(".degrees").input_value() == "47.25"
    assert float(row.locator("input[type=range]").input_value()) == pytest.approx(47.25, abs=0.051)


def test_a_ring_is_dragged_round_its_pin(page: Page) -> None:
    """As far round as the hand went, anticlockwise uncurls; to the degrees of a pixel at the ring."""
    room.opened(page)
    pin = page.locator("#second-sheet circle[data-pin=bucket_pin]").bounding_box()
    assert pin is not None
    middle = pin["x"] + pin["width"] / 2, pin["y"] + pin["height"] / 2
    x, y = ring(page, "bucket")
    radius, bearing = math.hypot(x - middle[0], y - middle[1]), math.atan2(middle[1] - y, x - middle[0])
    before = room.angle(page, "bucket")
    page.mouse.move(x, y)
    page.mouse.down()
    for turned in range(3, 22, 3):
        to = bearing + math.radians(turned)
        page.mouse.move(middle[0] + radius * math.cos(to), middle[1] - radius * math.sin(to))
    page.mouse.up()
    page.mouse.move(5, 5)
    after = room.angle(page, "bucket")
    assert after - before == pytest.approx(21.0, abs=math.degrees(1.0 / radius))
    room.as_explained(page)
    told = room.explained(page)
    assert told["changed"] == ["bucket"]


def test_marks_are_drawn_where_the_service_says(page: Page) -> None:
    """Edge and bucket pin of the second pose, in pixels of the sheet and of the screen."""
    room.opened(page)
    page.locator(".joint[data-axis=boom] .degrees").fill("31.4")
    page.locator(".joint[data-axis=pitch] .degrees").fill("2.5")
    page.keyboard.press("Enter")
    room.settled(page)
    query = "machine=crawler-14t&attachment=digging-1500&units=m"
    window = page.request.get(f"/v1/stances?{query}").json()["windows"]["usual"]
    scale = float(page.locator("#second-sheet svg").get_attribute("data-scale") or "nan")
    width = page.locator("#second-sheet svg").evaluate("(each) => each.viewBox.baseVal.width")
    assert scale * (window["right_m"] - window["left_m"]) == pytest.approx(width, abs=1e-3)
    level = room.posed(page)["points"]["centre"]["level_m"]
    x, y = room.place(page, '[data-point=centre][data-side="1"]')
    assert x == pytest.approx(scale * (level[0] - window["left_m"]), abs=HALF_A_PIXEL)
    assert y == pytest.approx(scale * (window["top_m"] - level[2]), abs=HALF_A_PIXEL)
    seen = page.locator('#second-sheet circle[data-point=centre][data-side="1"]').bounding_box()
    assert seen is not None
    assert ring(page, "bucket") == pytest.approx(
        (seen["x"] + seen["width"] / 2, seen["y"] + seen["height"] / 2), abs=HALF_A_PIXEL
    )


def test_where_a_joint_ends_it_stops_and_says_so(page: Page) -> None:
    room.opened(page)
    handle = page.locator(".handle[data-joint=stick]")
    handle.press("End")
    highest = float(handle.get_attribute("aria-valuemax") or "nan")
    assert room.angle(page, "stick") == highest
    assert not any("end of its range" in said for said in room.heard(page))
    handle.press("ArrowUp")
    assert room.angle(page, "stick") == highest
    assert f"stick is at the end of its range, {highest:g} degrees." in room.heard(page)
    room.as_explained(page)


def test_what_is_no_angle_is_refused_in_words(page: Page) -> None:
    room.opened(page)
    before = room.link(page)
    field = page.locator(".joint[data-axis=boom] .degrees")
    for text in ("abc", "NaN", "1e2", "", "999"):
        field.fill(text)
        field.press("Enter")
        said = page.locator("#trouble").inner_text()
        assert said.startswith(f'"{text}" is no angle of this joint: expected degrees from')
        assert field.get_attribute("aria-invalid") == "true"
        assert room.link(page) == before
    field.fill("30")
    field.press("Enter")
    room.settled(page)
    assert page.locator("#trouble").inner_text() == ""
    assert field.get_attribute("aria-invalid") == "false"


def test_help_opens_in_place_by_keyboard(page: Page) -> None:
    """Every number says what it is, its sign, and where it comes from."""
    room.opened(page)
    rows = page.locator("#readout tbody tr")
    assert rows.count() == 9
    room.tab_to(page, "#readout summary")
    for which in range(rows.count()):
        parts = rows.nth(which).locator("details p")
        assert not parts.first.is_visible()
        assert (
            page.evaluate("document.activeElement.textContent")
            == rows.nth(which).locator("summary").inner_text()
        )
        page.keyboard.press("Enter")
        parts.first.wait_for()
        what, sign, source = parts.all_inner_texts()
        assert len(what) > 10
        assert sign.startswith("Sign: ")
        assert source.startswith("From: ")
        page.keyboard.press("Tab")


def test_shares_walk_from_the_first_number_to_the_second(page: Page) -> None:
    """One bar a factor of the answer, with its name and figure; lengths by one scale; together the change."""
    room.opened(page)
    for axis, degrees in (("boom", "30"), ("stick", "-90"), ("bucket", "50"), ("pitch", "-2")):
        page.locator(f".joint[data-axis={axis}] .degrees").fill(degrees)
    room.unfold(page)
    page.locator("#origin").fill("101.9")
    page.locator("#origin").press("Enter")
    room.settled(page)
    [change] = [each for each in room.explained(page)["changes"] if each["quantity"] == "elevation"]
    shares = change["shares"]
    assert {each["factor"] for each in shares} == {"boom", "stick", "bucket", "pitch", "reference"}
    bars = page.locator("#walk rect")
    told = bars.evaluate_all(
        """(all) => all.map((each) =>
             [each.dataset.share, ...["x", "width"].map((name) => Number(each.getAttribute(name)))])"""
    )
    figures = page.locator("#walk text").all_text_contents()
    assert [name for name, _, _ in told] == [each["words"] for each in shares] + ["together"] == figures[::2]
    sizes = [each["share"]["m"] for each in shares] + [change["change"]["m"]]
    assert [room.bare(each) for each in figures[1::2]] == [each["share"]["shown"] for each in shares] + [
        change["change"]["shown"]
    ]
    zero = float((page.locator("#walk path[stroke-dasharray]").get_attribute("d") or "")[1:].split()[0])
    scale = max(width for _, _, width in told) / max(map(abs, sizes))
    at = zero
    for (name, x, width), size in zip(told, sizes, strict=True):
        begun, ended = (x, x + width) if size > 0 else (x + width, x)
        # Drawn to a tenth of a pixel; what is nearly nothing is drawn a pixel and a half wide.
        assert begun == pytest.approx(zero if name == "together" else at, abs=0.21), name
        assert width == pytest.approx(max(1.5, scale * abs(size)), abs=0.21), name
        if name == "together":
            assert ended == pytest.approx(at, abs=0.21)
        at = ended
    assert page.locator("#why li").first.text_content() == change["words"]
    page.locator("input[name=quantity][value=reach]").check()
    room.settled(page)
    assert (page.locator("#why li").first.text_content() or "").startswith("The reach of the edge centre")


def test_side_by_side_is_at_one_scale(page: Page) -> None:
    room.opened(page)
    page.locator(".joint[data-axis=boom]").get_by_role("button", name="boom more").click()
    page.locator("input[name=drawn][value=beside]").check()
    room.settled(page)
    sheets = page.locator(".drawn svg[data-scale]")
    told = sheets.evaluate_all(
        "(all) => all.map((each) => [each.dataset.scale, each.getAttribute('viewBox'), each.clientWidth])"
    )
    assert len(told) == 2
    assert told[0] == told[1]
    first, second = (
        room.place(page, "[data-point=centre]", sheet) for sheet in ("#first-sheet", "#second-sheet")
    )
    assert first[1] > second[1], "the boom was raised"
    assert page.locator("#first-sheet").inner_text().startswith("First pose")


@pytest.mark.parametrize("page", [View(PHONE)], indirect=True, ids=str)
def test_play_moves_the_linkage_from_first_to_second(page: Page) -> None:
    """It ends at the second pose, draws in between, and idler, power link and cylinder move while the stick stands."""
    room.opened(page)
    page.locator("#tools summary").click()
    page.locator("input[name=look][value=bucket]").check()
    page.locator(".joint[data-axis=bucket] .degrees").fill("30")
    page.keyboard.press("Enter")
    room.settled(page)
    moving, standing = ("idler", "power_link", "bucket_cylinder"), "stick"
    page.evaluate(
        """(names) => { window.ways = []; new MutationObserver(() => window.ways.push([
          document.querySelector("#way-shown").textContent,
          ...names.map((name) =>
            [...document.querySelectorAll(`#second-sheet path[data-bar=${name}]`)].pop().getAttribute("d"))]))
          .observe(document.querySelector("#sheets"), { attributeFilter: ["data-drawn"] }); }""",
        [*moving, standing],
    )
    before = room.drawn(page)
    page.locator("#play").click()
    assert page.locator("#play").inner_text() == "Pause"
    room.until(page, "document.querySelector('#play').textContent !== 'Pause'")
    room.settled(page)
    assert page.locator("#way-shown").inner_text() == "100 %"
    assert page.locator("#way").input_value() == "100"
    ways = page.evaluate("window.ways")
    assert room.drawn(page) - before >= 5
    for which in range(1, 4):
        assert len({each[which] for each in ways}) >= 5, moving[which - 1]
    assert len({each[4] for each in ways}) == 1
    room.as_explained(page)


@pytest.mark.parametrize("page", [View(PHONE, "dark", still=True)], indirect=True, ids=str)
def test_with_reduced_motion_play_goes_by_tenths(page: Page) -> None:
    room.opened(page)
    page.locator(".joint[data-axis=bucket] .degrees").fill("30")
    page.keyboard.press("Enter")
    room.settled(page)
    shown = []
    assert page.locator("#play").inner_text() == "A tenth further"
    for _ in range(11):
        page.locator("#play").click()
        room.settled(page)
        shown.append(page.locator("#way-shown").inner_text())
    assert shown == [f"{tenth} %" for tenth in range(0, 101, 10)]


def test_a_silent_service_leaves_no_old_number(page: Page, watch: Watch) -> None:
    watch.expect("net::ERR_FAILED")
    room.opened(page)
    page.route("**/v1/explanations", lambda route: route.abort())
    more = page.locator(".joint[data-axis=boom]").get_by_role("button", name="boom more")
    more.click()
    room.settled(page)
    assert all(texts == room.NOTHING for texts in room.numbers(page).values())
    assert page.locator("#walk svg").count() == page.locator("#why li").count() == 0
    assert page.locator("#trouble").inner_text().startswith("The service does not answer.")
    page.unroute("**/v1/explanations")
    more.click()
    room.as_explained(page)
    assert page.locator("#trouble").inner_text() == ""


def test_what_is_being_typed_is_not_written_over(page: Page) -> None:
    room.opened(page)
    field = page.locator(".joint[data-axis=bucket] .degrees")
    field.fill("4")
    page.locator(".joint[data-axis=boom] button").first.evaluate("(each) => each.click()")
    room.settled(page)
    assert field.input_value() == "4"
    field.press("End")
    page.keyboard.type("1.5")
    page.keyboard.press("Enter")
    assert room.angle(page, "bucket") == 41.5
    page.locator(".joint[data-axis=bucket] button").first.click()
    assert field.input_value() == "41"
