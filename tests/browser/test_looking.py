"""The helpers of these tests find what they are there to find, in pages made for it; the watch too."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest

from .contrast import colour, contrast, luminance, over, ratio
from .looking import axe, no_overlap, not_sideways, tab_order, targets, words_within
from .view import PHONE, View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

BODY = "<!doctype html><html lang=en><title>Made</title><body style='margin:0;background:#fff;color:#000'>"


def test_the_formula_of_contrast() -> None:
    """Ends and factors: WCAG 2.2. #767676 and #777777: 4.54 and 4.48 to white, from memory."""
    black, white = colour("rgb(0, 0, 0)"), colour("rgb(255, 255, 255)")
    assert ratio(black, white) == pytest.approx(21, rel=1e-12)
    assert ratio(white, white) == 1
    assert luminance(colour("color(srgb 0 1 0)")) == pytest.approx(0.7152, rel=1e-12)
    assert ratio(white, colour("rgb(118, 118, 118)")) == pytest.approx(4.54, abs=0.005)
    assert ratio(white, colour("rgb(119, 119, 119)")) == pytest.approx(4.48, abs=0.005)
    assert over(colour("rgba(0, 0, 0, 0.5)"), white) == (0.5, 0.5, 0.5, 1.0)
    with pytest.raises(ValueError, match="no colour of sRGB"):
        colour("lab(50 0 0)")


POOR = {
    "grey": "<p style='color:#777'>grey",
    "faded": "<p style='opacity:.5'>faded",
    "veil": "<p style='color:#767676'><span style='background:#0001'>on a veil</span>",
    "gradient": "<p style='background-image:linear-gradient(#fff,#000)'>unclear",
    "large": "<p style='font-size:24px;color:#999'>large",
    "bold": "<p style='font-size:18px;font-weight:bold;color:#777'>not yet large",
    "hint": "<style>::placeholder{color:#999}</style><input placeholder=hint>",
    "by night": "<p style='background:#000;color:#555'>dark on dark",
    "drawn on": "<svg width=200 height=50><rect width=200 height=50 fill=#333 pointer-events=none /><text x=9 y=30>on it",
    "drawn thin": "<svg width=200 height=50><text x=9 y=30 fill-opacity=.4>thin",
    "drawn half on": "<div style='height:3000px'></div><svg width=99 height=50><path d='M50 0H99V50H50Z' />"
    "<text x=9 y=30>half of it",
}


@pytest.mark.parametrize("which", POOR)
def test_poor_contrast_is_found(page: Page, which: str) -> None:
    page.set_content(BODY + POOR[which])
    with pytest.raises(AssertionError):
        contrast(page)


def test_good_contrast_is_not(page: Page) -> None:
    page.set_content(
        f"{BODY}<p>plain <b style='color:#767676'>grey</b></p><p style='font-size:24px;color:#777'>large</p>"
        "<p hidden style='color:#fff'>not seen</p><button disabled>off</button>"
        "<svg width=300 height=50><title>told</title><rect width=200 height=50 fill=#333 />"
        "<text x=9 y=30 fill=#fff>in</text>"
        "<path d='M0 50L300 0' fill=none stroke=#000 /><text x=205 y=30 stroke=#fff paint-order=stroke>out</text></svg>"
    )
    below = contrast(page)
    assert len(below) == 2
    assert all(word in told for word, told in zip(("'grey'", "'large'"), below, strict=True))


def test_axe_finds_a_picture_without_words(page: Page) -> None:
    page.set_content(
        f"{BODY}<main><h1>Made</h1><img src='data:image/gif;base64,R0lGODlhAQABAAAAACw='></main>"
    )
    with pytest.raises(AssertionError, match="image-alt"):
        axe(page)


