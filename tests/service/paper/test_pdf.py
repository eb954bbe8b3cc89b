"""The PDF: the same bytes for the same document, every word in it, no letter lost."""

import re
from datetime import timedelta

import pytest

from service.paper.document import Document, Drawing, Paragraph, Table
from service.paper.letters import visible
from service.paper.pdf import as_pdf

from .making import SVG, WHEN, document
from .reading import sheets_of, words_of

NOTE = "stand by their number in Unicode"


def told(of: Document) -> str:
    """Its words, without regard to where a line was broken."""
    return re.sub(r"\s+", "", words_of(as_pdf(of, WHEN)))


def test_same_document_same_bytes() -> None:
    first = as_pdf(document(), WHEN)
    assert first.startswith(b"%PDF-1.")
    assert as_pdf(document(), WHEN) == first
    assert as_pdf(document(), WHEN + timedelta(seconds=1)) != first
    assert as_pdf(document("another"), WHEN) != first


@pytest.mark.parametrize("name", ["Łódź", "насосна станція", "Αντλιοστάσιο", "Ջուր", "წყალი", "½ ± − é"])
def test_names_in_letters_of_the_font(name: str) -> None:
    found = told(document(name))
    assert found.count(name.replace(" ", "")) >= 12
    assert NOTE.replace(" ", "") not in found


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("水泵", "[U+6C34][U+6CF5]"),
        ("بئر", "[U+0628][U+0626][U+0631]"),
        ("a\u202eb", "a[U+202E]b"),
        ("🚧", "[U+1F6A7]"),
    ],
)
def test_no_letter_is_lost(name: str, written: str) -> None:
    found = told(document(name))
    assert found.count(written) >= 12
    assert (NOTE.replace(" ", "") in found) == (name != "a\u202eb")


def test_composed_where_there_is_such_a_letter() -> None:
    assert "é" in told(document("e\u0301"))


def test_pages_head_and_footer() -> None:
    pdf = as_pdf(document("a target with a name of many words, as long as one may be", rows=200), WHEN)
    words, sheets = words_of(pdf), sheets_of(pdf)
    assert sheets >= 5
    for i in range(1, sheets + 1):
        assert f"sheet {i} of \n{sheets}" in words
    assert words.count("entry\n") >= sheets - 1  # the head of the table again on every sheet
    rows = re.findall(r"^(\d+)\na target", words, flags=re.MULTILINE)
    assert [int(each) for each in rows] == list(range(200))


def test_a_cell_higher_than_a_sheet_and_words_wider_than_a_column() -> None:
    long = " ".join(f"word{i}" for i in range(3000))
    wide = Table(
        tuple(f"column {i}" for i in range(14)), ((*("326' 8 15/16\"" for _ in range(13)), "x" * 400),)
    )
    whole = document(parts=(Table(("a", "b"), (("1", long),)), wide, Paragraph("y" * 500)))
    found = told(whole)
    assert set(long.split()) <= set(words_of(as_pdf(whole, WHEN)).split())
    assert found.count("x") >= 400
    assert "y" * 500 in found
    assert found.count("326'815/16\"") == 13


def test_a_drawing_is_scaled_to_its_sheet() -> None:
    tall = SVG.replace('height="200" viewBox="0 0 600 200"', 'height="3000" viewBox="0 0 600 3000"')
    pdf = as_pdf(
        document(parts=(Drawing(tall, "tall", "alt", 60.0), Drawing(SVG, "wide", "alt", 500.0))), WHEN
    )
    assert sheets_of(pdf) == 3
    boxes = [
        tuple(map(float, each))
        for each in re.findall(rb"([\d.]+) 0 0 ([\d.]+) [\d.]+ [\d.]+ cm", _pages(pdf))
    ]
    points = 72 / 25.4
    assert len(boxes) == 2
    assert all(width <= 178.01 * points and height <= 258.0 * points for width, height in boxes)


def _pages(pdf: bytes) -> bytes:
    from .reading import streams  # noqa: PLC0415

    return b"\n".join(each for each in streams(pdf) if b" Tj" in each)


def test_empty_documents() -> None:
    bare = Document("Record", "", (), (), (), "")
    assert sheets_of(as_pdf(bare, WHEN)) == 1
    assert "Record" in words_of(as_pdf(bare, WHEN))


def test_visible_leaves_what_is_plain() -> None:
    assert visible("plain\ntext, é 水") == "plain\ntext, é 水"
    assert visible("tab\there\u2028") == "tab[U+0009]here[U+2028]"
