"""A document as PDF, by fpdf2: A4, with margins that a Letter sheet has room for too.

Written in a font that comes along (DejaVu Serif Condensed: Latin, Greek, Cyrillic, Armenian, Georgian), so that the same
document and time give the same bytes on any machine. Letters that it has not stand by their number, and a note says so.
"""

from collections.abc import Sequence
from datetime import datetime
from importlib.resources import as_file, files
from io import BytesIO

import resvg_py
from fpdf import FPDF
from fpdf.fonts import TTFFont
from PIL import Image

from .document import Document, Drawing, Heading, Paragraph, Part, Signatures, Table, Verdict
from .layout import Measure, columns, wrapped
from .letters import Letters
from .page import TO_SIGN

_LEFT, _TOP, _WIDE, _FOOT = 16.0, 14.0, 178.0, 258.0
"""mm. Letter is 18 mm lower than A4 and 6 mm wider."""
_BODY, _SMALL, _FOOTER = 9.5, 8.5, 7.0
_TABLE_SIZES = (8.0, 7.5, 7.0, 6.5, 6.0)
_MANY_COLUMNS, _SMALLER = 8, 2
"""More columns than this are written smaller from the first, so that fewer of their words are broken apart."""
_LINE = 0.45
"""mm of line height for each point of size."""
_GAP = 2.2
_DPI = 300
_FONTS = ("DejaVuSerifCondensed.ttf", "DejaVuSerifCondensed-Bold.ttf")


def as_pdf(document: Document, made: datetime) -> bytes:
    """The document, complete; `made`: when, with its zone: nothing else of the moment is in it."""
    sheets = _Sheets(document.footer, made)
    sheets.set_title(sheets.letters.written(document.title))
    _Writer(sheets).write(document)
    return bytes(sheets.output())


class _Sheets(FPDF):
    """Sheets with the footer on each."""

    def __init__(self, foot: str, made: datetime) -> None:
        super().__init__(format="A4", unit="mm")
        self.set_auto_page_break(auto=False)
        self.set_creation_date(made)
        self.set_creator("tipdatum")
        self.set_lang("en")
        for name, style in zip(_FONTS, ("", "B"), strict=True):
            with as_file(files("service.paper").joinpath(name)) as path:
                self.add_font("paper", style, path)
        font = self.fonts["paper"]
        assert isinstance(font, TTFFont)  # noqa: S101
        known = font.cmap
        self.letters = Letters(lambda letter: ord(letter) in known)
        self._foot = self.letters.written(foot)
        self._measures: dict[tuple[float, bool], Measure] = {}

    def measure(self, size: float, *, bold: bool = False) -> Measure:
        """Width (mm) of a text at a size (points)."""
        made = self._measures.get((size, bold))
        if made is None:
            font = self.fonts["paperB" if bold else "paper"]
            assert isinstance(font, TTFFont)  # noqa: S101
            each, unit = font.cw, size * 0.001 / self.k
            made = self._measures[size, bold] = lambda text: sum([each[ord(c)] for c in text]) * unit
        return made

    def put(self, x: float, base: float, text: str, size: float, *, bold: bool = False) -> None:
        """A text on its base line."""
        self.set_font("paper", "B" if bold else "", size)
        self.text(x, base, text)

    def rule(self, x: float, y: float, width: float, thick: float = 0.2) -> None:
        """A level line."""
        self.set_line_width(thick)
        self.line(x, y, x + width, y)

    def footer(self) -> None:
        """What every sheet says below."""
        self.rule(_LEFT, _FOOT + 3.0, _WIDE)
        base = _FOOT + 6.2
        for line in wrapped(self._foot, _WIDE - 26.0, self.measure(_FOOTER)):
            self.put(_LEFT, base, line, _FOOTER)
            base += _FOOTER * _LINE
        self.set_font("paper", "", _FOOTER)
        self.set_xy(_LEFT + _WIDE - 22.0, _FOOT + 3.8)
        self.cell(22.0, 3.2, f"sheet {self.page_no()} of {{nb}}")  # a cell alone knows how many there will be


