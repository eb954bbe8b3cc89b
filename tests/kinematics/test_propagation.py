"""The law of propagation: `kinematics.propagation`, against the GUM's examples and the package `uncertainties`."""

import math
import tracemalloc
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from kinematics.monte_carlo import draws, spread
from kinematics.propagation import Combined, Inputs, Series, combine, coverage, rates_of
from tests.need import need
from tests.reference.tables import column
from tests.tolerances import ROUNDING

Floats = NDArray[np.float64]
seeds = st.integers(0, 2**32 - 1)

RATES = 1e-9
"""Relative: central differences over a thousandth lose a few units in 1e-12 of a smooth rate; more where parts cancel."""


def close(found: object, wanted: object, allowed: float) -> None:
    found, wanted = np.asarray(found), np.asarray(wanted)
    assert np.isfinite(found).all()
    assert np.max(np.abs(found - wanted)) <= allowed, (found, wanted)


def random_inputs(seed: int, n: int, *, correlated: bool = True) -> Inputs:
    """Names a0, a1, ...; standard uncertainties between 0.01 and 0.1."""
    rng = np.random.default_rng(seed)
    names = tuple(f"a{i}" for i in range(n))
    standard = rng.uniform(0.01, 0.1, n)
    if not correlated:
        return Inputs(names, standard)
    mixed = rng.normal(size=(n, n + 1))
    mixed /= np.linalg.norm(mixed, axis=1, keepdims=True)
    return Inputs(names, standard, mixed @ mixed.T)


# The examples of the GUM

END_GAUGE = (
    # name, value, standard uncertainty, degrees of freedom, shape; nm, 1/K, K. Widths and freedoms from memory.
    ("standard", 50_000_623.0, 25.0, 18.0, "normal"),
    ("observations", 215.0, 5.8, 24.0, "normal"),
    ("comparator, random", 0.0, 3.9, 5.0, "normal"),
    ("comparator, systematic", 0.0, 6.7, 8.0, "normal"),
    ("expansion", 11.5e-6, 2e-6 / math.sqrt(3.0), math.inf, "rectangular"),
    ("temperature", -0.1, 0.41, math.inf, "normal"),
    ("expansions' difference", 0.0, 1e-6 / math.sqrt(3.0), 50.0, "rectangular"),
    ("temperatures' difference", 0.0, 0.05 / math.sqrt(3.0), 2.0, "rectangular"),
)  # fmt: skip


def end_gauge(x: Floats) -> Floats:
    """GUM (H.2): length of the gauge; x shape (8,) or (8, count)."""
    length, *difference, expansion, temperature, by_expansion, by_temperature = x
    return np.asarray(
        length + sum(difference) - length * (by_expansion * temperature + expansion * by_temperature)
    )


@pytest.fixture(scope="module")
def gauge() -> tuple[Floats, Inputs]:
    names, values, standard, freedom, shapes = zip(*END_GAUGE, strict=True)
    inputs = Inputs(names, np.array(standard), freedom=np.array(freedom), shapes=shapes)
    return np.array(values), inputs


def test_end_gauge(gauge: tuple[Floats, Inputs]) -> None:
    """GUM H.1, check_values.md 7.1 (seen): components, u_c = 32 nm, nu 16, l = 50 000 838 nm. From memory: 93 nm at 99 %,
    k = 2.92."""
    values, inputs = gauge
    found = combine(inputs, rates_of(end_gauge, values, inputs.standard), [end_gauge(values)])
    assert found.value is not None
    close(found.value, [50_000_838.0], 0.5)
    parts = dict(zip(inputs.names, np.sqrt(found.parts[0]).tolist(), strict=True))
    printed = {
        "standard": 25.0, "observations": 5.8, "comparator, random": 3.9, "comparator, systematic": 6.7, "expansion": 0.0,
        "temperature": 0.0, "expansions' difference": 2.887, "temperatures' difference": 16.599,
    }  # fmt: skip
    close([parts[name] for name in printed], list(printed.values()), 0.0005)
    close(found.standard, [32.0], 0.5)
    assert math.floor(found.freedom[0]) == 16
    close(coverage(1.0, 16.0, 0.99), 2.92, 0.005)
    close(coverage(32.0, 16.0, 0.99), 93.0, 0.5)


