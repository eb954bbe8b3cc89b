"""A sender's clock seen from ours: when a reading was taken, without trusting anybody's date.

We ask for the sender's clock and note when we asked and when the answer came. Ours minus theirs then lies between
asked - answer and answered - answer (the exchange of RFC 5905 without its division by two). Readings are dated by
the lower end, of the last three answers the one that tells most, so that a reading of a clock that runs evenly is never
taken for younger than it is, but for what such a clock drifts since the last answer (2.5 ms in 5 s); it is too old by
one round trip at most. A clock that is set on by less than a round trip is believed for three answers, 15 s.
"""

import math
from collections import deque
from typing import Any

from kinematics.errors import Fault

# What adjtime slews a clock by, and more than any crystal is off (from memory).
DRIFT = 500e-6
# Of an answer: slower tells too little of how old a reading is.
SLOWEST_S = 1.0
# Without an answer for so long the drift and a step of the clock can no longer be told from age.
KEPT_S = 20.0
ANSWERS = 3
ASK_EVERY_S, HALF_OPEN_S = 5.0, 15.0
_FUTURE_S = 0.005
_FAR_S = 1e12  # some 30 000 years; a clock in nanoseconds


class SenderClock:
    """What is known of one sender's clock. All times in seconds; `now` is our monotonic clock."""

    def __init__(self, now: float, first: int = 1) -> None:
        """`first`: the number of the first question."""
        self._asked: dict[int, float] = {}
        self._number = first - 1
        self._low = 0.0
        self._since: float | None = None
        self._ends: deque[tuple[float, float, float]] = deque(maxlen=ANSWERS)
        self._last: tuple[float, float] | None = None
        self.answered = now
        self.steps = 0

    def known(self, now: float) -> bool:
        """Whether there was a good answer lately."""
        return self._since is not None and now - self._since <= KEPT_S

    @property
    def newest(self) -> float:
        """The newest time of the sender's that was dated, by our clock; -inf for none."""
        return -math.inf if self._last is None else self._last[1]

    def ask(self, now: float) -> int:
        """The number of the next question, asked now."""
        self._number += 1
        self._asked[self._number] = now
        for old in [number for number in self._asked if number <= self._number - 4]:
            del self._asked[old]
        return self._number

    def answer(self, number: Any, at_s: Any, now: float) -> Fault | None:
        """Take an answer: the sender's clock read `at_s` at some moment between the question and now.

        Asked at 100.00, answered 7.00 at 100.02: a reading at 7.50 is from 100.50 of ours or up to 0.02 later.
        """
        if isinstance(number, bool) or not isinstance(number, int) or number not in self._asked:
            open_ = ", ".join(map(str, self._asked)) or "none"
            return Fault("bad-clock", "clock", repr(number)[:40], f"a question asked and not answered: {open_}",
                         "answer each question of the service once")  # fmt: skip
        if isinstance(at_s, bool) or not isinstance(at_s, float | int) or not abs(at_s) < _FAR_S:
            return Fault(
                "bad-clock", "at_s", repr(at_s)[:40], "the sender's own clock in seconds, a finite number"
            )
        asked = self._asked.pop(number)
        self.answered = now
        if now - asked > SLOWEST_S:
            return Fault(
                "slow-clock", "clock", f"an answer after {now - asked:.1f} s", f"one within {SLOWEST_S:g} s",
                "answer at once, before what waits to be sent", {"took_s": now - asked, "limit_s": SLOWEST_S},
            )  # fmt: skip
        low, high = asked - float(at_s), now - float(at_s)
        if any(
            each - DRIFT * (now - when) > high or low > other + DRIFT * (now - when)
            for each, other, when in self._ends
        ):
            self.steps += 1  # the clock was set on or back: what was known of it is of no use
            self._ends.clear()
            self._last = None
        self._ends.append((low, high, now))
        self._low, self._since = max(each - DRIFT * (now - when) for each, _, when in self._ends), now
        return None

    def date(self, at_s: Any, now: float) -> float | Fault:
        """A time of the sender's as one of ours, the earliest it can be; a `Fault` "bad-reading" for what is no time,
        "clock-unknown" without a good answer lately, "future-dated"."""
        if (type(at_s) is not float and type(at_s) is not int) or not abs(at_s) < _FAR_S:
            return Fault(
                "bad-reading", "at_s", repr(at_s)[:40], "the sender's own clock in seconds, a finite number"
            )
        if self._since is None or now - self._since > KEPT_S:
            return Fault("clock-unknown", "at_s", "a reading while the sender's clock is not known",
                         'an answer to the question: {"clock": n, "at_s": your clock now}')  # fmt: skip
        ours = self._low + at_s
        ahead = ours - now - _FUTURE_S - DRIFT * (now - self._since)
        if ahead > 0.0:
            return Fault(
                "future-dated", "at_s", f"a reading {ahead:.3f} s in the future", "a time that has passed",
                "date readings in seconds, by the clock that answers; one that was set on is asked anew in 5 s",
                {"ahead_s": ahead},
            )  # fmt: skip
        # An answer that tells less than those before must not put readings in another order; what they told still holds.
        last = self._last
        if last is not None:
            if at_s < last[0]:
                return ours
            ours = max(ours, last[1] + 0.5 * (at_s - last[0]))
        self._last = at_s, ours
        return ours
