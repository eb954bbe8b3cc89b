"""Runs a parser on bad input and says what it may not do: fail otherwise than in words, hang, swallow memory, or give a
number that is none.

Memory is counted (tracemalloc and Arrow's own pool), and so is time: of the processor, of this process alone.
"""

import dataclasses
import math
import signal
import tracemalloc
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from contextlib import contextmanager
from dataclasses import dataclass, field
from random import Random
from types import FrameType
from typing import Any

import numpy as np

from kinematics.errors import Fault, Refused
from machine_profiles import ProfileFaulty
from service.problems import Problem

from .mutations import spoilt

MOST_MB = 96.0
"""Above what was there before: the largest file that is taken (a DBC of 20 MB, as text) may be held some times over."""
HANGS_S = 30.0
"""Of the processor. Cases take milliseconds: what is at work for so long on a few kilobytes does not end."""
_MOST_TOLD = 20


@dataclass(frozen=True, slots=True)
class Parser:
    """`read` takes bytes and returns what they say or a `Fault`, or raises a refusal. `form`: how to bend `seeds`.
    `make`: input made otherwise, by the grammar of its own. `also`: what seeds may be told, good as they are."""

    name: str
    form: str
    seeds: Callable[[], Sequence[bytes]]
    read: Callable[[bytes], object]
    make: Callable[[Random], bytes] | None = None
    also: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Finding:
    """A case that did what none may do. `case` begets `data` again: `case_of(parser, case)`."""

    parser: str
    case: str
    what: str
    data: bytes

    def __str__(self) -> str:
        return f"{self.parser}, case {self.case}: {self.what}; {len(self.data)} bytes, {self.data[:80]!r}"


@dataclass(slots=True)
class Outcome:
    """`told`: by code, how often a refusal began with it; "good": what was taken."""

    parser: str
    cases: int = 0
    told: Counter[str] = field(default_factory=Counter)
    findings: list[Finding] = field(default_factory=list)


def case_of(parser: Parser, case: str) -> bytes:
    """The input of a case, "SEED:NUMBER"."""
    rng = Random(f"{parser.name}:{case}")  # noqa: S311 - nothing is secret here
    if parser.make is not None and rng.random() < 0.5:
        return parser.make(rng)
    return spoilt(rng, parser.seeds(), parser.form)


def fuzz(parser: Parser, cases: int, seed: int = 0) -> Outcome:
    """So many cases; the seeds themselves first, which must be taken."""
    outcome = Outcome(parser.name)
    begun = tracemalloc.is_tracing()
    if not begun:
        tracemalloc.start()
    try:
        for i, good in enumerate(parser.seeds()):
            code = _tried(parser, f"seed {i}", good, outcome)
            if code not in {"good", "", *parser.also}:
                outcome.findings.append(
                    Finding(parser.name, f"seed {i}", f"good input refused: {code}", good)
                )
        for number in range(cases):
            case = f"{seed}:{number}"
            _tried(parser, case, case_of(parser, case), outcome)
            if len(outcome.findings) >= _MOST_TOLD:
                break
    finally:
        if not begun:
            tracemalloc.stop()
    return outcome


def _tried(parser: Parser, case: str, data: bytes, outcome: Outcome) -> str:
    outcome.cases += 1
    code, wrong = judged(parser.read, data)
    if code:
        outcome.told[code] += 1
    outcome.findings += [Finding(parser.name, case, each, data) for each in wrong]
    return code


def judged(read: Callable[[bytes], object], data: bytes) -> tuple[str, list[str]]:
    """(the code of the refusal or "good", what it may not do)."""
    before, arrow = _memory()
    tracemalloc.reset_peak()
    wrong: list[str] = []
    code = ""
    try:
        with _bounded():
            found = read(data)
        if isinstance(found, Fault):
            code, wrong = found.code, list(_wordless([found]))
        else:
            code, wrong = "good", list(odd_numbers(found))
    except (Refused, ProfileFaulty) as refused:
        code, wrong = refused.faults[0].code if refused.faults else "", list(_wordless(refused.faults))
    except Problem as problem:
        code, wrong = problem.slug, [] if problem.detail else list(_wordless(problem.faults))
    except _HangsError:
        wrong = [f"at work for {HANGS_S:g} s"]
    except Exception as error:
        wrong = [f"{type(error).__name__}: {str(error)[:200]}"]
    mb = max(tracemalloc.get_traced_memory()[1] - before, _memory()[1] - arrow) / 1e6
    if mb > MOST_MB:
        wrong.append(f"{mb:.0f} MB, more than {MOST_MB:g}")
    return code, wrong


def _memory() -> tuple[int, int]:
    import pyarrow as pa  # noqa: PLC0415 - its pool only tells the most ever

    return tracemalloc.get_traced_memory()[0], pa.default_memory_pool().max_memory() or 0


class _HangsError(BaseException):
    """Passes by whoever catches everything."""


@contextmanager
def _bounded() -> Iterator[None]:
    def end(_number: int, _frame: FrameType | None) -> None:
        raise _HangsError

    former = signal.signal(signal.SIGVTALRM, end)
    signal.setitimer(signal.ITIMER_VIRTUAL, HANGS_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, former)


def _wordless(faults: Sequence[Any]) -> Iterator[str]:
    """What a refusal lacks: a fault, its words, or letters that can be written."""
    if not faults:
        yield "a refusal without a fault"
    for each in faults:
        words = {"code": each.code, "found": each.found, "expected": each.expected}
        yield from (f"a refusal {each.code!r} without {name}" for name, said in words.items() if not said)
        try:
            f"{each}".encode()
        except UnicodeEncodeError:
            yield f"a refusal {each.code!r} that cannot be printed"


_LEAVES = (str, bytes, int, type(None), bool, Random)
_MOST_LOOKED_AT = 20_000


def odd_numbers(found: object) -> Iterator[str]:
    """Numbers that are none in what a parser gave, at most five of them."""
    seen: set[int] = set()
    waiting: list[tuple[str, object]] = [("", found)]
    told = 0
    while waiting and told < 5 and len(seen) < _MOST_LOOKED_AT:
        place, value = waiting.pop()
        if isinstance(value, _LEAVES) or id(value) in seen:
            continue
        if isinstance(value, float | np.floating):
            if not math.isfinite(value):
                told += 1
                yield f"{value} at {place}"
            continue
        seen.add(id(value))
        if isinstance(value, np.ndarray):
            if value.dtype.kind == "f" and not np.isfinite(value).all():
                told += 1
                yield f"an array with numbers that are none at {place}"
        elif isinstance(value, Mapping):
            waiting += [(f"{place}.{key}", each) for key, each in value.items()]
        elif isinstance(value, list | tuple | Set):
            waiting += [(f"{place}.{i}", each) for i, each in enumerate(value)]
        elif dataclasses.is_dataclass(value):
            waiting += [
                (f"{place}.{each.name}", getattr(value, each.name)) for each in dataclasses.fields(value)
            ]
