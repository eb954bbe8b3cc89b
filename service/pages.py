"""The guide and the sign-in page: packaged text, readable on a phone in the sun. Only the sign-in page has a script."""

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
    ("/guide/cautions", "Cautions"),
    ("/docs", "Routes"),
    ("/sign-in", "Sign in"),
)
_PAGE = re.compile(r"[a-z]+")
# What pages load; nothing else in the folder can be asked for.
_FILES = {"ink.css": "text/css", "icon.svg": "image/svg+xml", "sign-in.js": "text/javascript"}


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


def page(title: str, body: str, script: str = "") -> str:
    """A whole page; `script`: the address of its script, where it has one."""
    loaded = f'<script type="module" src="{script}"></script>' if script else ""
    links = "".join(f'<a href="{where}">{text}</a>' for where, text in _NAV)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}{'' if title == 'tipdatum' else ' - tipdatum'}</title>"
        '<link rel="stylesheet" href="/page/ink.css"><link rel="icon" href="/page/icon.svg">'
        f"{loaded}</head>"
        f'<body><nav aria-label="Pages">{links}</nav><main>{body}</main></body></html>'
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
    # A wide table or code block scrolls by itself; the keyboard must reach it.
    html = html.replace(
        "<table>", '<div class="wide" role="region" aria-label="Table" tabindex="0"><table>'
    ).replace("</table>", "</table></div>")
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


@_get("/sign-in")
def sign_in(request: Request) -> Response:
    """Where a page is signed in with a token, and out; the same text for everybody."""
    return _sign_in().answer(request)


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