def test_end_gauge_to_second_order(gauge: tuple[Floats, Inputs]) -> None:
    """GUM H.1.7 (from memory): 34 nm where terms of second order count; drawn 200 000 times, +- 0.2 nm."""
    values, inputs = gauge
    drawn = spread(end_gauge((values + draws(inputs, 200_000, seed=1)).T))
    close(drawn.standard, 34.0, 0.5 + 0.2)
    close(drawn.mean, 50_000_838.0, 0.5 + 4.0 * 34.0 / math.sqrt(200_000))


def impedance(x: Floats) -> list[float]:
    """GUM H.2: resistance, reactance, impedance (ohm) of voltage (V), current (mA), phase (rad)."""
    z = 1e3 * x[0] / x[1]
    return [z * math.cos(x[2]), z * math.sin(x[2]), z]


def readings_h2() -> Floats:
    return np.array([column("gum_h2.csv", name) for name in ("V", "I", "phi")])


def test_resistance_and_reactance() -> None:
    """GUM H.2, check_values.md 7.2: values and uncertainties seen, correlations from memory."""
    means, inputs = Series.from_readings(readings_h2(), ("V", "I", "phi"))
    found = combine(inputs, rates_of(impedance, means), impedance(means))
    close(found.value, [127.732, 219.847, 254.260], 0.0005)
    close(found.standard, [0.071, 0.295, 0.236], 0.001)
    close(found.correlation[np.triu_indices(3, 1)], [-0.588, -0.485, 0.993], 0.0005)
    close(found.freedom, [4.0, 4.0, 4.0], ROUNDING * 4.0)


def test_resistance_set_by_set() -> None:
    """GUM H.2.4, approach 2 (from memory): each set of readings through the formula, then the mean."""
    each = np.array([impedance(x) for x in readings_h2().T]).T
    means, inputs = Series.from_readings(each, ("R", "X", "Z"))
    close(means, [127.732, 219.847, 254.260], 0.001)
    close(inputs.standard, [0.071, 0.295, 0.236], 0.001)


def test_calibration_line() -> None:
    """GUM H.3, check_values.md 7.3 (seen): intercept -0.1712(29), slope 0.00218(67), r -0.93, b(30) -0.1494(41)."""
    t, b = column("gum_h3.csv", "t"), column("gum_h3.csv", "b")
    line = np.stack([np.ones_like(t), t - 20.0], axis=1)
    by_reading = np.linalg.pinv(line)
    left = b - line @ (by_reading @ b)
    scatter = math.sqrt(float(left @ left) / 9.0)
    readings = Inputs(tuple(f"b{k}" for k in range(11)), np.full(11, scatter))
    fitted = combine(readings, by_reading, by_reading @ b)
    assert fitted.value is not None
    close(fitted.value[0], -0.1712, 0.00005)
    close(fitted.value[1], 0.00218, 0.000005)
    close(fitted.standard[0], 0.0029, 0.00005)
    close(fitted.standard[1], 0.00067, 0.000005)
    close(fitted.correlation[0, 1], -0.93, 0.005)
    numbers = Inputs.of_covariance(("intercept", "slope"), fitted.covariance, [9.0, 9.0])
    at_30 = combine(numbers, [[1.0, 10.0]], [fitted.value @ [1.0, 10.0]])
    close(at_30.value, [-0.1494], 0.00005)
    close(at_30.standard, [0.0041], 0.00005)
    close(at_30.freedom, [9.0], ROUNDING * 9.0)


