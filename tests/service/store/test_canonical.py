"""One text for one value, and every bit of it back."""

import struct
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.store import (
    Database,
    NotStorable,
    canonical_json,
    open_database,
    utc_text,
    utc_time,
    verify_chain,
)
from service.store.canonical import read_canonical
from tests.amounts import several
from tests.service.postgres import own_schema

from .conftest import Clock
from .making import append, log, open_job, touched

ON_EVERY_DATABASE = True


class Corner(StrEnum):
    """A text that has its own way of being written."""

    LEFT = "left"


# Hypothesis leaves surrogates out of text() only if told; a half pair is refused, tested below.
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=12,
)


def bits(value: Any) -> Any:
    """The value with each float as its 64 bits, so that -0.0 is not 0.0 and 1.0 is not 1."""
    if isinstance(value, float):
        return ("float", struct.pack(">d", value))
    if isinstance(value, dict):
        return {key: bits(item) for key, item in value.items()}
    if isinstance(value, list):
        return [bits(item) for item in value]
    return (type(value).__name__, value)


@pytest.fixture(scope="module")
def shared(store_kind: str, request: pytest.FixtureRequest) -> Iterator[Database]:
    """One database for all examples of a property."""
    if store_kind == "postgresql":
        address = own_schema(request.getfixturevalue("own_postgres"))
    else:
        folder: Path = request.getfixturevalue("tmp_path_factory").mktemp("payloads")
        address = f"sqlite:///{folder / 'jobs.sqlite'}"
    with open_database(address) as database:
        open_job(database, Clock())
        yield database


@given(payload=st.dictionaries(TEXT, VALUES, max_size=5))
@settings(deadline=None, max_examples=several(150))
def test_payloads_come_back_to_the_bit(shared: Database, payload: dict[str, Any]) -> None:
    event, _ = append(shared, Clock(), touched(**{"value": payload}))
    read = log(shared)[-2:]
    assert read[-1] == event
    assert bits(dict(read[-1].payload)["value"]) == bits(payload)
    assert verify_chain(read) is None


@given(value=VALUES)
@settings(deadline=None)
def test_reading_and_writing_again_gives_the_same_text(value: Any) -> None:
    text = canonical_json(value)
    assert bits(read_canonical(text)) == bits(value)
    assert canonical_json(read_canonical(text)) == text


@given(when=st.datetimes(timezones=st.just(UTC)), hours=st.integers(-12, 14))
@settings(deadline=None)
def test_times_come_back_to_the_microsecond(when: datetime, hours: int) -> None:
    text = utc_text(when)
    assert len(text) == len("2026-05-04T07:31:12.000250Z")
    assert utc_time(text) == when
    if 1 < when.year < 9999:  # beyond, another zone's time does not exist
        assert utc_text(when.astimezone(timezone(timedelta(hours=hours)))) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ({"b": 1, "a": [1.0, True, None]}, '{"a":[1.0,true,null],"b":1}'),
        ({"ü": "–", "z": '"\n'}, '{"z":"\\"\\n","ü":"–"}'),
        (MappingProxyType({"a": (1, 2)}), '{"a":[1,2]}'),
        (Corner.LEFT, '"left"'),
        ([0.1 + 0.2, -0.0, 1e16, 5e-324], "[0.30000000000000004,-0.0,1e+16,5e-324]"),
    ],
)
def test_the_form(value: Any, text: str) -> None:
    assert canonical_json(value) == text


def test_every_fault_is_named_with_its_place() -> None:
    with pytest.raises(NotStorable) as refused:
        canonical_json(
            {"a": [1.0, float("nan")], "b/c": float("-inf"), "d": {1: "x"}, "e": "\ud800", "f": b""}
        )
    assert [place for place, _, _ in refused.value.faults] == ["/a/1", "/b~1c", "/d", "/e", "/f"]
    assert "/a/1: expected a finite number, found nan" in str(refused.value)


@pytest.mark.parametrize(
    "text", ['{"a": 1}', '{"b":1,"a":2}', '{"a":1,"a":1}', "[1e999]", "[NaN]", "[1.00]", ""]
)
def test_other_spellings_are_not_read(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - json's own message where it is no JSON
        read_canonical(text)


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="with its zone"):
        utc_text(datetime(2026, 5, 4))


@pytest.mark.parametrize(
    "text", ["2026-05-04T07:31:12Z", "2026-05-04T09:31:12.000250+02:00", "2026-05-04", "now"]
)
def test_other_spellings_of_a_time_are_not_read(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - datetime's own message where it is no time
        utc_time(text)
