"""The printable page: whole by itself, and nothing in a text can act."""

import re
from base64 import b64encode
from hashlib import sha256
from html.parser import HTMLParser

import pytest

from service.paper.document import Table
from service.paper.page import STYLE, STYLE_HASH, as_html

from .making import document

NASTY = (
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "</title><svg/onload=alert(1)>", "' onmouseover='x",
    "</style><b>", "&lt;b&gt;", "javascript:alert(1)", "<!--", "]]>", "\x3c\x2ftd\x3e",
)  # fmt: skip
ALLOWED = {
    "html", "head", "meta", "title", "style", "body", "main", "h1", "h2", "p", "dl", "dt", "dd", "bdi", "div", "table",
    "caption", "thead", "tbody", "tr", "th", "td", "figure", "img", "figcaption", "b", "span", "section", "ul", "li",
    "footer",
}  # fmt: skip


class Elements(HTMLParser):
    """Tags, their attributes, and all text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.text: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@pytest.mark.parametrize("name", NASTY)
def test_names_are_inert(name: str) -> None:
    plain, found = Elements(as_html(document())), Elements(as_html(document(name)))
    assert found.tags == plain.tags
    assert set(found.tags) <= ALLOWED
    assert [n for n, _ in found.attributes] == [n for n, _ in plain.attributes]
    assert not any(n.startswith("on") or n in {"style", "href"} for n, _ in found.attributes)
    assert all(value.startswith("data:image/svg+xml;base64,") for n, value in found.attributes if n == "src")
    # Everywhere where it was put, as it was given: the title, facts, parts, cautions and footer.
    assert sum(name in each for each in found.text) >= 15


def test_nothing_is_asked_for_elsewhere() -> None:
    page = as_html(document())
    assert not re.search(
        r"https?:|url\(|@import|<script|<link", page.replace("http://www.w3.org/2000/svg", "")
    )
    assert f"<style>{STYLE}</style>" in page
    assert "sha256-" + b64encode(sha256(STYLE.encode()).digest()).decode() == STYLE_HASH


@pytest.mark.parametrize("name", ["水泵房", "مضخة القرية", "насосна", "Ω ½ é", "a\u0301", "घर"])
def test_letters_of_any_script_stay(name: str) -> None:
    assert as_html(document(name)).count(name) >= 15


@pytest.mark.parametrize(
    ("name", "told"), [("a\u202eb", "a[U+202E]b"), ("a\u2066b", "a[U+2066]b"), ("a\x07b", "a[U+0007]b")]
)
def test_what_hides_or_turns_is_shown(name: str, told: str) -> None:
    page = as_html(document(name))
    assert name not in page
    assert page.count(told) >= 15


def test_state_is_told_by_word_and_frame() -> None:
    page = as_html(document())
    for kind in ('class="verdict"', 'class="verdict not"', 'class="verdict open"'):
        assert kind in page
    assert "color:#000" in STYLE
    assert not re.search(r"red|green|#[0-9a-f]*(?:f00|0f0)\b", STYLE.replace("rendered", ""))


def test_a_table_says_what_is_wrong_with_it() -> None:
    with pytest.raises(ValueError, match="expected 2 columns"):
        Table(("a", "b"), (("1",),))
    with pytest.raises(ValueError, match="expected 2 columns"):
        Table(("a", "b"), (), ("left",))
    assert Table(("a", "b"), ()).aligned(1) == "left"
