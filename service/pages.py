"""The guide as pages: packaged Markdown, no script, readable on a phone in the sun."""

import re
from functools import lru_cache
from html import escape
from importlib.resources import files
from itertools import pairwise

from fastapi import APIRouter
from fastapi.responses import HTMLResponse
from markdown_it import MarkdownIt
from markdown_it.token import Token

from .problems import Problem

router = APIRouter(include_in_schema=False)

_STYLE = """
:root{--ink:#1b1a17;--paper:#f6f3ea;--rule:#8a8577;--accent:#7a2f12}
@media(prefers-color-scheme:dark){:root{--ink:#efe9da;--paper:#16150f;--rule:#7d786a;--accent:#f0a27f}}
*{box-sizing:border-box}html{font-size:118.75%;color-scheme:light dark}
body{margin:0;background:var(--paper);color:var(--ink);font:1rem/1.55 Georgia,'DejaVu Serif',serif}
main{overflow-wrap:break-word;max-width:70ch;margin:0 auto;padding:1.5rem 1rem 4rem}
nav{max-width:70ch;margin:0 auto;padding:1rem 1rem 0;display:flex;flex-wrap:wrap;gap:0 1.4rem}
nav a{display:inline-block;padding:.55rem 0}
a{color:var(--accent)}a:focus-visible{outline:3px solid var(--accent);outline-offset:2px}
h1{font-size:1.7rem;line-height:1.2;margin:.6rem 0 1rem}
h2{font-size:1.25rem;margin:2.2rem 0 .5rem;border-top:1px solid var(--rule);padding-top:.8rem}h3{font-size:1.1rem}
pre{overflow-x:auto;border-left:4px solid var(--rule);padding:.4rem .8rem;line-height:1.45}
code{font-family:'DejaVu Sans Mono',Menlo,Consolas,monospace;font-size:.95em}
:not(pre)>code{overflow-wrap:anywhere}
.wide{overflow-x:auto}td code{white-space:nowrap}
table{border-collapse:collapse}td,th{text-align:left;vertical-align:top;
padding:.35rem 1rem .35rem 0;border-bottom:1px solid var(--rule)}
:target{scroll-margin-top:1rem;text-decoration:underline;text-decoration-color:var(--accent)}
"""
_NAV = (("/", "tipdatum"), ("/guide", "Guide"), ("/guide/cautions", "Cautions"), ("/docs", "Routes"))
_PAGE = re.compile(r"[a-z]+")


def page(title: str, body: str) -> str:
    """A whole page."""
    links = "".join(f'<a href="{where}">{text}</a>' for where, text in _NAV)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}{'' if title == 'tipdatum' else ' - tipdatum'}</title><style>{_STYLE}</style></head>"
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
    source = files("service").joinpath("guide", f"{name}.md")
    return source.read_text(encoding="utf-8") if source.is_file() else None


@router.get("/", response_class=HTMLResponse)
def front() -> str:
    """What this is."""
    return _guide_page("front")


@router.get("/guide", response_class=HTMLResponse)
def index() -> str:
    """The list of guide pages."""
    return _guide_page("index")


@router.get("/guide/{name}", response_class=HTMLResponse)
def guide(name: str) -> str:
    """One guide page."""
    return _guide_page(name)


@lru_cache(maxsize=32)
def _written(name: str) -> str | None:
    """A guide page as it stands in this release; the package does not change under a running service."""
    text = guide_text(name)
    return None if text is None else page(*render(text))


def _guide_page(name: str) -> str:
    written = _written(name)
    if written is None:
        raise Problem("not-found", detail="The guide has no such page; /guide lists those it has.")
    return written