@pytest.mark.parametrize(
    ("freedom", "at_95", "at_99"),
    [
        (1.0, 12.71, 63.66),
        (10.0, 2.23, 3.17),
        (16.0, 2.12, 2.92),
        (50.0, 2.01, 2.68),
        (math.inf, 1.960, 2.576),
    ],
)
def test_coverage_factors(freedom: float, at_95: float, at_99: float) -> None:
    """GUM table G.2 (from memory)."""
    close(coverage(1.0, freedom), at_95, 0.005)
    close(coverage(1.0, freedom, 0.99), at_99, 0.005)


def test_coverage_of_normal() -> None:
    close(coverage(1.0), 1.959964, 5e-7)
    close(coverage(1.0, 1e12), coverage(1.0), 1e-9)


# Another's arithmetic


def crooked(m: Any, x: Any) -> list[Any]:
    """Three smooth functions of four numbers, for `math` and for `uncertainties.umath`."""
    return [
        m.sin(x[0]) * x[1] + m.exp(-x[2] * x[3]),
        m.atan2(x[0] * x[3], x[1] + x[2]),
        m.sqrt(x[0] ** 2 + x[1] ** 2) - 2.0 * x[2] * m.cos(x[3]),
    ]


@settings(deadline=None)
@given(seeds, st.lists(st.floats(0.5, 2.0), min_size=4, max_size=4), st.booleans())
def test_against_uncertainties(seed: int, at: list[float], correlated: bool) -> None:
    theirs = need("uncertainties")
    umath = need("uncertainties.umath", "uncertainties")
    inputs = random_inputs(seed, 4, correlated=correlated)
    known = np.eye(4) if inputs.correlation is None else inputs.correlation
    covariance = known * np.outer(inputs.standard, inputs.standard)
    outputs = crooked(umath, theirs.correlated_values(at, covariance))
    wanted = np.array(theirs.covariance_matrix(outputs))
    rates = rates_of(lambda x: crooked(math, x), at)
    alone = [theirs.ufloat(value, u) for value, u in zip(at, inputs.standard, strict=True)]
    exact = np.array([[y.derivatives[x] for x in alone] for y in crooked(umath, alone)])
    close(rates, exact, RATES * 10.0)
    found = combine(inputs, rates)
    scale = np.linalg.norm(exact * inputs.standard, axis=1)
    close(found.covariance / np.outer(scale, scale), wanted / np.outer(scale, scale), RATES * 10.0)
    close(combine(inputs, exact).covariance, wanted, 1e-12 * float(np.max(scale)) ** 2)


# What must hold of any


@settings(deadline=None)
@given(seeds, st.booleans())
def test_parts_add_up(seed: int, correlated: bool) -> None:
    inputs = random_inputs(seed, 6, correlated=correlated)
    rates = np.random.default_rng(seed).normal(size=(3, 6))
    found = combine(inputs, rates)
    size = float(np.max((rates * inputs.standard) ** 2))
    close(found.parts.sum(axis=1), found.standard**2, 100.0 * ROUNDING * size)
    close(np.diagonal(found.covariance), found.standard**2, 100.0 * ROUNDING * size)
    close(found.covariance, found.covariance.T, 0.0)
    assert correlated or (found.parts >= 0.0).all()


