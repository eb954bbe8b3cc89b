"""Lines and columns: nothing wider than its place, nothing lost."""

import math

from hypothesis import given
from hypothesis import strategies as st

from service.paper.layout import columns, wrapped

TEXT = st.text(alphabet="abc mW\n'\"", max_size=60)


def width(text: str) -> float:
    return sum({"m": 2.0, "W": 3.0}.get(letter, 1.0) for letter in text)


@given(TEXT, st.floats(3.0, 40.0))
def test_wrapped(text: str, room: float) -> None:
    lines = wrapped(text, room, width)
    assert lines
    assert all(width(line) <= room for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "").replace("\n", "")


def test_a_letter_wider_than_its_place_stands_alone() -> None:
    assert wrapped("WaW", 2.0, width) == ["W", "a", "W"]


@given(st.lists(st.tuples(TEXT, TEXT, TEXT), max_size=6), st.floats(30.0, 300.0))
def test_columns(rows: list[tuple[str, str, str]], room: float) -> None:
    found = columns(("a", "b", "figure"), rows, (False, False, True), room, 2.0, width, width)
    if found is None:
        return
    assert math.fsum(found) + 4.0 <= room + 1e-9
    assert all(width(line) <= found[2] + 1e-9 for row in rows for line in row[2].split("\n"))


def test_figures_keep_whole_and_words_give_way() -> None:
    found = columns(
        ("name", "figure"), [("many words " * 10, "12 34 56")], (False, True), 30.0, 2.0, width, width
    )
    assert found is not None
    assert found[1] == 8.0
    assert columns(("name", "figure"), [("a", "1" * 40)], (False, True), 30.0, 2.0, width, width) is None
