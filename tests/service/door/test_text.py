"""Words and pointers, whatever the request holds."""

import json
import math
import string
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.text import DEEPEST, fault, json_faults, plain, pointer, shown

ANY_TEXT = st.text(st.characters(), max_size=200)  # half surrogate pairs too
JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**15), 10**15)
    | st.floats(allow_nan=False, allow_infinity=False)
    | ANY_TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(ANY_TEXT, inner, max_size=4),
    max_leaves=12,
)


@pytest.mark.parametrize(
    ("parts", "expected"),
    # RFC 6901, section 5: the pointers of its own example document, from memory.
    [((), ""), (("foo",), "/foo"), (("foo", 0), "/foo/0"), (("",), "/"), (("a/b",), "/a~1b"), (("c%d",), "/c%d"),
     (("m~n",), "/m~0n"), ((" ",), "/ "), (("~1",), "/~01")],
)  # fmt: skip
def test_pointers(parts: tuple[object, ...], expected: str) -> None:
    assert pointer(parts) == expected


@given(st.lists(st.text(string.printable, max_size=8), max_size=5))
def test_a_pointer_leads_back(parts: list[str]) -> None:
    pieces = pointer(parts).split("/")[1:]
    assert [piece.replace("~1", "/").replace("~0", "~") for piece in pieces] == parts


@given(ANY_TEXT, st.floats())
def test_a_fault_can_always_be_sent(text: str, number: float) -> None:
    told = (
        fault(text, text, text, text, pointer([text]), {"n": number})
        if text
        else fault("x", shown(number), shown(text))
    )
    sent = json.dumps(told.model_dump() | {"code": ""}, allow_nan=False, ensure_ascii=False).encode()
    assert json.loads(sent)["numbers"] == ({"n": number} if text and math.isfinite(number) else {})
    assert len(told.found) <= 120


@given(JSON_VALUES)
@settings(deadline=None)
def test_any_json_may_pass(value: object) -> None:
    assert json_faults(json.dumps(value).encode()) == []


@given(st.binary(max_size=60))
def test_any_bytes_are_json_or_told(body: bytes) -> None:
    """The judgment is that of Python's own reader, held to UTF-8."""
    try:
        json.loads(body.decode("utf-8"))
        broken = False
    except ValueError:
        broken = True
    told = json_faults(body)
    assert broken == any(each.code == "malformed-json" for each in told)


@pytest.mark.parametrize(("levels", "passes"), [(DEEPEST, True), (DEEPEST + 1, False)])
def test_the_deepest(levels: int, passes: bool) -> None:
    assert (json_faults(b"[" * levels + b"]" * levels) == []) is passes


def test_brackets_in_text_are_not_levels() -> None:
    assert json_faults(json.dumps({"name": '[{"' * 1000}).encode()) == []
    assert json_faults(json.dumps([[]] * 1000).encode()) == []


@pytest.mark.parametrize(
    "body",
    [
        b"[" * 65 + b'"' + b'\\"' * 500_000,  # a string that never ends, a quote at every other place
        b"[" * 65 + b'"' * 1_000_000,
        b"{" + b",".join(b'"%d":1' % n for n in range(90_000)) + b',"5":2}',  # one field of many given twice
    ],
)
def test_a_megabyte_made_to_be_slow(body: bytes) -> None:
    """A reader that goes over the text once for each quote or field would take minutes; the bound is generous."""
    start = time.perf_counter()
    assert json_faults(body)
    assert time.perf_counter() - start < 10.0


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, "null"), (True, "true"), (False, "false"), ({"a": 1}, "an object of 1"), ([1, 2], "a list of 2"),
        ("a", '"a"'), (1.5, "1.5"), (0, "0"), (float("nan"), "NaN"),
        (10**30, "a whole number of more than twenty digits"),
        (-math.inf, "minus infinity, or a number too large"),
    ],
)  # fmt: skip
def test_what_was_found_in_few_words(value: object, expected: str) -> None:
    assert shown(value) == expected


def test_plain_text_is_shortened_and_said_to_be() -> None:
    assert plain("abcdef", 4) == "abc…"
    assert plain("abcd", 4) == "abcd"
