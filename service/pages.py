"""The guide, and the pages with scripts (sign-in, seat, classroom, workshop): packaged text, readable in the sun."""

import re
from dataclasses import dataclass
from functools import lru_cache, partial
from hashlib import sha256
from html import escape
from importlib.resources import files
from importlib.resources.abc import Traversable
from itertools import pairwise

from fastapi import APIRouter, Request, Response
from markdown_it import MarkdownIt
from markdown_it.token import Token

from .problems import Problem

router = APIRouter(include_in_schema=False)

_NAV = (
    ("/", "tipdatum"),
    ("/guide", "Guide"),
    ("/seat", "At the seat"),
    ("/classroom", "Classroom"),
    ("/workshop", "Workshop"),
    ("/guide/cautions", "Cautions"),
    ("/docs", "Routes"),
    ("/sign-in", "Sign in"),
)
_PAGE = re.compile(r"[a-z]{1,60}")
_FIGURE = re.compile(r"[a-z]{1,60}\.svg")
# What pages load; nothing else in the folder can be asked for.
_FILES = {
    **{f"{name}.css": "text/css" for name in ("ink", "classroom", "seat", "workshop")}, "icon.svg": "image/svg+xml",
    **{f"{name}.js": "text/javascript" for name in (
        "ask", "class-list", "classroom", "desk", "digging", "elements", "exercise", "form", "joints", "lessons",
        "numbers", "readout", "recording", "replay", "sign-in", "stage", "state", "svg", "words", "workshop",
        *(f"seat{part}" for part in (
            "", "-book", "-cautions", "-changed", "-clock", "-fields", "-figures", "-leaf", "-marks", "-records", "-rod",
            "-section", "-sending", "-setup", "-sheet", "-slip", "-staff", "-stream", "-tone", "-undo", "-waiting",
            "-words",
        )),
        *(f"shop-{part}" for part in (
            "accept", "bench", "budget", "calibrate", "fields", "found", "moves", "observe", "pulse", "schema",
            "sensors", "sheet", "sketch", "sketch-plan", "stand", "toml", "words", "zeros",
        )),
    )},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ready:
    """A page or file as it stands in this release; the package does not change under a running service."""

    content: bytes
    media_type: str

    def answer(self, request: Request) -> Response:
        """All of it, or 304 where the browser has it already; asked for each time, so that an upgrade is seen."""
        tag = f'"{sha256(self.content).hexdigest()[:32]}"'
        known = [
            each.strip().removeprefix("W/") for each in request.headers.get("if-none-match", "").split(",")
        ]
        headers = {"etag": tag, "cache-control": "no-cache"}
        if tag in known:
            return Response(status_code=304, headers=headers)
        return Response(self.content, headers=headers, media_type=self.media_type)


def page(title: str, body: str, script: str = "", *styles: str, links_last: bool = False) -> str:
    """A whole page; `script` and `styles`: the addresses of its script, and of styles of its own that make it broad;
    `links_last`: other pages are listed at its end."""
    loaded = f'<script type="module" src="{script}"></script>' if script else ""
    styled = "".join(f'<link rel="stylesheet" href="{style}">' for style in styles)
    body_as = '<body class="broad">' if styles else "<body>"
    links = "".join(f'<a href="{where}">{text}</a>' for where, text in _NAV)
    parts = [f'<nav aria-label="Pages">{links}</nav>', f"<main>{body}</main>"]
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}{'' if title == 'tipdatum' else ' - tipdatum'}</title>"
        '<link rel="stylesheet" href="/page/ink.css"><link rel="icon" href="/page/icon.svg">'
        f"{styled}{loaded}</head>"
        f"{body_as}{''.join(reversed(parts) if links_last else parts)}</body></html>"
    )


def render(text: str) -> tuple[str, str]:
    """(title, HTML) of a guide page; every heading has an id, so that /guide/problems#no-setup works."""
    markdown = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = markdown.parse(text)
    title = "Guide"
    for opening, inline in pairwise(tokens):
        if opening.type == "heading_open":
            opening.attrSet("id", _anchor(inline))
            if opening.tag == "h1":
                title = inline.content
    html = str(markdown.renderer.render(tokens, markdown.options, {}))
    # A wide table or code block scrolls by itself; the keyboard must reach it, and who hears it tell two tables apart.
    first, *tables = html.split("<table>")
    for number, table in enumerate(tables, 1):
        label = f'<div class="wide" role="region" aria-label="Table {number}" tabindex="0"><table>'
        first += label + table.replace("</table>", "</table></div>")
    html = first
    return title, html.replace("<pre>", '<pre tabindex="0">')


