"""The best of many candidates, and where one goal can only be bettered at the cost of another: for anything that can
be told of a whole population at once.

One goal: differential evolution (`evolution`). Two: the epsilon-constraint method (Y. Haimes et al. (1971)): the first
goal at its best for one bound after the other on the second; of all candidates ever looked at, those that no other
betters in both.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .errors import Fault, Refused
from .evolution import Standing, begun, evolved, settled

Floats = NDArray[np.float64]
Judge = Callable[[Floats], tuple[Floats, Floats]]
"""Candidates (n, numbers) to goals (n, goals), all to be made small, and by how much each misses what it must keep
to (n,), 0 where it keeps to all; goals of a candidate that misses may be anything but NaN."""
Tell = Callable[[int, int], bool]
"""Is called after each generation with how many searches are done, and of how many; False ends it."""
_HOPELESS = 1e9
_SEARCHES = 16


@dataclass(frozen=True, slots=True, eq=False)
class SearchState:
    """All that a search goes on from, after any generation: which of its searches is under way (`number`) and where it
    `stands`, None before it began; the most that the other goal `may_be` in it; `numbers` and `goals` of candidates that
    none betters so far, `looked_at`, `kept`."""

    number: int
    stands: Standing | None
    may_be: float
    numbers: Floats
    goals: Floats
    looked_at: int
    kept: int


Keep = Callable[[SearchState], None]
"""Is called with the state after each generation."""


@dataclass(frozen=True, slots=True, eq=False)
class Searched:
    """Candidates that keep to everything and that no other betters in every goal: numbers (n, d), goals (n, g), in
    the order of the first goal. `looked_at` how many were judged, `kept` how many of them kept to everything;
    `whole` False where the search was ended early."""

    numbers: Floats
    goals: Floats
    looked_at: int
    kept: int
    whole: bool


def search(
    judge: Judge, low: Sequence[float], high: Sequence[float], goals: int, *, seed: int, generations: int = 60,
    candidates: int = 64, tell: Tell = lambda _done, _of: True, keep: Keep = lambda _state: None,
    state: SearchState | None = None,
) -> Searched:  # fmt: skip
    """The best candidate by one goal, or the front of two, between `low` and `high` of each number; the same for one
    seed, also where it goes on from a `state` that the same search was `keep`ing.

    Of x^2 and (x - 2)^2 the front is x from 0 to 2. Raises `Refused`: "nothing-found" where no candidate keeps to
    everything, "out-of-range".
    """
    faults = [
        Fault("out-of-range", f"low.{i}", f"{a:g} to {b:g}", "low below high")
        for i, (a, b) in enumerate(zip(low, high, strict=True)) if not a < b
    ]  # fmt: skip
    for name, value, least in (("generations", generations, 1), ("candidates", candidates, 8)):
        if value < least:
            faults.append(Fault("out-of-range", name, str(value), f"at least {least}"))
    if goals not in (1, 2):
        faults.append(Fault("out-of-range", "goals", str(goals), "one or two"))
    if faults:
        raise Refused(faults)
    begins = state or SearchState(0, None, np.inf, np.empty((0, len(low))), np.empty((0, goals)), 0, 0)
    bounds = np.array(low), np.array(high)
    return _Search(judge, bounds, seed, generations, candidates, tell, keep, begins).found(goals)


def searches(goals: int) -> int:
    """How many searches one call is made of: one for one goal; for two, one for each and for every bound between."""
    return 1 if goals == 1 else _SEARCHES


def unbettered(goals: Floats) -> NDArray[np.int64]:
    """Indices of those of `goals` (n, 1 or 2) that no other betters, in the order of the first goal: of (0, 4), (1,
    1) and (2, 2) the first two. Of several alike the first."""
    order = np.lexsort(goals.T[::-1])
    if goals.shape[1] == 1:
        return order[:1]
    second = goals[order, 1]
    before = np.minimum.accumulate(np.concatenate([[np.inf], second[:-1]]))
    kept: NDArray[np.int64] = order[second < before]
    return kept


class _Search:
    def __init__(
        self, judge: Judge, bounds: tuple[Floats, Floats], seed: int, generations: int, candidates: int, tell: Tell,
        keep: Keep, state: SearchState,
    ) -> None:  # fmt: skip
        self._judge, self._seed = judge, seed
        self._low, self._high = bounds
        self._generations, self._candidates, self._tell, self._keep = generations, candidates, tell, keep
        self._state = state

    def found(self, goals: int) -> Searched:
        """As `search`."""
        count = searches(goals)
        going = True
        while going and self._state.number < count:
            going = self._tell(self._state.number, count) and self._once(count)
        state = self._state
        if going:
            self._tell(count, count)
        if not len(state.goals):
            told = f"none of {state.looked_at} candidates kept to everything"
            raise Refused([
                Fault("nothing-found", "", told, "one at least", "widen the ranges, or ask for less") if going else
                Fault("nothing-found", "", f"{told} by when it was ended", "one at least", "let it go on")
            ])  # fmt: skip
        return Searched(state.numbers, state.goals, state.looked_at, state.kept, going)

    def _may_be(self, count: int) -> float:
        """The most that the other goal may be: anything for each alone, then from one end of the front to the other."""
        number, ends = self._state.number, self._state.goals
        if number < 2 or not len(ends):
            return np.inf
        return float(ends[0, 1] + (number - 1) / (count - 1) * (ends[-1, 1] - ends[0, 1]))

    def _once(self, count: int) -> bool:
        """One search of `count` from where it stands to its end, True; or until it is to be ended, False."""
        if self._state.stands is None:
            self._state = replace(self._state, may_be=self._may_be(count))
        number, may_be = self._state.number, self._state.may_be
        goal = number % 2 if not np.isfinite(may_be) else 0

        def objective(numbers: Floats) -> Floats:
            goals, missed = self._judge(numbers)
            self._see(numbers, goals, missed <= 0.0)
            over = (
                np.maximum(goals[:, 1 - goal] - may_be, 0.0) if np.isfinite(may_be) else np.zeros(len(goals))
            )
            value = np.where(over > 0.0, _HOPELESS * 1e-3 * (1.0 + over), goals[:, goal])
            return np.asarray(np.where(missed <= 0.0, value, _HOPELESS * (1.0 + missed)))

        stands = self._state.stands
        if stands is None:
            stands = begun(objective, self._low, self._high, self._candidates, [self._seed, number])
            self._stand(stands)
        while stands.generations < self._generations and not settled(stands):
            if not self._tell(number, count):
                return False
            stands = evolved(objective, self._low, self._high, stands)
            self._stand(stands)
        self._state = replace(self._state, number=number + 1, stands=None, may_be=np.inf)
        self._keep(self._state)
        return True

    def _stand(self, stands: Standing) -> None:
        self._state = replace(self._state, stands=stands)
        self._keep(self._state)

    def _see(self, numbers: Floats, goals: Floats, kept: NDArray[np.bool_]) -> None:
        """Take those that keep to everything into the front."""
        state = self._state
        numbers, goals = (
            np.concatenate([state.numbers, numbers[kept]]),
            np.concatenate([state.goals, goals[kept]]),
        )
        best = unbettered(goals)
        self._state = replace(
            state, numbers=numbers[best], goals=goals[best], looked_at=state.looked_at + kept.size,
            kept=state.kept + int(kept.sum()),
        )  # fmt: skip
