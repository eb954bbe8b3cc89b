"""Words and pointers, whatever the request holds."""

import json
import math
import string
import time
from collections.abc import Iterator
from typing import Any, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import Field, ValidationError

from service.book import requests
from service.strict import Strict
from service.text import DEEPEST, fault, json_faults, misfit, nearest, plain, pointer, read_json, shown
from tests.amounts import several

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


@given(JSON_VALUES, st.booleans())
@settings(deadline=None)
def test_the_quick_reader_reads_the_same(value: object, escaped: bool) -> None:
    """To the last bit, and whole numbers stay whole."""
    body = json.dumps(value, ensure_ascii=escaped).encode("utf-8", "surrogatepass")
    found, faults = read_json(body)
    assert faults == json_faults(body)
    assert repr(found) == ("None" if faults else repr(json.loads(body)))


@given(st.lists(st.floats(allow_nan=False) | st.integers(), max_size=50))
def test_the_quick_reader_rounds_the_same(numbers: list[float]) -> None:
    body = json.dumps({"a": numbers}).encode()
    assert repr(read_json(body)[0]) == repr(json.loads(body))


PLAIN = st.text(':", {}[]ab', max_size=6)


@given(st.lists(st.tuples(PLAIN, st.lists(PLAIN, max_size=2)), max_size=4))
@settings(max_examples=several(500))
def test_no_name_given_twice_slips_past_the_quick_reader(pairs: list[tuple[str, list[str]]]) -> None:
    """Colons, commas and quotes in the names and beside them, to mislead whoever counts."""
    pairs = [(name.replace('"', ""), [each.replace('"', "") for each in values]) for name, values in pairs]
    inner = ", ".join(f'"{name}" :{json.dumps(values)}' for name, values in pairs)
    body = f'{{"outer": [{{{inner}}}], ":": 1}}'.encode()
    found, faults = read_json(body)
    assert faults == json_faults(body)
    assert bool(faults) == (len({name for name, _ in pairs}) < len(pairs))
    assert faults or found == json.loads(body)


@given(st.binary(max_size=60))
def test_the_quick_reader_refuses_the_same_bytes(body: bytes) -> None:
    assert read_json(body)[1] == json_faults(body)


@pytest.mark.parametrize(
    "text",
    ["[" * 64 + "1" + "]" * 64, "[" * 65 + "]" * 65, "1" * 5000, "-0", "-0.0", "1E400", "NaN", "[-Infinity]", "01", "1.",
     ".5", "+1", "\ufeff1", " 1 ", "1 2", '"a\tb"', "[1,]"],
)  # fmt: skip
def test_corners_of_the_quick_reader(text: str) -> None:
    found, faults = read_json(text.encode())
    assert faults == json_faults(text.encode())
    assert faults or repr(found) == repr(json.loads(text))


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


def patterns(schema: object) -> Iterator[str]:
    if isinstance(schema, dict):
        if isinstance(schema.get("pattern"), str):
            yield schema["pattern"]
        for inner in schema.values():
            yield from patterns(inner)
    elif isinstance(schema, list):
        for inner in schema:
            yield from patterns(inner)


def finding(kind: str, value: object, message: str = "", **limits: Any) -> dict[str, Any]:
    return {"loc": ("body", "x"), "type": kind, "input": value, "ctx": limits, "msg": message}


def test_every_pattern_of_a_request_has_words() -> None:
    models = [each for each in vars(requests).values() if isinstance(each, type) and issubclass(each, Strict)]
    found = {pattern for model in models for pattern in patterns(model.model_json_schema())}
    assert len(found) >= 2
    for pattern in found:
        told = misfit(finding("string_pattern_mismatch", "?", pattern=pattern), None)
        assert told.code == "wrong-form"
        assert "/docs" not in told.expected
        assert "^" not in told.expected


class Asked(Strict):
    """A body with every kind of field that could bring words of another's."""

    id: str = Field(pattern=r"^[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?$")
    units: Literal["m", "mm", "ft", "ftUS", "ftin"]
    edge_point: Literal["left", "centre", "right"]
    when: tuple[int, int] | None
    share: float = Field(multiple_of=0.5)


def test_no_words_of_the_validator_come_through() -> None:
    with pytest.raises(ValidationError) as caught:
        Asked.model_validate(
            {"id": "Pump House", "units": "feet", "edge_point": "center", "when": {"a": 1}, "share": 0.3}
        )
    told = [misfit({**each, "loc": ("body", *each["loc"])}, None) for each in caught.value.errors()]
    assert {each.pointer: (each.code, each.advice) for each in told} == {
        "/id": ("wrong-form", ""),
        "/units": ("not-a-choice", "did you mean ft?"),
        "/edge_point": ("not-a-choice", "did you mean centre?"),
        "/when": ("wrong-type", ""),
        "/share": ("does-not-fit", ""),
    }
    assert told[0].expected.startswith("lower-case letters, digits and hyphens, such as pump-house")
    for each in told:
        assert "should" not in each.expected


def test_a_kind_that_is_not_known_loses_only_the_validator_s_beginning() -> None:
    told = misfit(finding("odd", 1, "Input should be a multiple of 0.5"), None)
    assert told.expected == "a multiple of 0.5"
    assert misfit(finding("odd", 1, "Value error, a whole hour"), None).expected == "a whole hour"


@pytest.mark.parametrize(
    ("word", "advice"), [("feet", "did you mean ft?"), ("FT", "did you mean ft?"), ("cubits", ""), ("", "")]
)
def test_the_nearest_word(word: str, advice: str) -> None:
    assert nearest(word, ["m", "mm", "ft", "ftUS", "ftin"]) == advice