def test_boxes(page: Page) -> None:
    page.set_content(f"{BODY}<div id=a style='height:40px'>a<i>b</i></div><div id=b>b</div>")
    no_overlap(page, ["#a", "#b", "i"])
    with pytest.raises(AssertionError, match="nothing to be seen of #c"):
        no_overlap(page, ["#a", "#c"])
    page.set_content(f"{BODY}<div id=a style='height:40px'>a</div><div id=b style='margin-top:-5px'>b</div>")
    with pytest.raises(AssertionError, match=r"by [\d.]+ x 5 px"):
        no_overlap(page, ["#a", "#b"])
    page.set_content(f"{BODY}<div style='overflow:hidden'><p id=a style='margin-left:-9px'>a</div>")
    with pytest.raises(AssertionError, match="from -9 to"):
        no_overlap(page, ["#a"])
    page.set_content(f"{BODY}<div id=wide style='width:1400px'>a</div>")
    with pytest.raises(AssertionError, match=r"1400 px in a window of 1366 px.*div#wide"):
        not_sideways(page)


def test_small_targets(page: Page) -> None:
    page.set_content(
        f"{BODY}<p>In a <a href='/'>sentence</a>.</p>"
        "<label style='display:inline-block;padding:20px'><input type=checkbox>b</label>"
        "<a href='/' style='display:inline-block;padding:14px 30px'>alone</a>"
    )
    targets(page)
    page.set_content(f"{BODY}<p><a href='/'>alone</a></p><button style='height:43px'>low but wide</button>")
    with pytest.raises(AssertionError, match=r"(?s)a \"alone\".*button \"low but wide\": [\d.]+ x 43 px"):
        targets(page)


CUT = {
    "dots": "overflow:hidden;white-space:nowrap;text-overflow:ellipsis",
    "one line": "white-space:nowrap",
    "low": "height:1em",
    "by what is around": "",
}


@pytest.mark.parametrize("which", CUT)
def test_words_cut_off(page: Page, which: str) -> None:
    words, style = "more words than there is room for", CUT[which]
    around = "" if style else "overflow:clip;height:1em"
    page.set_content(
        f"{BODY}<div style='{around}'><p id=a style='margin:0;width:100px;{style}'>{words}</p></div>"
    )
    with pytest.raises(AssertionError, match="px past"):
        words_within(page, "#a")
    page.set_content(
        f"{BODY}<p id=a style='width:100px;line-height:1'>{words}</p><pre style='overflow:auto;width:9px'>{words}"
    )
    words_within(page, "#a, pre")


def test_words_cut_off_by_their_drawing(page: Page) -> None:
    page.set_content(
        f"{BODY}<svg width=99 height=50><text x=9 y=30>in</text><text id=a x=90 y=30>out of it</text></svg>"
    )
    words_within(page, "text:not(#a)")
    with pytest.raises(AssertionError, match=r"text#a \"out of it\": [\d.]+ px past svg"):
        words_within(page, "#a")


OUTLINE = "<style>:focus-visible{outline:3px solid #000}</style>"


def test_the_order_of_the_keyboard(page: Page) -> None:
    page.set_content(
        f"{BODY}{OUTLINE}<a href='/'>a</a><input type=radio name=r><input type=radio name=r checked id=r>"
        "<button disabled>c</button><a href='/' tabindex=-1>d</a><textarea id=e></textarea>"
        "<svg width=20 height=20><circle r=9 tabindex=0 role=slider aria-label=knob /></svg>"
    )
    assert tab_order(page) == ['a "a"', 'input#r "on"', 'textarea#e ""', 'circle "knob"']


