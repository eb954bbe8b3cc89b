"""Draws and the intervals they keep: `kinematics.monte_carlo`, against JCGM 101 and against the law of propagation."""

import math

import numpy as np
import pytest

from kinematics.monte_carlo import draws, shortest, spread
from kinematics.propagation import Inputs, combine, coverage

MANY = 500_000
FOUR = tuple("abcd")


def sum_of(inputs: Inputs) -> np.ndarray:
    return np.asarray(draws(inputs, MANY, seed=101).sum(axis=1))


def end_error(density: float) -> float:
    """Four standard errors of a 2.5 % point of `MANY` draws where the output's density is this."""
    return 4.0 * math.sqrt(0.025 * 0.975 / MANY) / density


def test_sum_of_four_normal() -> None:
    """JCGM 101 9.2.2, check_values.md 7.4 (seen): u = 2.0, 95 % +- 3.92, by propagation and by Monte Carlo."""
    inputs = Inputs(FOUR, np.ones(4))
    (standard,) = combine(inputs, np.ones((1, 4))).standard.tolist()
    assert abs(standard - 2.0) <= 1e-15
    assert abs(coverage(standard) - 3.92) <= 0.005
    drawn = spread(sum_of(inputs))
    allowed = 0.005 + end_error(math.exp(-0.5 * 1.96**2) / (2.0 * math.sqrt(2.0 * math.pi)))
    assert abs(drawn.standard - 2.0) <= 4.0 * 2.0 / math.sqrt(2.0 * MANY)
    assert abs(drawn.low + 3.92) <= allowed
    assert abs(drawn.high - 3.92) <= allowed


def test_sum_of_four_rectangular() -> None:
    """JCGM 101 9.2.3, check_values.md 7.4 (seen): +- 3.88 by Monte Carlo and in truth, +- 3.92 by propagation."""
    inputs = Inputs(FOUR, np.ones(4), shapes=("rectangular",) * 4)
    # From memory: 2 sqrt(3) (2 - (3/5)^(1/4)). The density near the end is that of a corner of four dimensions.
    end = 2.0 * math.sqrt(3.0) * (2.0 - 0.6**0.25)
    assert abs(end - 3.88) <= 0.005
    density = (4.0 * math.sqrt(3.0) - end) ** 3 / (6.0 * (2.0 * math.sqrt(3.0)) ** 4)
    drawn = spread(sum_of(inputs))
    assert abs(drawn.low + end) <= end_error(density)
    assert abs(drawn.high - end) <= end_error(density)
    assert abs(coverage(combine(inputs, np.ones((1, 4))))[0] - 3.92) <= 0.005


def test_one_rectangular_outweighs() -> None:
    """JCGM 101 9.2.4 (from memory): one of four has u = 10. u = 10.1, +- 19.9 by propagation, +- 17.0 by Monte Carlo."""
    inputs = Inputs(FOUR, np.array([1.0, 1.0, 1.0, 10.0]), shapes=("rectangular",) * 4)
    found = combine(inputs, np.ones((1, 4)))
    assert abs(found.standard[0] - 10.1) <= 0.05
    assert abs(coverage(found)[0] - 19.9) <= 0.05
    low, high = shortest(sum_of(inputs))
    drawn = spread(sum_of(inputs))
    assert abs(drawn.high - 17.0) <= 0.05
    assert abs(drawn.low + 17.0) <= 0.05
    assert high - low <= drawn.high - drawn.low
    assert abs(high - low - 34.0) <= 0.1


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("shape", ["correlated", "normal", "rectangular", "triangular"])
def test_against_propagation(seed: int, shape: str) -> None:
    """Linear outputs: means, standard uncertainties and correlations within four of their own standard errors."""
    rng = np.random.default_rng(100 + seed)
    mixed = rng.normal(size=(5, 3))  # of rank 3: two sums of these five are known exactly
    mixed /= np.linalg.norm(mixed, axis=1, keepdims=True)
    inputs = Inputs(
        tuple("abcde"), rng.uniform(0.5, 2.0, 5), mixed @ mixed.T if shape == "correlated" else None,
        shapes=None if shape == "correlated" else (shape,) * 5,
    )  # fmt: skip
    rates = rng.normal(size=(3, 5))
    wanted = combine(inputs, rates)
    count = 100_000
    drawn = draws(inputs, count, seed) @ rates.T
    assert np.isfinite(drawn).all()
    assert (np.abs(drawn.mean(axis=0)) <= 4.0 * wanted.standard / math.sqrt(count)).all()
    # A kurtosis of at most the normal's: the standard deviation is known to 1 in sqrt(2 count).
    off = drawn.std(axis=0, ddof=1) / wanted.standard - 1.0
    assert (np.abs(off) <= 4.0 / math.sqrt(2.0 * count)).all()
    r = np.corrcoef(drawn.T)
    assert (np.abs(r - wanted.correlation) <= 4.0 / math.sqrt(count)).all()


