"""What was noticed, counted, and told once and then seldom: a fault that comes with every frame is one line."""

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from kinematics.errors import Fault

from .items import kind_of

AGAIN_S = 30.0
CHANGE_S = 2.0
MOST_PLACES = 500
"""Of faults kept apart by place: a bus that sends every identifier there is must not fill the memory."""


_PARTED = "; "


def without_count(found: str) -> str:
    """What was found as it was before its count was added."""
    words, parted, count = found.rpartition(_PARTED)
    return words if parted and count.endswith(" times by now") else found


@dataclass(slots=True)
class _Tally:
    fault: Fault
    every_s: float
    new: int = 0
    total: int = 0
    told_s: float = -math.inf


@dataclass(slots=True)
class Tallies:
    """Faults by code and place, of "no-value" each kind of words by itself. `totals`: how many of each code."""

    totals: Counter[str] = field(default_factory=Counter)
    _by: dict[tuple[str, str, str], _Tally] = field(default_factory=dict)

    def fault(self, fault: Fault, *, every_s: float = AGAIN_S) -> None:
        """One more of it; what it says last is what is told."""
        self.totals[fault.code] += 1
        key = fault.code, fault.where, kind_of(fault.found) if fault.code == "no-value" else ""
        tally = self._by.get(key)
        if tally is None:
            if len(self._by) >= MOST_PLACES:
                key = fault.code, "", ""
                fault = replace(fault, where="")
            tally = self._by.setdefault(key, _Tally(fault, every_s))
        tally.fault = fault
        tally.new += 1
        tally.total += 1

    def add(self, code: str, where: str, found: str, expected: str, advice: str = "") -> None:
        """The same of its parts."""
        self.fault(Fault(code, where, found, expected, advice))

    def change(self, code: str, where: str, found: str, expected: str, advice: str = "") -> None:
        """Something that began or ended: told at once, two seconds apart at least."""
        self.fault(Fault(code, where, found, expected, advice), every_s=CHANGE_S)

    def all(self, faults: Iterable[Fault]) -> None:
        """Changes, each as a fault."""
        for fault in faults:
            self.fault(fault, every_s=CHANGE_S)

    def due(self, now_s: float) -> list[Fault]:
        """What is to be told now, in the order in which it was first noticed."""
        told = []
        for tally in self._by.values():
            if tally.new and now_s - tally.told_s >= tally.every_s:
                fault = tally.fault
                found = (
                    fault.found if tally.total == 1 else f"{fault.found}{_PARTED}{tally.total} times by now"
                )
                told.append(
                    replace(fault, found=found, numbers={**fault.numbers, "times": float(tally.total)})
                )
                tally.new, tally.told_s = 0, now_s
        return told