@settings(deadline=None)
@given(seeds, st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_scaling(seed: int, by: float, of_unit: float) -> None:
    """Rates times a factor: uncertainties as well. One input in another unit: nothing."""
    inputs = random_inputs(seed, 5)
    rates = np.random.default_rng(seed).normal(size=(2, 5))
    found = combine(inputs, rates)
    close(combine(inputs, by * rates).standard / by, found.standard, 1e-9)
    units = np.array([of_unit, 1.0, 1.0, 1.0, 1.0])
    renamed = Inputs(inputs.names, inputs.standard * units, inputs.correlation)
    close(combine(renamed, rates / units).standard, found.standard, 1e-9)


@settings(deadline=None)
@given(seeds, st.permutations(range(5)))
def test_order_of_inputs(seed: int, order: list[int]) -> None:
    inputs = random_inputs(seed, 5)
    assert inputs.correlation is not None
    freedom = np.array([3.0, math.inf, 5.0, 5.0, 9.0])
    told = Inputs(inputs.names, inputs.standard, inputs.correlation, freedom)
    turned = Inputs(
        tuple(inputs.names[i] for i in order), inputs.standard[order], inputs.correlation[np.ix_(order, order)],
        freedom[order],
    )  # fmt: skip
    rates = np.random.default_rng(seed).normal(size=(2, 5))
    one, other = combine(told, rates), combine(turned, rates[:, order])
    size = float(np.max((rates * inputs.standard) ** 2))
    close(other.covariance, one.covariance, 1e-12 * size)
    close(other.parts, one.parts[:, order], 1e-12 * size)
    close(1.0 / other.freedom, 1.0 / one.freedom, 1e-9 * float(np.max(1.0 / one.freedom)))
    assert [turned.at(name) for name in inputs.names] == [order.index(i) for i in range(5)]


@settings(deadline=None)
@given(seeds)
def test_a_series_through_a_sum(seed: int) -> None:
    """A sum of readings taken at once: the same from the means as from the sums, freedom and all (GUM H.2.4)."""
    rng = np.random.default_rng(seed)
    readings = rng.normal(size=(3, 6)) @ np.diag(rng.uniform(0.5, 2.0, 6)) + 10.0
    weights = rng.normal(size=(1, 3))
    means, inputs = Series.from_readings(readings, "abc")
    sums, direct = Series.from_readings(weights @ readings, "y")
    found = combine(inputs, weights, weights @ means)
    close(found.value, sums, 1e-12 * 100.0)
    close(found.standard, direct.standard, 1e-9)
    close(found.freedom, [5.0], 1e-9)


def test_two_of_unlike_freedom() -> None:
    """Welch and Satterthwaite by hand: u = 1, nu = 4 and u = 2, nu = inf give 25/(1/4) = 100; two alike twice theirs."""
    once = Inputs(("a", "b"), np.array([1.0, 2.0]), freedom=np.array([4.0, math.inf]))
    close(combine(once, [[1.0, 1.0], [0.0, 1.0], [1.0, 0.0]]).freedom[[0, 2]], [100.0, 4.0], 1e-9)
    assert combine(once, [[0.0, 1.0]]).freedom[0] == math.inf
    alike = Inputs(("a", "b"), np.array([1.0, 1.0]), freedom=np.array([7.0, 7.0]))
    close(combine(alike, [[1.0, -1.0]]).freedom, [14.0], 1e-9)
    together = Inputs(
        ("a", "b"), np.array([1.0, 1.0]), np.array([[1.0, 0.5], [0.5, 1.0]]), np.array([7.0, 7.0])
    )
    close(combine(together, [[1.0, -1.0]]).freedom, [7.0], 1e-9)


def test_what_cancels_leaves_nothing() -> None:
    """A constant zero that enters with 8 m/rad and leaves with 8 m/rad: nothing, not the root of rounding; no NaN."""
    shared = np.full((3, 3), 1.0)
    inputs = Inputs(("a", "b", "c"), np.array([0.1, 0.1, 0.3]), shared, np.array([2.0, 2.0, 2.0]))
    found = combine(inputs, [[8.0, -8.0, 0.0], [3.0, 0.0, -1.0], [1.0, 1.0, 0.0]])
    assert found.standard[:2].tolist() == [0.0, 0.0]
    assert found.freedom[:2].tolist() == [math.inf, math.inf]
    close(found.standard[2], 0.2, 1e-15)
    close(found.correlation, np.eye(3), 0.0)
    assert coverage(found)[:2].tolist() == [0.0, 0.0]


@settings(deadline=None)
@given(seeds)
def test_a_covariance_comes_back(seed: int) -> None:
    inputs = random_inputs(seed, 4)
    back = Inputs.of_covariance(inputs.names, combine(inputs, np.eye(4)).covariance)
    assert back.correlation is not None
    close(back.standard, inputs.standard, 1e-14)
    close(back.correlation, inputs.correlation, 1e-12)
    apart = Inputs.of_covariance(("a", "b"), [[4e-6, 0.0], [0.0, 0.0]])
    assert apart.correlation is None
    assert apart.standard.tolist() == [0.002, 0.0]


def test_one_that_never_varies() -> None:
    """The same reading three times, a third that no binary number holds: no scatter, correlated with nothing."""
    means, inputs = Series.from_readings([[0.1] * 3, [1.0, 2.0, 4.0], [3.0, 2.0, 0.0]], "abc")
    assert means[0] == 0.1
    assert inputs.standard[0] == 0.0
    close(inputs.correlation, [[1.0, 0.0, 0.0], [0.0, 1.0, -1.0], [0.0, -1.0, 1.0]], 1e-12)
    assert combine(inputs, [[1.0, 0.0, 0.0], [0.0, 1.0, 1.0]]).standard[0] == 0.0


@settings(deadline=None)
@given(seeds)
def test_more_quantities_than_readings(seed: int) -> None:
    """Forty read four times: of rank 3, with units from nano to giga, still a covariance; outputs of outputs too."""
    rng = np.random.default_rng(seed)
    units = 10.0 ** rng.uniform(-9.0, 9.0, (40, 1))
    _, inputs = Series.from_readings(units * rng.normal(size=(40, 4)), [f"a{i}" for i in range(40)])
    assert inputs.root is not None
    assert inputs.root.shape == (40, 3)
    found = combine(inputs, rng.normal(size=(50, 40)) / units.T)
    again = Inputs.of_covariance([f"y{i}" for i in range(50)], found.covariance)
    close(combine(again, np.eye(50)).standard / found.standard, np.ones(50), 1e-9)


def test_uncorrelated_builds_no_square() -> None:
    """20 000 inputs: a square of them would take 3.2 GB, eight rows 1.3 MB."""
    n = 20_000
    inputs = Inputs(tuple(map(str, range(n))), np.ones(n), freedom=np.full(n, 9.0))
    rates = np.ones((8, n))
    tracemalloc.start()
    found = combine(inputs, rates)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    close(found.standard, np.full(8, math.sqrt(n)), 1e-9)
    close(found.freedom, np.full(8, 9.0 * n), 1e-3)
    assert most < 16e6


def test_nothing_that_is_given_is_kept() -> None:
    standard = np.array([1.0, 2.0])
    inputs = Inputs(("a", "b"), standard)
    standard[0] = 5.0
    assert inputs.standard.tolist() == [1.0, 2.0]
    with pytest.raises(ValueError, match="read-only"):
        inputs.standard[0] = 3.0


@pytest.mark.parametrize(
    ("function", "at", "steps", "wanted"),
    [
        (lambda x: x[0] ** 2, [3.0], None, [[6.0]]),
        (lambda x: x[0] ** 4, [0.5], [0.05], [[0.5]]),
        (lambda x: [math.sin(x[0]), x[0] * x[1]], [0.0, 2.0], [0.01, 0.01], [[1.0, 0.0], [2.0, 0.0]]),
        (lambda _: 7.0, [1.0, 2.0], None, [[0.0, 0.0]]),
    ],
)
def test_rates(function: Callable[[Floats], Any], at: Any, steps: Any, wanted: Any) -> None:
    """Of a fourth power exact but for rounding; of a sine over 0.01 to 0.01^4 / 480."""
    close(rates_of(function, at, steps), wanted, 1e-10)


def test_combined_without_values() -> None:
    found = combine(random_inputs(1, 2), [[1.0, 1.0]])
    assert isinstance(found, Combined)
    assert found.value is None
