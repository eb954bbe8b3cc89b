"""A document as one printable page: no script, nothing loaded from elsewhere, every text escaped."""

from base64 import b64encode
from collections.abc import Iterator
from hashlib import sha256
from html import escape

from .document import Document, Drawing, Heading, Paragraph, Part, Signatures, Table, Verdict
from .letters import visible

_PIXELS_PER_MM = 96 / 25.4
STYLE = """
@page{margin:14mm}
*{box-sizing:border-box}
html{color-scheme:light}
body{margin:0 auto;max-width:72rem;padding:1.2rem;background:#fff;color:#000;
font:1rem/1.4 Georgia,'DejaVu Serif',serif;overflow-wrap:break-word}
h1{font-size:1.6rem;line-height:1.2;margin:0 0 .2rem}
h2{font-size:1.15rem;margin:1.6rem 0 .4rem;padding-top:.5rem;border-top:2px solid #000;break-after:avoid}
p{margin:.4rem 0;white-space:pre-line}
.facts{display:grid;grid-template-columns:max-content 1fr;gap:.1rem 1rem;margin:.8rem 0;
border-top:2px solid #000;padding-top:.5rem}
.facts dt{font-weight:bold}
.facts dd{margin:0;overflow-wrap:anywhere}
.wide{overflow-x:auto;margin:.5rem 0}
table{border-collapse:collapse;font-size:.85rem;line-height:1.3}
caption{text-align:left;font-weight:bold;padding-bottom:.2rem}
th,td{text-align:left;vertical-align:top;padding:.18rem .6rem .18rem 0;border-bottom:1px solid #888;unicode-bidi:isolate}
th{border-bottom:2px solid #000;vertical-align:bottom}
thead{display:table-header-group}
tr{break-inside:avoid}
td.right{text-align:right;white-space:nowrap}
th.right{text-align:right}
.strong{font-weight:bold}
figure{margin:.8rem 0;break-inside:avoid}
figure img{display:block;max-width:100%;height:auto}
figcaption{font-size:.9rem;margin-top:.2rem}
.verdict{display:flex;gap:1rem;align-items:baseline;border:2px solid #000;padding:.5rem .8rem;margin:.8rem 0;
break-inside:avoid}
.verdict.not{border-width:6px}
.verdict.open{border-style:dashed}
.verdict b{font-size:1.3rem;white-space:nowrap}
.sign{display:grid;grid-template-columns:1fr 1fr;gap:2.6rem 2rem;margin:3rem 0 1rem;break-inside:avoid}
.sign div{border-top:1px solid #000;padding-top:.2rem;font-size:.85rem}
.cautions{border:2px solid #000;padding:.2rem 1rem .6rem;margin:1.6rem 0;break-inside:avoid}
.cautions h2{border:0;margin:0}
.cautions ul{margin:.3rem 0;padding-left:1.2rem}
footer{margin-top:1.4rem;border-top:1px solid #000;padding-top:.4rem;font-size:.8rem;overflow-wrap:anywhere}
@media print{body{max-width:none;padding:0;font-size:10pt}.wide{overflow:visible}table{font-size:7.5pt}
th,td{padding-right:.35rem}}
"""
STYLE_HASH = "sha256-" + b64encode(sha256(STYLE.encode()).digest()).decode()
"""For a content security policy."""
TO_SIGN = "name, signature, date"


def as_html(document: Document) -> str:
    """The page, complete."""
    facts = "".join(
        f"<dt>{_text(label)}</dt><dd><bdi>{_text(value)}</bdi></dd>" for label, value in document.facts
    )
    cautions = "".join(f"<li>{_text(each)}</li>" for each in document.cautions)
    return "".join([
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{_text(document.title)}</title><style>{STYLE}</style></head><body><main>",
        f"<h1>{_text(document.title)}</h1><p>{_text(document.subtitle)}</p>",
        f'<dl class="facts">{facts}</dl>' if facts else "",
        *(piece for part in document.parts for piece in _part(part)),
        f'<section class="cautions"><h2>Cautions</h2><ul>{cautions}</ul></section>' if cautions else "",
        f"</main><footer>{_text(document.footer)}</footer></body></html>\n",
    ])  # fmt: skip


def _text(text: str) -> str:
    return escape(visible(text))


def _part(part: Part) -> Iterator[str]:
    match part:
        case Heading(text=text):
            yield f"<h2>{_text(text)}</h2>"
        case Paragraph(text=text, strong=strong):
            yield f"<p{_class('strong' if strong else '')}>{_text(text)}</p>"
        case Table():
            yield from _table(part)
        case Drawing(svg=svg, caption=caption, alt=alt, width_mm=width):
            # As a picture of its own, so that nothing in it can act.
            source = b64encode(svg.encode()).decode()
            yield f'<figure><img src="data:image/svg+xml;base64,{source}" width="{width * _PIXELS_PER_MM:.0f}" '
            yield f'alt="{_text(alt)}"><figcaption>{_text(caption)}</figcaption></figure>'
        case Verdict(ok=ok, word=word, text=text):
            kind = {True: "", False: " not", None: " open"}[ok]
            yield f'<div class="verdict{kind}"><b>{_text(word)}</b><span>{_text(text)}</span></div>'
        case Signatures(names=names):
            lines = "".join(f"<div>{_text(name)}: {TO_SIGN}</div>" for name in names)
            yield f'<div class="sign">{lines}</div>'


def _table(table: Table) -> Iterator[str]:
    # The keyboard must reach what scrolls by itself.
    yield f'<div class="wide" role="region" aria-label="{_text(table.caption) or "Table"}" tabindex="0"><table>'
    if table.caption:
        yield f"<caption>{_text(table.caption)}</caption>"
    classes = ["right" if table.aligned(i) == "right" else "" for i in range(len(table.head))]
    yield "<thead><tr>"
    for name, kind in zip(table.head, classes, strict=True):
        yield f'<th scope="col"{_class(kind)}>{_text(name)}</th>'
    yield "</tr></thead><tbody>"
    for i, row in enumerate(table.rows):
        yield f"<tr{_class('strong' if i in table.strong_rows else '')}>"
        for cell, kind in zip(row, classes, strict=True):
            yield f"<td{_class(kind)}>{_text(cell)}</td>"
        yield "</tr>"
    yield "</tbody></table></div>"


def _class(name: str) -> str:
    return f' class="{name}"' if name else ""
