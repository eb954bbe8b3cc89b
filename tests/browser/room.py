"""The classroom page opened, moved and read, and what the service answers for the same, in few words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit

if TYPE_CHECKING:
    from playwright.sync_api import Page

LEAN = ("pitch", "roll")
LENGTHS = ("elevation", "above_target", "reach", "lateral")
WAIT_MS = 20_000
MINUS = "\N{MINUS SIGN}"
NOTHING = ["\N{EN DASH}"] * 3
_HEARD = """() => { window.heard = []; const at = document.querySelector("#heard");
  new MutationObserver(() => window.heard.push(at.textContent)).observe(at, { childList: true }); }"""


def opened(page: Page, fragment: str = "") -> Page:
    """The page with all of it there; every word it says to a screen reader is kept in `heard`."""
    page.goto(f"/classroom{fragment}")
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    settled(page)
    page.evaluate(_HEARD)
    return page


def settled(page: Page) -> None:
    """Wait until the screen shows what was asked of it last, and no lever turns."""
    page.wait_for_selector("#sheets[aria-busy=false]:not([data-turning=yes])", state="attached")


def until(page: Page, condition: str) -> None:
    """Wait for an expression of the page's; playwright's own way evaluates text, which the page's policy forbids."""
    page.evaluate(
        f"""() => new Promise((done, fail) => {{
          const end = performance.now() + {WAIT_MS};
          const look = () => {{
            if ({condition}) done();
            else if (performance.now() > end) fail(new Error("not within {WAIT_MS} ms"));
            else setTimeout(look, 10);
          }};
          look();
        }})"""
    )


def heard(page: Page) -> list[str]:
    """All that was told to a screen reader since the page was opened."""
    said: list[str] = page.evaluate("window.heard")
    return said


def mode(page: Page, name: str) -> None:
    page.locator(f".mode[data-mode={name}]").click()


def unfold(page: Page) -> None:
    """Open all that is folded on the side of the drawing."""
    page.locator(".stage details:not([open]) > summary").evaluate_all(
        "(all) => all.forEach((each) => each.click())"
    )


def tab_to(page: Page, selector: str) -> None:
    """By the Tab key alone, to the first that is reached."""
    for _ in range(99):
        page.keyboard.press("Tab")
        if page.evaluate("(selector) => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"the Tab key does not reach {selector}")


def link(page: Page) -> str:
    """The fragment of the link to just this."""
    page.locator("#copy").evaluate("(each) => each.click()")
    return "#" + urlsplit(page.locator("#link").input_value()).fragment


def request_of(fragment: str) -> dict[str, Any]:
    """What a link says, as POST /v1/explanations takes it."""
    told = {name: only for name, [only] in parse_qs(fragment[1:], strict_parsing=True).items()}
    pair = {name: told[name] for name in ("machine", "attachment", "units")}
    return pair | {"sides": [_side(told[which], told["units"]) for which in ("first", "second")]}


def _side(text: str, units: str) -> dict[str, Any]:
    told = dict(part.split(":", 1) for part in text.split(","))
    point = told.pop("point")
    lengths: dict[str, Any] = {
        f"{name}_elevation": told[name] if units == "ftin" else float(told[name])
        for name in ("origin", "target")
        if name in told
    }
    angles = {name: float(value) for name, value in told.items() if name not in ("origin", "target")}
    return lengths | {
        "angles_deg": {name: value for name, value in angles.items() if name not in LEAN},
        "attitude_deg": {name: angles[name] for name in LEAN},
        "edge_point": point,
    }


def angle(page: Page, joint: str) -> float:
    """Degrees of a joint of the second pose, by the link."""
    degrees: float = request_of(link(page))["sides"][1]["angles_deg"][joint]
    return degrees


def answer(page: Page, path: str, body: dict[str, Any]) -> Any:
    """What the service says, asked beside the page."""
    told = page.request.post(path, data=body)
    assert told.ok, told.text()
    return told.json()


def explained(page: Page) -> Any:
    """The service's explanation of the two poses of the link."""
    return answer(page, "/v1/explanations", request_of(link(page)))["whole"]


def posed(page: Page) -> Any:
    """The service's answer for the second pose of the link."""
    asked = request_of(link(page))
    [_, side] = asked.pop("sides")
    return answer(page, "/v1/poses", asked | {name: side[name] for name in ("angles_deg", "attitude_deg")})


def numbers(page: Page) -> dict[str, list[str]]:
    """The readout: by quantity, the words of first, second and change."""
    told: dict[str, list[str]] = page.locator("#readout tbody").evaluate(
        """(body) => Object.fromEntries([...body.rows].map((row) =>
             [row.dataset.quantity, [...row.querySelectorAll("td")].map((cell) => cell.textContent)]))"""
    )
    return told


def bare(text: str) -> str:
    """A figure as the service writes it: a plain minus, no plus."""
    return text.replace(MINUS, "-").removeprefix("+")


def as_explained(page: Page) -> None:
    """The readout is what the service says of the poses of the link, all of its rows."""
    settled(page)
    told, pose, shown = explained(page), posed(page), numbers(page)
    changes = {each["quantity"]: each for each in told["changes"] if each["quantity"] in LENGTHS}
    assert [name for name in shown if name in LENGTHS] == [name for name in LENGTHS if name in changes]
    for name, change in changes.items():
        before, after, changed = shown[name]
        if name == "above_target":
            assert [before, after] == [cut_word(change[when]) for when in ("before", "after")]
        else:
            assert [before, after] == [change["before"]["shown"], change["after"]["shown"]]
        assert bare(changed) == change["change"]["shown"], name
        if any(figure in changed for figure in "123456789"):
            assert changed[0] == ("+" if change["change"]["m"] > 0 else MINUS), name
    slope = told["cross_slope"]
    for text, which in zip(shown["cross_slope"], ("before", "after", "change"), strict=True):
        # Shown to a tenth.
        assert abs(float(bare(text).removesuffix(" %")) - slope[f"{which}_percent"]) <= 0.0501
    assert shown["floor"][1] == f"{pose['floor_angle_deg']:.1f}°"
    if pose["linkage"] is not None:
        assert abs(float(shown["ratio"][1]) - pose["linkage"]["ratio"]) <= 0.00501
        assert shown["cylinder"][1] == f"{pose['cylinders_mm']['bucket']:.0f} mm"


def cut_word(length: dict[str, Any]) -> str:
    """How cut or fill is told."""
    size = length["shown"].replace("-", "")
    if not any(figure in size for figure in "123456789"):
        return "ON GRADE"
    return f"{'CUT' if length['m'] > 0 else 'FILL'} {size}"


def drawn(page: Page) -> int:
    """How often the drawing was drawn."""
    return int(page.locator("#sheets").get_attribute("data-drawn") or "0")


def place(page: Page, mark: str, sheet: str = "#second-sheet") -> tuple[float, float]:
    """Where a mark is drawn, pixels of its sheet: `[data-point=centre][data-side="1"]`."""
    circle = page.locator(f"{sheet} circle{mark}")
    return float(circle.get_attribute("cx") or "nan"), float(circle.get_attribute("cy") or "nan")


def course(page: Page, which: str, kind: str = "bar") -> str:
    """The way of a line of the second pose's sheet; of two poses that of the last."""
    return page.locator(f"#second-sheet path[data-{kind}={which}]").last.get_attribute("d") or ""