def _anchor(inline: Token) -> str:
    return re.sub(r"[^a-z0-9]+", "-", inline.content.lower()).strip("-")


def guide_text(name: str) -> str | None:
    """The Markdown of a guide page, None if there is none. A name is letters only, so that it leads nowhere else."""
    if not _PAGE.fullmatch(name):
        return None
    source = _packaged("guide", f"{name}.md")
    return source.read_text(encoding="utf-8") if source.is_file() else None


_get = partial(router.api_route, methods=["GET", "HEAD"])


@_get("/")
def front(request: Request) -> Response:
    """What this is."""
    return _guide_page("front", request)


@_get("/guide")
def index(request: Request) -> Response:
    """The list of guide pages."""
    return _guide_page("index", request)


@_get("/guide/{name}")
def guide(name: str, request: Request) -> Response:
    """One guide page."""
    return _guide_page(name, request)


@_get("/guide/figures/{name}")
def figure(name: str, request: Request) -> Response:
    """One of the figures of the guide, as its examples make them."""
    found = _figure(name) if _FIGURE.fullmatch(name) else None
    if found is None:
        raise Problem("not-found", detail="The guide has no such figure.")
    return found.answer(request)


@_get("/sign-in")
def sign_in(request: Request) -> Response:
    """Where a page is signed in with a token, and out; the same text for everybody."""
    return _sign_in().answer(request)


@_get("/classroom")
def classroom(request: Request) -> Response:
    """Where one learns why the number changes; the same text for everybody."""
    return _classroom().answer(request)


@_get("/seat")
def seat(request: Request) -> Response:
    """One job's live readout at the levers, and records on it; the same text for everybody."""
    return _seat().answer(request)


@_get("/workshop")
def workshop(request: Request) -> Response:
    """Where a machine is measured, its sensors are fitted and the readout is proven; the same text for everybody."""
    return _workshop().answer(request)


@_get("/page/{name}")
def file(name: str, request: Request) -> Response:
    """One of the files that pages load."""
    if name not in _FILES:
        raise Problem("not-found", detail=f"Pages have no such file; they load {', '.join(_FILES)}.")
    return _file(name).answer(request)


@lru_cache(maxsize=1)
def _sign_in() -> Ready:
    body = _packaged("page", "sign-in.html").read_text(encoding="utf-8")
    return _html(page("Sign in", body, "/page/sign-in.js"))


@lru_cache(maxsize=1)
def _classroom() -> Ready:
    body = _packaged("page", "classroom.html").read_text(encoding="utf-8")
    return _html(page("Classroom", body, "/page/classroom.js", "/page/classroom.css"))


@lru_cache(maxsize=1)
def _seat() -> Ready:
    body = _packaged("page", "seat.html").read_text(encoding="utf-8")
    return _html(page("At the seat", body, "/page/seat.js", "/page/seat.css", links_last=True))


@lru_cache(maxsize=1)
def _workshop() -> Ready:
    body = _packaged("page", "workshop.html").read_text(encoding="utf-8")
    return _html(page("Workshop", body, "/page/workshop.js", "/page/classroom.css", "/page/workshop.css"))


@lru_cache(maxsize=32)
def _figure(name: str) -> Ready | None:
    source = _packaged("guide", "figures", name)
    return Ready(source.read_bytes(), "image/svg+xml") if source.is_file() else None


@lru_cache(maxsize=len(_FILES))
def _file(name: str) -> Ready:
    return Ready(_packaged("page", name).read_bytes(), _FILES[name])


@lru_cache(maxsize=32)
def _written(name: str) -> Ready | None:
    text = guide_text(name)
    return None if text is None else _html(page(*render(text)))


def _guide_page(name: str, request: Request) -> Response:
    written = _written(name)
    if written is None:
        raise Problem("not-found", detail="The guide has no such page; /guide lists those it has.")
    return written.answer(request)


def _html(text: str) -> Ready:
    return Ready(text.encode(), "text/html")


def _packaged(*path: str) -> Traversable:
    return files("service").joinpath(*path)
