"""Every parser of bytes from outside on some bad input, the same each time; thousands by `python -m tests.endurance`.

What was found once stands in FOUND and is tried for ever.
"""

import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from kinematics.errors import Fault, Refused
from tests.fuzzing import engine
from tests.fuzzing.engine import Parser, case_of, fuzz, judged, odd_numbers
from tests.fuzzing.parsers import PARSERS
from tests.service.bus.test_csv_log import HEADING

CASES = 15
# Those that take a tenth of a second each.
FEW = {"machine profile": 6, "attachment profile": 6, "backup": 4}
BY_NAME = {parser.name: parser for parser in PARSERS}


def _snapshot(change: Callable[[Any], object]) -> bytes:
    said = json.loads(BY_NAME["another service's seconds"].seeds()[0])
    change(said)
    return json.dumps(said).encode()


# Bad input that once did what none may do, by parser.
FOUND: tuple[tuple[str, bytes], ...] = (
    ("request", b'{"a": 1, "a": 2, "b": }'),
    ("payload of a broker", b'{"\\ud800": 1}'),
    ("frame of a feeder", b'{"\\ud800": 1}'),
    ("another service's seconds", _snapshot(lambda said: said["sensors"]["body"]["track"].append([1.0, []]))),
    ("another service's seconds", _snapshot(lambda said: said.update(now=10**400))),
    ("log in CSV", f"{HEADING}\n0,1,1,1,1e308,0,0,1,0,0,0,1,\n".encode()),
    ("log in CSV", f"{HEADING}\n0,1,1,1,1,0,0,1,0,0,0,1e307,\n".encode()),
    ("described dig", BY_NAME["described dig"].seeds()[0] + b"\n[sensors.stick]\nbias = 1\n"),
)


@pytest.mark.parametrize("parser", PARSERS, ids=lambda parser: parser.name)
def test_some_bad_input(parser: Parser) -> None:
    outcome = fuzz(parser, FEW.get(parser.name, CASES))
    assert not outcome.findings, "\n".join(map(str, outcome.findings))
    assert sum(outcome.told.values()) == outcome.cases


@pytest.mark.parametrize(("name", "data"), FOUND)
def test_what_was_found(name: str, data: bytes) -> None:
    assert not judged(BY_NAME[name].read, data)[1]


def test_a_case_comes_again() -> None:
    """By its number alone: what is reported can be looked at."""
    for parser in PARSERS:
        if parser.name != "backup":  # zip archives hold the time
            assert case_of(parser, "3:17") == case_of(parser, "3:17")
    assert len({case_of(BY_NAME["record"], f"0:{i}") for i in range(20)}) > 15


# What must be found.


def _raises(error: Exception) -> Callable[[bytes], object]:
    def read(_data: bytes) -> object:
        raise error

    return read


def _endless(_data: bytes) -> object:
    while True:
        pass


WRONG: dict[str, tuple[Callable[[bytes], Any], str]] = {
    "another exception": (_raises(ValueError("x")), "ValueError: x"),
    "no fault": (_raises(Refused([])), "a refusal without a fault"),
    "no words": (_raises(Refused([Fault("x", "", "", "y")])), "a refusal 'x' without found"),
    "a fault given back": (lambda _: Fault("x", "", "a", ""), "a refusal 'x' without expected"),
    "half a letter": (
        _raises(Refused([Fault("x", "", "\ud800", "y")])),
        "a refusal 'x' that cannot be printed",
    ),
    "no number": (lambda _: {"a": [1.0, math.nan]}, "nan at .a.1"),
    "no numbers": (lambda _: (np.array([math.inf]),), "an array with numbers that are none at .0"),
    "a hang": (_endless, "at work for 0.05 s"),
    "much memory": (lambda _: bytes(200_000_000), "200 MB, more than 96"),
}


@pytest.mark.parametrize("what", WRONG)
def test_what_none_may_do(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "HANGS_S", 0.05)
    read, told = WRONG[what]
    parser = Parser("wrong", "bytes", lambda: [b"good"], read)
    found = [
        finding.what for finding in fuzz(parser, 2).findings if not finding.what.startswith("good input")
    ]
    assert found == [told] * 3


def test_good_input_that_is_refused() -> None:
    parser = Parser("strict", "bytes", lambda: [b"good"], lambda _: Fault("x", "", "a", "b"))
    assert [finding.what for finding in fuzz(parser, 0).findings] == ["good input refused: x"]


def test_what_is_finite() -> None:
    assert not list(odd_numbers({"a": (1.0, [2, None], "nan"), "b": np.arange(3.0)}))
