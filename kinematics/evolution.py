"""Differential evolution (R. Storn, K. Price, J. of Global Optimization 11 (1997)), a generation at a time: where it
stands can be told and taken up, and it then comes to the same.

Each trial is the best so far, moved by a share of the way between two others, in some of its numbers; the share is drawn
anew for each generation. A candidate that its trial does not beat stays.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Objective = Callable[[Floats], Floats]
"""Candidates (n, numbers) to what is to be made small (n,)."""
_SHARE = (0.5, 1.0)
_CROSSED = 0.7
_ALIKE = 1e-10


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """Where an evolution stands: `candidates` (n, numbers) as shares of their ranges, `values` (n,) of them, how many
    `generations` are done, and the state of its `generator`."""

    candidates: Floats
    values: Floats
    generations: int
    generator: Mapping[str, Any]


def begun(objective: Objective, low: Floats, high: Floats, count: int, seed: list[int]) -> Standing:
    """The first generation of `count` candidates, each number once in each of as many equal parts of its range."""
    generator = np.random.Generator(np.random.PCG64(seed))
    parts = np.stack([generator.permutation(count) for _ in range(low.size)], axis=1)
    shares = (parts + generator.random((count, low.size))) / count
    return Standing(shares, objective(low + shares * (high - low)), 0, generator.bit_generator.state)


def evolved(objective: Objective, low: Floats, high: Floats, at: Standing) -> Standing:
    """One generation on."""
    generator = np.random.Generator(np.random.PCG64())
    generator.bit_generator.state = at.generator
    trials = _trials(at, generator)
    values = objective(low + trials * (high - low))
    better = values <= at.values
    return Standing(
        np.where(better[:, None], trials, at.candidates), np.where(better, values, at.values), at.generations + 1,
        generator.bit_generator.state,
    )  # fmt: skip


def settled(at: Standing) -> bool:
    """Whether all its candidates are alike, so that nothing more comes of it."""
    return bool(np.std(at.values) <= _ALIKE * abs(np.mean(at.values)))


def _trials(at: Standing, generator: np.random.Generator) -> Floats:
    count, numbers = at.candidates.shape
    own = np.arange(count)
    one = generator.integers(0, count - 1, count)
    one += one >= own
    other = generator.integers(0, count - 2, count)
    for taken in (np.minimum(own, one), np.maximum(own, one)):
        other += other >= taken
    best = at.candidates[int(np.argmin(at.values))]
    moved = best + generator.uniform(*_SHARE) * (at.candidates[one] - at.candidates[other])
    crossed = generator.random((count, numbers)) < _CROSSED
    crossed[own, generator.integers(0, numbers, count)] = True
    trials = np.where(crossed, moved, at.candidates)
    return np.where((trials >= 0.0) & (trials <= 1.0), trials, generator.random((count, numbers)))