def test_shapes() -> None:
    """Within sqrt(3), sqrt(6) standard uncertainties, and out to there; an exact input does not move."""
    inputs = Inputs(
        ("a", "b", "c"), np.array([2.0, 2.0, 0.0]), shapes=("rectangular", "triangular", "normal")
    )
    drawn = draws(inputs, MANY, seed=3)
    assert drawn.shape == (MANY, 3)
    most = np.abs(drawn).max(axis=0)
    assert 0.999 * 2.0 * math.sqrt(3.0) <= most[0] <= 2.0 * math.sqrt(3.0)
    # The corner of a triangle: of so many draws the outermost is some 1/sqrt(MANY) of the width from it.
    assert 0.99 * 2.0 * math.sqrt(6.0) <= most[1] <= 2.0 * math.sqrt(6.0)
    assert most[2] == 0.0
    # A quarter of the triangle lies beyond 1 - sqrt(1/2) of its half width, on both sides half.
    half = np.mean(np.abs(drawn[:, 1]) <= (1.0 - math.sqrt(0.5)) * 2.0 * math.sqrt(6.0))
    assert abs(half - 0.5) <= 4.0 * 0.5 / math.sqrt(MANY)


def test_the_same_for_one_seed() -> None:
    inputs = Inputs(("a", "b"), np.ones(2), np.array([[1.0, 0.5], [0.5, 1.0]]))
    assert (draws(inputs, 50, seed=7) == draws(inputs, 50, seed=7)).all()
    assert (draws(inputs, 50, seed=7) != draws(inputs, 50, seed=8)).all()


def test_alike_stay_alike() -> None:
    inputs = Inputs(
        ("a", "b", "c"), np.array([1.0, 2.0, 1.0]), np.array([[1.0, 1, -1], [1, 1, -1], [-1, -1, 1]])
    )
    drawn = draws(inputs, 1000, seed=5)
    assert np.max(np.abs(drawn[:, 1] - 2.0 * drawn[:, 0])) <= 1e-14
    assert np.max(np.abs(drawn[:, 2] + drawn[:, 0])) <= 1e-14
    assert np.std(drawn[:, 0]) > 0.5


def test_intervals_by_hand() -> None:
    """JCGM 101 7.7.2: of M = 100 at 95 % q = 95, r = 3: from the third to the 98th. In any order."""
    values = np.random.default_rng(0).permutation(np.arange(1.0, 101.0))
    assert spread(values)[2:] == (3.0, 98.0)
    assert abs(spread(values).mean - 50.5) <= 1e-12
    assert abs(spread(values).standard - math.sqrt(100.0 * 101.0 / 12.0)) <= 1e-12
    assert shortest(values) == (1.0, 96.0)
    assert shortest(values**2) == (1.0, 96.0**2)
    assert shortest(-(values**2)) == (-(96.0**2), -1.0)
