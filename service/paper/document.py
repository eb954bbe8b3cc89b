"""A document as plain data: what is told, in order. How it looks is the writers' business (`page.py`, `pdf.py`)."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

Align: TypeAlias = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Heading:
    """Begins a chapter."""

    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text; `strong` in bold. A line break in it stays one."""

    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text under a head. `align`: of each column, all left where none is given; `strong_rows`: by index, in bold.

    Raises ValueError for a row or `align` of another length than the head.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: tuple[Align, ...] = ()
    caption: str = ""
    strong_rows: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        wrong = {len(each) for each in (*self.rows, *([self.align] if self.align else []))} - {len(self.head)}
        if wrong:
            raise ValueError(f"expected {len(self.head)} columns everywhere, found {sorted(wrong)}")

    def aligned(self, column: int) -> Align:
        """How a column is aligned."""
        return self.align[column] if self.align else "left"


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture of ours, drawn at most `width_mm` wide; `alt`: what it shows, for whoever cannot see it."""

    svg: str
    caption: str
    alt: str
    width_mm: float = 180.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came out, in a box: `word` large, `text` beside it. `ok`: None where it is neither; told by word and frame."""

    ok: bool | None
    word: str
    text: str


@dataclass(frozen=True, slots=True)
class Signatures:
    """A line to sign on for each: "foreman", "inspector"."""

    names: tuple[str, ...]


Part: TypeAlias = Heading | Paragraph | Table | Drawing | Verdict | Signatures


@dataclass(frozen=True, slots=True)
class Document:
    """The whole. `facts`: label and value, under the title; `footer`: on every sheet, which release, job, entry, hash."""

    title: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    cautions: tuple[str, ...]
    footer: str
