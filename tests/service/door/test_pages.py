"""The guide and the interactive documentation: whole without internet, each with no more than it needs of a browser."""

import ast
import asyncio
import re
from base64 import b64encode
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest

from service.pages import render
from service.problem_table import TABLE

from .making import Door

ROOT = Path(__file__).parents[3]
GUIDE = ROOT / "service" / "guide"
PAGES = sorted(path.stem for path in GUIDE.glob("*.md"))
# Where codes come from that an answer can hold, and the words that are codes of refusals.
SOURCES = [
    *(path for room in ("access", "api", "book") for path in sorted((ROOT / "service" / room).glob("*.py"))),
    *sorted((ROOT / "machine_profiles").rglob("*.py")), ROOT / "service" / "text.py", ROOT / "service" / "problems.py",
    *(path for path in sorted((ROOT / "kinematics").glob("*.py")) if path.name not in {"levelbook.py", "units.py"}),
]  # fmt: skip


class Links(HTMLParser):
    """Addresses and ids of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.pictures: list[tuple[str, str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}
        if tag == "img":
            given = dict(attrs)
            self.pictures.append((given.get("src") or "", given.get("alt") or ""))
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


@pytest.mark.parametrize("path", ["/", "/docs", "/guide", "/sign-in", *(f"/guide/{name}" for name in PAGES)])
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


def policy_of(answer: httpx.Response) -> dict[str, str]:
    """Directives of the one content policy of an answer."""
    [text] = answer.headers.get_list("content-security-policy")
    parts = [part.strip().partition(" ") for part in text.split(";")]
    assert len({name for name, _, _ in parts}) == len(parts)
    return {name: value for name, _, value in parts}


SHUT = dict.fromkeys(("default-src", "base-uri", "form-action", "frame-ancestors"), "'none'")


@pytest.mark.parametrize("path", ["/docs", "/docs/oauth2-redirect"])
def test_the_documentation_runs_its_own_script_alone(door: Door, path: str) -> None:
    answer = door.ask("GET", path)
    [script] = re.findall(r"<script>(.*?)</script>", answer.text, re.DOTALL)
    digest = b64encode(sha256(script.encode()).digest()).decode()
    assert policy_of(answer) == SHUT | {
        "script-src": f"'self' 'sha256-{digest}'", "connect-src": "'self'", "style-src": "'self'",
        "img-src": "'self' data:",
    }  # fmt: skip


@pytest.mark.parametrize(
    "path", ["/", "/guide/cautions", "/guide/none", "/page/ink.css", "/docs/x", "/v2", "/v1x"]
)
def test_our_own_pages_may_only_be_looked_at(door: Door, path: str) -> None:
    assert policy_of(door.ask("GET", path)) == SHUT | {"style-src": "'self'", "img-src": "'self'"}


def test_only_the_page_for_signing_in_asks_the_service(door: Door) -> None:
    assert policy_of(door.ask("GET", "/sign-in")) == SHUT | {
        "script-src": "'self'", "connect-src": "'self'", "style-src": "'self'", "img-src": "'self'",
        "require-trusted-types-for": "'script'", "trusted-types": "'none'",
    }  # fmt: skip


@pytest.mark.parametrize("path", ["/v1", "/v1/version", "/v1/none"])
def test_answers_of_routes_are_no_pages(door: Door, path: str) -> None:
    answer = door.ask("GET", path)
    assert policy_of(answer) == {"default-src": "'none'", "frame-ancestors": "'none'"}
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/", "/docs", "/sign-in", "/v1/version", "/v1/none", "/page/ink.css"])
def test_what_every_answer_forbids(door: Door, path: str) -> None:
    headers = door.ask("GET", path).headers
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    for what in ("camera", "microphone", "geolocation"):
        assert f"{what}=()" in headers["permissions-policy"]


@pytest.mark.parametrize("path", ["/", "/docs", "/sign-in", "/v1/none", "/page/none"])
@pytest.mark.parametrize(("scheme", "kept"), [("http", None), ("https", "max-age=31536000")])
def test_once_over_tls_always_over_tls(door: Door, path: str, scheme: str, kept: str | None) -> None:
    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(door.app), base_url=f"{scheme}://127.0.0.1:8311"
        ) as client:
            return await client.get(path)

    assert asyncio.run(ask()).headers.get("strict-transport-security") == kept


def test_its_parts_come_with_the_package(door: Door) -> None:
    for name, least in (("swagger-ui-bundle.js", 500_000), ("swagger-ui.css", 50_000)):
        assert len(door.ask("GET", f"/static-offline-docs/{name}").content) > least


@pytest.mark.parametrize("path", ["/", "/guide", *(f"/guide/{name}" for name in PAGES)])
def test_our_own_pages_have_no_script(door: Door, path: str) -> None:
    links = Links(page(door, path))
    assert not links.tags & {"script", "style", "iframe", "form", "object"}
    for source, words in links.pictures:
        assert source.startswith("/guide/figures/"), source
        assert len(words.split()) > 5, "a picture that says nothing to who cannot see it"
    assert not {name for name in links.attributes if name == "style" or name.startswith("on")}
    assert len(links.ids) == len(set(links.ids)), "two headings of one name"
    assert "script-src" not in policy_of(door.ask("GET", path))


@pytest.mark.parametrize(
    ("name", "kind"),
    [("ink.css", "text/css; charset=utf-8"), ("sign-in.js", "text/javascript; charset=utf-8"),
     ("icon.svg", "image/svg+xml")],
)  # fmt: skip
def test_files_of_the_pages(door: Door, name: str, kind: str) -> None:
    answer = door.ask("GET", f"/page/{name}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == kind
    assert answer.content == (ROOT / "service" / "page" / name).read_bytes()
    assert "http://" not in answer.text.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in answer.text


def test_all_pages_together_are_light() -> None:
    """600 kB for a link at the edge of a field: everything that pages load, uncompressed."""
    every = sum(each.stat().st_size for each in (ROOT / "service" / "page").iterdir())
    assert 100_000 < every < 600_000


@pytest.mark.parametrize("path", ["/page/ink.css", "/page/sign-in.js", "/sign-in", "/guide/cautions", "/"])
def test_an_upgrade_is_seen_and_nothing_is_sent_twice(door: Door, path: str) -> None:
    answer = door.ask("GET", path)
    tag = answer.headers["etag"]
    assert answer.headers["cache-control"] == "no-cache"
    assert "set-cookie" not in answer.headers
    for known in (tag, f"W/{tag}", f'"x", {tag}'):
        again = door.ask("GET", path, headers={"if-none-match": known})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert door.ask("GET", path, headers={"if-none-match": '"x"'}).content == answer.content


@pytest.mark.parametrize(
    "path", ["/page/ink.css", "/page/sign-in.js", "/sign-in", "/guide/cautions", "/", "/guide"]
)
def test_heads_are_told(door: Door, path: str) -> None:
    whole, head = door.ask("GET", path), door.ask("HEAD", path)
    assert head.status_code == 200
    for name in ("content-type", "content-length", "etag", "cache-control", "content-security-policy"):
        assert head.headers[name] == whole.headers[name]


@pytest.mark.parametrize(
    "name",
    ["x.css", "sign-in.html", "ink.css/", "Ink.css", "..%2fapp.py", "%2e%2e%2fpage%2fink.css", "..%5capp.py",
     "%2fetc%2fpasswd", "/etc/passwd", "ink.css%00", "ink.css%0a", "../page/x", "./x", ".", ""],
)  # fmt: skip
def test_no_other_file_is_served(door: Door, name: str) -> None:
    answer = door.ask("GET", f"/page/{name}")
    assert answer.status_code == 404
    assert answer.json()["type"] == "/guide/problems#not-found"


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
@pytest.mark.parametrize("path", ["/page/ink.css", "/sign-in"])
def test_files_are_only_read(door: Door, method: str, path: str) -> None:
    assert door.ask(method, path).status_code == 405


@pytest.mark.parametrize("name", ["net.svg", "footing.svg"])
def test_figures_of_the_guide(door: Door, name: str) -> None:
    answer = door.ask("GET", f"/guide/figures/{name}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.content == (GUIDE / "figures" / name).read_bytes()
    assert answer.text.replace("http://www.w3.org/2000/svg", "").count("://") == 0
    assert "<script" not in answer.text


@pytest.mark.parametrize(
    "name", ["none.svg", "..%2fnotebook.md", "net.png", "Net.svg", "net.svg%00", "net.svg/", ""]
)
def test_no_other_figure_is_served(door: Door, name: str) -> None:
    assert door.ask("GET", f"/guide/figures/{name}").status_code == 404


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
    makers = {"Fault", "ProfileFault", "fault", "_fault", "_whole", "_about", "_nobody"}
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
    assert '<link rel="stylesheet" href="/page/ink.css">' in page(door, "/guide/cautions")
    text = door.ask("GET", "/page/ink.css").text
    assert "prefers-color-scheme:dark" in text
    assert "max-width:70ch" in text


def test_read_in_the_sun_and_at_night(door: Door) -> None:
    """WCAG 2.2: 7 to 1 for text (1.4.6, AAA), 3 to 1 for what only parts things (1.4.11)."""
    text = door.ask("GET", "/page/ink.css").text
    inks = [
        dict(re.findall(r"--(\w+):(#[0-9a-f]{6})", palette))
        for palette in re.findall(r":root[^{]*\{(--ink[^}]+)\}", text)
    ]
    assert [each["paper"] for each in inks] == ["#f6f3ea", "#16150f", "#16150f"], (
        "day, night, and night asked for"
    )
    assert inks[1] == inks[2]
    for each in inks:
        for name, least in (("ink", 7.0), ("accent", 7.0), ("rule", 3.0)):
            ratio = contrast(each[name], each["paper"])
            assert ratio >= least, name
    assert re.findall(r"#[0-9a-f]{3,8}", text.split("*{", 1)[1]) == [], "a colour beside the palette"


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours "#rrggbb", 1 to 21; WCAG 2.2, definition of contrast ratio."""
    darker, lighter = sorted(luminance(each) for each in (one, other))
    return (lighter + 0.05) / (darker + 0.05)


def luminance(colour: str) -> float:
    """Relative luminance, 0 to 1; WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_black_on_white_is_21_to_1() -> None:
    """The scale's end as WCAG 2.2 has it."""
    assert abs(contrast("#000000", "#ffffff") - 21.0) < 1e-12


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
