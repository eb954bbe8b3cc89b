"""What cannot be computed, with its numbers as attributes.

A `Fault` is one thing that is wrong and where; `Refused` carries all faults found at once.
Nothing here formats for HTTP or a terminal: the upper rooms do that from the same attributes.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong.

    `code` is stable and hyphenated ("out-of-stroke"); `where` a dotted place in the caller's input
    ("boom.cylinder", "" for the whole); `found`, `expected` and `advice` are plain words;
    `numbers` the same quantities for programs, unit in each name.
    """

    code: str
    where: str
    found: str
    expected: str
    advice: str = ""
    numbers: Mapping[str, float] = field(default_factory=dict)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f"; {self.advice}" if self.advice else ""
        return f"{place}expected {self.expected}, found {self.found}{advice}"

    def at(self, place: str) -> "Fault":
        """The same fault seen from further out: "boom" becomes "machine.boom"."""
        where = ".".join(part for part in (place, self.where) if part)
        return Fault(self.code, where, self.found, self.expected, self.advice, self.numbers)


class Refused(ValueError):
    """An input that cannot give a trustworthy number; `faults` holds every reason found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(str(fault) for fault in self.faults))

    @property
    def code(self) -> str:
        """The code of the first fault."""
        return self.faults[0].code


def refuse(faults: Iterable[Fault]) -> None:
    """Raise `Refused` if there is any fault at all; return None if there is none."""
    found = tuple(faults)
    if found:
        raise Refused(found)
