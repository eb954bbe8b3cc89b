"""Where a log says that its clock was set back: its order is that of its numbers, whatever its dates say.

That a clock was set on leaves no trace; a pause looks the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from .seen import CLOCK_SLACK
from .state import Entry


@dataclass(frozen=True, slots=True)
class SetBack:
    """At entry `seq` the clock stood `seconds` before the entry before it; that one's date or its own is wrong."""

    seq: int
    seconds: float

    @property
    def words(self) -> str:
        """For whoever reads dates."""
        return (
            f"between entries {self.seq - 1} and {self.seq} the clock was set back by {self.seconds:.0f} s, or is that "
            "of another replica: their order is that of their numbers, dates and times on one side of it are wrong"
        )


def set_back(entries: Sequence[Entry]) -> list[SetBack]:
    """Every place of a log, in order, where the clock went back."""
    return [
        SetBack(later.seq, (earlier.recorded_utc - later.recorded_utc).total_seconds())
        for earlier, later in pairwise(entries)
        if earlier.recorded_utc - later.recorded_utc > CLOCK_SLACK
    ]


def set_back_on(entries: Sequence[Entry], day: date) -> list[SetBack]:
    """Those by which an entry of a day may belong to another day, or another to this one.

    An entry of the day before the step is dated later than what came after it; one after the step, earlier.
    """

    def odd(entry: Entry, at: int) -> bool:
        if entry.seq < at:
            return entry.recorded_utc > entries[at - 1].recorded_utc
        return entry.recorded_utc < entries[at - 2].recorded_utc

    of_day = [each for each in entries if each.observed_utc.date() == day]
    return [step for step in set_back(entries) if any(odd(each, step.seq) for each in of_day)]


def unrolled(entries: Sequence[Entry]) -> dict[int, datetime]:
    """When each entry of a log was observed, by seq, as if the clock had stood still where it was set back: so that times
    rise as they did."""
    back, found = timedelta(0), {}
    for i, entry in enumerate(entries):
        if i and entries[i - 1].recorded_utc - entry.recorded_utc > CLOCK_SLACK:
            back += entries[i - 1].recorded_utc - entry.recorded_utc
        found[entry.seq] = entry.observed_utc + back
    return found
