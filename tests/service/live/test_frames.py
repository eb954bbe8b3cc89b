"""A frame of text as objects, or the one fault of it; nothing that comes in raises."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Fault
from service.live.frames import MOST_READINGS, in_short, objects

READING = {"sensor": "boom", "at_s": 1.0, "deg": 3.0}


def read(text: str | None) -> tuple[dict[str, Any] | None, list[Any]]:
    found = objects(text)
    assert isinstance(found, tuple), found
    return found


def refused(text: str | None) -> Fault:
    found = objects(text)
    assert isinstance(found, Fault), found
    assert found.code == "bad-frame"
    assert found.expected
    assert 0 < len(found.found) <= 80
    return found


def test_what_a_frame_may_be() -> None:
    assert read(json.dumps(READING)) == (None, [READING])
    assert read('{"readings": []}') == (None, [])
    assert read(json.dumps({"readings": [READING, 3, None]})) == (None, [READING, 3, None])
    assert read('{"clock": 1, "at_s": 5}') == ({"clock": 1, "at_s": 5}, [])


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "x",
        "{",
        '{"sensor": "boom", "at_s": 1.0, "deg": 3.0',
        "[]",
        "1",
        "null",
        '"a"',
        "{}",
        '{"sensor": "boom"}',
        '{"clock": 1}',
        '{"clock": 1, "at_s": 2, "more": 3}',
        '{"readings": 1}',
        '{"readings": {}}',
        '{"readings": [], "more": 1}',
        '{"a": NaN, "at_s": 1}',
        '{"deg": Infinity, "at_s": 1}',
        '{"deg": -Infinity, "at_s": 1}',
        "NaN",
        "\ufeff{}",
        "{'a': 1}",
        '{"at_s": 01}',
        '{"at_s": 1,}',
        '{"at_s": 1} {"at_s": 2}',
        "\x00",
        '{"at_s": "\x01"}',
    ],
)
def test_garbage(text: str) -> None:
    refused(text)


def test_binary() -> None:
    assert refused(None).found == "a binary frame"


@pytest.mark.parametrize(
    "text",
    [
        '{"at_s": 1, "at_s": 2}',
        '{"at_s" :1, "at_s":2}',
        '{"readings": [{"at_s": 1, "deg": 1, "deg": 2}]}',
        '{"readings": [], "readings": []}',
        '{"clock": 1, "clock": 1, "at_s": 1}',
        '{"at_s": 1, "deg": {"a": 1, "a": 1}}',
    ],
)
def test_a_name_that_stands_twice(text: str) -> None:
    assert "twice" in refused(text).found


def test_too_many_readings() -> None:
    assert len(read(json.dumps({"readings": [1] * MOST_READINGS}))[1]) == MOST_READINGS
    assert refused(json.dumps({"readings": [1] * (MOST_READINGS + 1)})).found == "1001 readings in a frame"


def test_past_what_a_float_holds() -> None:
    """JSON has such numbers; what they are of decides."""
    _, [reading] = read('{"at_s": 1e400, "deg": 1e400}')
    assert reading["deg"] == float("inf")
    _, [reading] = read('{"at_s": 1, "deg": ' + "9" * 4000 + "}")
    assert reading["deg"] > 10**3000
    refused('{"at_s": 1, "deg": ' + "9" * 5000 + "}")  # more digits than Python reads


@pytest.mark.parametrize("depth", [10, 100, 500, 900, 950, 1000, 2000, 10_000, 30_000])
@pytest.mark.parametrize(("left", "right"), [("[", "]"), ('{"a":', "}")])
def test_depth(depth: int, left: str, right: str) -> None:
    """However deep: read or refused, and what was found can be said."""
    inside = left * depth + "1" + right * depth
    for text in (inside, f'{{"at_s": 1, "deg": {inside}}}', f'{{"readings": [{inside}]}}'):
        found = objects(text)
        if isinstance(found, tuple):
            for each in found[1]:
                assert len(in_short(each)) < 80
                assert len(in_short(inside_of(each))) < 80
        else:
            assert found.code == "bad-frame"


def inside_of(reading: Any) -> Any:
    return reading.get("deg", reading) if isinstance(reading, dict) else reading


@given(st.text(max_size=200))
def test_any_text(text: str) -> None:
    assert isinstance(objects(text), tuple | Fault)


words = st.text(max_size=9)
plain = st.none() | st.booleans() | st.integers() | st.floats() | words


@given(
    st.recursive(plain, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(words, inner, max_size=4))
)
def test_any_document(document: Any) -> None:
    assert isinstance(objects(json.dumps(document)), tuple | Fault)
    assert len(in_short(document)) <= 80
