"""The guide and the interactive documentation: whole without internet, without script of our own."""

import ast
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from service.pages import render
from service.problems import TABLE

from .making import Door

ROOT = Path(__file__).parents[3]
GUIDE = ROOT / "service" / "guide"
PAGES = sorted(path.stem for path in GUIDE.glob("*.md"))
# Where codes come from that an answer can hold, and the words that are codes of refusals.
SOURCES = [
    *sorted((ROOT / "service" / "book").glob("*.py")), *sorted((ROOT / "service" / "api").glob("*.py")),
    *sorted((ROOT / "machine_profiles").glob("*.py")), ROOT / "service" / "text.py", ROOT / "service" / "problems.py",
    *(path for path in sorted((ROOT / "kinematics").glob("*.py")) if path.name not in {"levelbook.py", "units.py"}),
]  # fmt: skip


class Links(HTMLParser):
    """Addresses and ids of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        for name, value in attrs:
            if name in {"src", "href", "action", "data", "srcset", "poster"} and value is not None:
                self.addresses.append(value)
            if name == "id" and value is not None:
                self.ids.append(value)


def page(door: Door, path: str) -> str:
    answer = door.ask("GET", path)
    assert answer.status_code == 200, path
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    return answer.text


@pytest.mark.parametrize("path", ["/", "/docs", "/guide", *(f"/guide/{name}" for name in PAGES)])
def test_no_page_leaves_this_machine(door: Door, path: str) -> None:
    """Every address of a page is here, and what it loads or links to is there."""
    for address in Links(page(door, path)).addresses:
        parts = urlsplit(address)
        assert not parts.scheme, address
        assert not parts.netloc, address
        assert not address.startswith("//")
        if parts.path:
            assert door.ask("GET", parts.path).status_code == 200, address
        if parts.fragment:
            assert parts.fragment in Links(page(door, parts.path or path)).ids, address


def test_the_documentation_page_names_no_other_host(door: Door) -> None:
    text = page(door, "/docs")
    assert re.findall(r"(?:https?:)?//[a-z0-9.-]+\.[a-z]{2,}", text) == []
    assert '"validatorUrl": null' in text
    assert door.ask("GET", "/openapi.json").status_code == 200
    assert door.ask("GET", "/redoc").status_code == 404
    policy = door.ask("GET", "/docs").headers["content-security-policy"]
    assert "connect-src 'self'" in policy


def test_its_parts_come_with_the_package(door: Door) -> None:
    for name, least in (("swagger-ui-bundle.js", 500_000), ("swagger-ui.css", 50_000)):
        assert len(door.ask("GET", f"/static-offline-docs/{name}").content) > least


@pytest.mark.parametrize("path", ["/", "/guide", *(f"/guide/{name}" for name in PAGES)])
def test_our_own_pages_have_no_script(door: Door, path: str) -> None:
    links = Links(page(door, path))
    assert not links.tags & {"script", "iframe", "form", "img", "object"}
    assert len(links.ids) == len(set(links.ids)), "two headings of one name"
    assert "script-src" not in door.ask("GET", path).headers["content-security-policy"]


def test_the_index_lists_every_page(door: Door) -> None:
    listed = {address.removeprefix("/guide/") for address in Links(page(door, "/guide")).addresses}
    assert set(PAGES) - {"index", "front"} <= listed


@pytest.mark.parametrize(
    "name",
    ["x", "..%2fapp", "%2e%2e%2fapp.py", "cautions.md", "cautions/", "/etc/passwd", "%2fetc%2fpasswd", "Cautions",
     "cautions%00", "cautions%0a", "..%5capp", "problems/../cautions/x", ""],
)  # fmt: skip
def test_no_way_out_of_the_guide(door: Door, name: str) -> None:
    answer = door.ask("GET", f"/guide/{name}")
    assert answer.status_code == 404
    assert answer.json()["type"] == "/guide/problems#not-found"


def test_every_problem_has_its_heading(door: Door) -> None:
    ids = Links(page(door, "/guide/problems")).ids
    assert set(TABLE) - set(ids) == set()


def test_every_code_has_its_heading(door: Door) -> None:
    ids = Links(page(door, "/guide/problems")).ids
    codes = {code for source in SOURCES for code in codes_in(source)}
    assert len(codes) > 50, "the sources were not found"
    assert codes - set(ids) == set()


def codes_in(source: Path) -> set[str]:
    """First words of calls that make a fault."""
    makers = {"Fault", "ProfileFault", "fault", "_fault", "_whole", "_about"}
    return {
        node.args[0].value
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in makers
        and node.args and isinstance(node.args[0], ast.Constant) and isinstance(node.args[0].value, str)
    }  # fmt: skip


def test_what_the_guide_writes_is_text() -> None:
    """Markdown's own way to smuggle markup is shut."""
    title, html = render("# A <b>\n\n<script>x</script> [a](javascript:x)\n\n| a |\n|---|\n| b |\n")
    assert title == "A <b>"
    assert "<script>" not in html
    assert 'href="javascript' not in html
    assert "<td>b</td>" in html
    assert '<h1 id="a-b">' in html


def test_ink_on_paper(door: Door) -> None:
    text = page(door, "/guide/cautions")
    assert "#1b1a17" in text
    assert "#f6f3ea" in text
    assert "prefers-color-scheme:dark" in text
    assert "max-width:70ch" in text


@pytest.mark.parametrize(
    "clause", [".652(a)(1)", ".651(j)(2)", ".651(c)(2)", ".651(k)", ".651(i)", "R403.1.4"]
)
def test_a_clause_from_memory_says_so(clause: str) -> None:
    paragraphs = re.split(r"\n\n|\n- ", (GUIDE / "cautions.md").read_text(encoding="utf-8"))
    naming = [text for text in paragraphs if clause in text]
    assert naming
    assert all("from memory" in text for text in naming)


def test_health_and_version(door: Door) -> None:
    assert door.ask("GET", "/v1/health").json() == {"status": "good"}
    assert re.fullmatch(r"[0-9]+\.[0-9]+\.[0-9]+.*", door.ask("GET", "/v1/version").json()["version"])