class _Writer:
    """Fills sheets from the top; `y` (mm) is where the next thing goes."""

    def __init__(self, sheets: _Sheets) -> None:
        self.sheets, self.letters = sheets, sheets.letters
        self.y = 0.0

    def write(self, document: Document) -> None:
        """All of it."""
        self._turn()
        self._lines(document.title, 16.0, bold=True)
        self._lines(document.subtitle, _BODY)
        self._facts(document.facts)
        for part in document.parts:
            self._part(part)
        self._cautions(document.cautions)
        if self.letters.missing:
            self._room(14.0)
            self.y += 2.0
            self._lines("Letters that the font of this paper has not stand by their number in Unicode, such as [U+6C34]; "
                        "the same document as a page (HTML) shows them.", _SMALL)  # fmt: skip

    def _turn(self) -> None:
        self.sheets.add_page()
        self.y = _TOP

    def _room(self, height: float) -> None:
        """A new sheet where less than `height` is left."""
        if self.y + height > _FOOT:
            self._turn()

    def _part(self, part: Part) -> None:
        match part:
            case Heading(text=text):
                self._heading(text)
            case Paragraph(text=text, strong=strong):
                self._lines(text, _BODY, bold=strong)
                self.y += 1.2
            case Table():
                self._table(part)
            case Drawing():
                self._drawing(part)
            case Verdict():
                self._verdict(part)
            case Signatures(names=names):
                self._signatures(names)

    def _lines(
        self, text: str, size: float, *, bold: bool = False, x: float = _LEFT, width: float = _WIDE
    ) -> None:
        high = size * _LINE
        for line in wrapped(self.letters.written(text), width, self.sheets.measure(size, bold=bold)):
            self._room(high)
            self.sheets.put(x, self.y + 0.78 * high, line, size, bold=bold)
            self.y += high

    def _heading(self, text: str) -> None:
        self._room(26.0)  # with something below it
        self.y += 4.0
        self.sheets.rule(_LEFT, self.y, _WIDE, 0.5)
        self.y += 1.6
        written = self.letters.written(text)
        self.sheets.set_y(self.y)
        self.sheets.start_section(written)
        self._lines(text, 11.5, bold=True)
        self.y += 1.0

    def _facts(self, facts: Sequence[tuple[str, str]]) -> None:
        if not facts:
            return
        self.y += 2.0
        self.sheets.rule(_LEFT, self.y, _WIDE, 0.5)
        self.y += 1.4
        bold = self.sheets.measure(_BODY, bold=True)
        wide = max(bold(self.letters.written(label)) for label, _ in facts) + 4.0
        for label, value in facts:
            self._room(_BODY * _LINE)
            self.sheets.put(
                _LEFT, self.y + 0.78 * _BODY * _LINE, self.letters.written(label), _BODY, bold=True
            )
            self._lines(value, _BODY, x=_LEFT + wide, width=_WIDE - wide)
        self.y += 1.0

    def _table(self, table: Table) -> None:
        head = [self.letters.written(name) for name in table.head]
        rows = [[self.letters.written(cell) for cell in row] for row in table.rows]
        figures = [table.aligned(i) == "right" for i in range(len(head))]
        for size in _TABLE_SIZES[_SMALLER if len(head) > _MANY_COLUMNS else 0 :]:
            plain, bold = self.sheets.measure(size), self.sheets.measure(size, bold=True)
            widths = columns(head, rows, figures, _WIDE, _GAP, bold if table.strong_rows else plain, bold)
            if widths is not None:
                break
        else:
            even = (_WIDE - _GAP * (len(head) - 1)) / len(head)
            figures = [False] * len(head)
            widths = columns(head, rows, figures, _WIDE, _GAP, plain, bold) or [even] * len(head)
        if table.caption:
            self._room(22.0)
            self._lines(table.caption, _SMALL, bold=True)
        self._room(16.0)
        self._head(table, head, widths, size)
        for i, row in enumerate(rows):
            cells = [
                wrapped(cell, width, bold if i in table.strong_rows else plain)
                for cell, width in zip(row, widths, strict=True)
            ]
            self._row(table, cells, widths, size, head, bold=i in table.strong_rows)
        self.y += 2.5

    def _head(self, table: Table, head: Sequence[str], widths: Sequence[float], size: float) -> None:
        cells = [
            wrapped(name, width, self.sheets.measure(size, bold=True))
            for name, width in zip(head, widths, strict=True)
        ]
        self._cells(table, cells, widths, size, bold=True)
        self.sheets.rule(_LEFT, self.y, sum(widths) + _GAP * (len(widths) - 1), 0.4)
        self.y += 0.5

    def _row(
        self, table: Table, cells: list[list[str]], widths: Sequence[float], size: float, head: Sequence[str], *,
        bold: bool,
    ) -> None:  # fmt: skip
        """A row, on sheets of its own where it is higher than one."""
        high = size * _LINE
        while any(cells):
            need = high * max(map(len, cells)) + 1.0
            if self.y + need > _FOOT:
                self._turn()
                self._head(table, head, widths, size)
            fit = max(1, int((_FOOT - self.y - 1.0) / high))
            self._cells(table, [lines[:fit] for lines in cells], widths, size, bold=bold)
            self.sheets.rule(_LEFT, self.y, sum(widths) + _GAP * (len(widths) - 1), 0.1)
            cells = [lines[fit:] for lines in cells]

    def _cells(
        self, table: Table, cells: list[list[str]], widths: Sequence[float], size: float, *, bold: bool
    ) -> None:
        high, measure = size * _LINE, self.sheets.measure(size, bold=bold)
        x = _LEFT
        for i, (lines, width) in enumerate(zip(cells, widths, strict=True)):
            for line, text in enumerate(lines):
                if text:
                    aside = width - measure(text) if table.aligned(i) == "right" else 0.0
                    self.sheets.put(x + aside, self.y + 0.4 + high * (line + 0.78), text, size, bold=bold)
            x += width + _GAP
        self.y += high * max(map(len, cells)) + 1.0

    def _drawing(self, drawing: Drawing) -> None:
        width = min(drawing.width_mm, _WIDE)
        picture = _picture(self.letters.written(drawing.svg), width)
        high = width * picture.height / picture.width
        most = _FOOT - _TOP - 14.0
        if high > most:
            width, high = width * most / high, most
        self._room(high + 10.0)
        self.sheets.image(picture, _LEFT, self.y, width, high, alt_text=self.letters.written(drawing.alt))
        self.y += high + 1.0
        self._lines(drawing.caption, _SMALL)
        self.y += 2.0

    def _verdict(self, verdict: Verdict) -> None:
        size, inside = 13.0, 3.0
        word = self.letters.written(verdict.word)
        across = min(self.sheets.measure(size, bold=True)(word), 0.5 * _WIDE)
        told = _WIDE - across - 3.0 * inside
        names = wrapped(word, across, self.sheets.measure(size, bold=True))
        lines = wrapped(self.letters.written(verdict.text), told, self.sheets.measure(_BODY))
        high = max(len(names) * size * _LINE, len(lines) * _BODY * _LINE + 1.2) + 2.0 * inside
        self._room(min(high + 4.0, _FOOT - _TOP))
        self.y += 1.5
        self.sheets.set_line_width(1.4 if verdict.ok is False else 0.5)
        if verdict.ok is None:
            self.sheets.set_dash_pattern(dash=2.0, gap=1.4)
        self.sheets.rect(_LEFT, self.y, _WIDE, high)
        self.sheets.set_dash_pattern()
        base = self.y + inside + 0.78 * size * _LINE
        for i, name in enumerate(names):
            self.sheets.put(_LEFT + inside, base + i * size * _LINE, name, size, bold=True)
        for i, line in enumerate(lines):
            self.sheets.put(_LEFT + across + 2.0 * inside, base + i * _BODY * _LINE, line, _BODY)
        self.y += high + 3.0

    def _signatures(self, names: Sequence[str]) -> None:
        half = 0.5 * _WIDE - 4.0
        self._room(min(24.0 * ((len(names) + 1) // 2), _FOOT - _TOP))
        for i, name in enumerate(names):
            if i % 2 == 0:
                self._room(24.0)
                self.y += 17.0
            x = _LEFT + (i % 2) * (half + 8.0)
            self.sheets.rule(x, self.y, half, 0.25)
            text = wrapped(self.letters.written(f"{name}: {TO_SIGN}"), half, self.sheets.measure(_SMALL))
            for k, line in enumerate(text):
                self.sheets.put(x, self.y + 3.4 + k * _SMALL * _LINE, line, _SMALL)
            if i % 2 or i == len(names) - 1:
                self.y += 6.0

    def _cautions(self, cautions: Sequence[str]) -> None:
        if not cautions:
            return
        measure = self.sheets.measure(_SMALL)
        high = _SMALL * _LINE
        listed = [wrapped(self.letters.written(each), _WIDE - 12.0, measure) for each in cautions]
        tall = high * sum(map(len, listed)) + 11.0
        self._room(min(tall + 4.0, _FOOT - _TOP))
        self.y += 3.0
        self.sheets.set_line_width(0.5)
        self.sheets.rect(_LEFT, self.y, _WIDE, tall)
        self.sheets.put(_LEFT + 4.0, self.y + 5.6, "Cautions", 11.0, bold=True)
        self.y += 8.0
        for lines in listed:
            self.sheets.put(_LEFT + 4.0, self.y + 0.78 * high, "\u2013", _SMALL)
            for line in lines:
                self.sheets.put(_LEFT + 8.0, self.y + 0.78 * high, line, _SMALL)
                self.y += high
        self.y += 3.0


def _picture(svg: str, width_mm: float) -> Image.Image:
    """A drawing as pixels, on white, with the letters of the paper."""
    folder = files("service.paper")
    with as_file(folder.joinpath(_FONTS[0])) as plain, as_file(folder.joinpath(_FONTS[1])) as bold:
        drawn = resvg_py.svg_to_bytes(
            svg_string=svg, width=round(width_mm / 25.4 * _DPI), background="#ffffff", skip_system_fonts=True,
            font_files=[str(plain), str(bold)], serif_family="DejaVu Serif", font_family="DejaVu Serif",
        )  # fmt: skip
    return Image.open(BytesIO(bytes(drawn))).convert("RGB")