UNREACHED = {
    "order": (f"{OUTLINE}<a href='/'>a</a><button tabindex=2>b</button>", "the Tab key goes to"),
    "no key": (
        f"{OUTLINE}<a href='/'>a</a><div role=button tabindex=0 onfocus='this.blur()'>b</div>",
        r"goes to \['a \"a\"'\]",
    ),
    "no outline": ("<style>*{outline:none}</style><a href='/'>a</a>", "outline none"),
    "thin": ("<style>*{outline:1px solid #000}</style><a href='/'>a</a>", "of 1 px"),
    "dark on dark": (
        "<style>*{outline:3px solid #333}</style><p style='background:#000'><a href='/'>a</a>",
        "contrast 1.6",
    ),
    "pale": ("<style>*{outline:3px solid #ccc}</style><a href='/'>a</a>", "outline of contrast 1.6"),
    "aside": (f"{OUTLINE}<a href='/' style='position:fixed;left:-99px'>a</a>", "outside the window"),
    "no control": (f"{OUTLINE}<p contenteditable>a</p>", "focused, and no control"),
}


@pytest.mark.parametrize("which", UNREACHED)
def test_what_the_keyboard_does_not_reach(page: Page, which: str) -> None:
    made, fault = UNREACHED[which]
    page.set_content(BODY + made)
    with pytest.raises(AssertionError, match=fault):
        tab_order(page)


def test_views_are_what_they_say(look: Callable[[View], Page]) -> None:
    page = look(View(PHONE, "dark", still=True))
    asked = "(prefers-color-scheme: dark) and (prefers-reduced-motion: reduce) and (width: 360px) and (height: 740px)"
    assert page.evaluate("(asked) => matchMedia(asked).matches", asked)
    assert not look(View()).evaluate("matchMedia('(prefers-reduced-motion: reduce)').matches")


def faults_of(browser: Browser, home: str, path: str, script: str, *expected: str) -> list[str]:
    """What the watch says of a script run in a page."""
    watch = Watch(home)
    context = browser.new_context(base_url=home)
    watch.over(context)
    page = context.new_page()
    page.goto(path)
    page.evaluate(script)
    watch.settle(context)
    context.close()
    watch.expect(*expected)
    return watch.faults()


ELSEWHERE = {
    "address": "fetch('http://192.0.2.1/').catch(() => {})",
    "name": "fetch('http://tipdatum.example/').catch(() => {})",
    "socket": "new Promise((done) => { new WebSocket('ws://192.0.2.1/').onerror = done; })",
    "beacon": "navigator.sendBeacon('http://192.0.2.1/')",
    "another port": "fetch('http://127.0.0.1:9/').catch(() => {})",
}


@pytest.mark.parametrize("which", ELSEWHERE)
def test_who_asks_another_address_is_seen(browser: Browser, home: str, which: str) -> None:
    """192.0.2.0/24 is of documentation (RFC 5737), .example of nobody (RFC 2606). Without a policy, and under ours."""
    told = faults_of(browser, home, "about:blank", ELSEWHERE[which])
    assert any(each.startswith("asked another address: ") for each in told), told
    told = faults_of(browser, home, "/sign-in", ELSEWHERE[which])
    assert any("policy violated: connect-src" in each for each in told), told


def test_errors_are_seen(browser: Browser, home: str) -> None:
    assert faults_of(browser, home, "/sign-in", "0") == []
    [told] = faults_of(browser, home, "/sign-in", "console.error('odd')")
    assert told.startswith("odd")
    [told] = faults_of(
        browser, home, "/sign-in", "new Promise((done) => setTimeout(() => { done(); throw Error('odd'); }))"
    )
    assert told == "thrown: odd"
    told = "".join(faults_of(browser, home, "/sign-in", "try { document.body.innerHTML = '<b>'; } catch {}"))
    assert "policy violated: require-trusted-types-for" in told
    told = "".join(faults_of(browser, home, "/guide", "document.body.setAttribute('style', 'color:red')"))
    assert "policy violated: style-src" in told


def test_what_is_expected_must_come(browser: Browser, home: str) -> None:
    asked = "fetch('/v1/none')"
    [told] = faults_of(browser, home, "/sign-in", asked)
    assert "404" in told
    assert f"{home}/v1/none" in told
    assert faults_of(browser, home, "/sign-in", asked, "/v1/none") == []
    assert faults_of(browser, home, "/sign-in", "0", "/v1/none") == ["expected and not told: /v1/none"]
