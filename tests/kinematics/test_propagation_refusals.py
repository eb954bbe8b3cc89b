"""What `kinematics.propagation` and `monte_carlo` refuse: all faults at once, in words, at their places."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from kinematics.errors import Refused
from kinematics.monte_carlo import draws, shortest, spread
from kinematics.propagation import Inputs, Series, combine, coverage, rates_of

NAN, INF = math.nan, math.inf
AB = ("a", "b")
ONE_AND_TWO: Any = [1.0, 2.0]


def faults(call: Callable[[], object]) -> list[tuple[str, str]]:
    with pytest.raises(Refused) as refused:
        call()
    for fault in refused.value.faults:
        assert fault.found
        assert fault.expected
    return [(fault.code, fault.where) for fault in refused.value.faults]


def two(**changed: Any) -> Inputs:
    return Inputs(**{"names": AB, "standard": np.array([1.0, 2.0]), **changed})


@pytest.mark.parametrize(
    ("changed", "wanted"),
    [
        ({"standard": [-1.0, 2.0]}, [("negative-uncertainty", "standard.a")]),
        ({"standard": [-INF, NAN]}, [("not-finite", "standard.a"), ("not-finite", "standard.b")]),
        ({"standard": [1.0]}, [("wrong-length", "standard")]),
        ({"standard": 1.0}, [("wrong-length", "standard")]),
        ({"standard": [1.0, "2"]}, [("not-a-number", "standard")]),
        ({"standard": [True, False]}, [("not-a-number", "standard")]),
        ({"standard": [[1.0], [1.0, 2.0]]}, [("ragged", "standard")]),
        ({"standard": np.ma.masked_array([1.0, 2.0], [False, True])}, [("not-a-number", "standard")]),
        ({"names": ("a", "a")}, [("name-taken", "names.a")]),
        ({"names": (), "standard": []}, [("wrong-length", "names")]),
        ({"freedom": [0.5, NAN]}, [("out-of-range", "freedom.a"), ("out-of-range", "freedom.b")]),
        ({"freedom": [-INF, 3.0]}, [("out-of-range", "freedom.a")]),
        ({"freedom": [3.0]}, [("wrong-length", "freedom")]),
        ({"shapes": ("normal",)}, [("wrong-length", "shapes")]),
        ({"shapes": ("normal", "bell")}, [("not-a-choice", "shapes.b")]),
        ({"correlation": [[1.0, 0.5], [0.4, 1.0]]}, [("not-a-correlation", "correlation.0.1")]),
        ({"correlation": [[1.0, 0.5], [0.5, 0.9]]}, [("not-a-correlation", "correlation.1.1")]),
        ({"correlation": [[1.0, 1.5], [1.5, 1.0]]}, [("not-a-correlation", "correlation.0.1")]),
        ({"correlation": [[1.0, NAN], [0.5, 1.0]]}, [("not-finite", "correlation.0.1")]),
        ({"correlation": [1.0, 1.0]}, [("wrong-length", "correlation")]),
        (
            {"correlation": [[1.0, 0.5], [0.5, 1.0]], "shapes": ("normal", "rectangular")},
            [("not-drawn-so", "shapes.b")],
        ),
        (
            {"standard": [-1.0, NAN], "freedom": [0.0, 1.0], "shapes": ("round", "normal"),
             "correlation": [[2.0, 0.0], [0.0, 1.0]]},
            [("not-finite", "standard.b"), ("out-of-range", "freedom.a"), ("not-a-correlation", "correlation.0.0"),
             ("not-a-choice", "shapes.a")],
        ),
    ],
)  # fmt: skip
def test_inputs(changed: dict[str, Any], wanted: list[tuple[str, str]]) -> None:
    assert faults(lambda: two(**changed)) == wanted


def test_what_is_allowed() -> None:
    """Exactly known, alike, with freedom without bounds; a rectangular input beside correlated ones; rounding."""
    two(standard=[0.0, 0.0], freedom=[1.0, INF], shapes=("triangular", "rectangular"))
    two(correlation=[[1.0, 1.0], [1.0, 1.0]])
    two(correlation=[[1.0, 1.0 + 1e-9], [1.0, 1.0]])
    r = [[1.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 1.0]]
    Inputs(("a", "b", "c"), np.ones(3), np.array(r), shapes=("normal", "normal", "rectangular"))


def test_correlations_that_cannot_be_together() -> None:
    """a goes with b and c, b against c: their sum b + c - 0.. would have a variance below 0. d stands apart."""
    r = np.eye(4)
    r[0, 1] = r[1, 0] = 0.9
    r[0, 2] = r[2, 0] = 0.1
    r[1, 2] = r[2, 1] = -0.8
    with pytest.raises(Refused) as refused:
        Inputs(("a", "b", "c", "d"), np.ones(4), r)
    (fault,) = refused.value.faults
    assert fault.code == "not-a-correlation"
    assert fault.numbers["smallest_eigenvalue"] == pytest.approx(np.linalg.eigvalsh(r)[0])
    assert -1.0 < fault.numbers["smallest_eigenvalue"] < 0.0
    assert fault.advice == "look at a with b first, 0.9"


@pytest.mark.parametrize(
    ("covariance", "wanted"),
    [
        ([[-1.0, 0.0], [0.0, 1.0]], [("negative-uncertainty", "covariance.a")]),
        ([[1.0, 2.0], [2.0, 1.0]], [("not-a-correlation", "covariance.0.1")]),
        ([[4.0, 1.0], [-1.0, 4.0]], [("not-a-correlation", "covariance.0.1")]),
        ([[0.0, 1.0], [1.0, 1.0]], [("not-a-correlation", "covariance")] * 2),
        ([[1.0, INF], [1.0, 1.0]], [("not-finite", "covariance.0.1")]),
        ([1.0, 1.0], [("wrong-length", "covariance")]),
    ],
)
def test_covariances(covariance: Any, wanted: list[tuple[str, str]]) -> None:
    assert faults(lambda: Inputs.of_covariance(AB, covariance)) == wanted


def test_a_covariance_that_cannot_be() -> None:
    r = np.array([[1.0, 0.9, 0.9], [0.9, 1.0, -0.9], [0.9, -0.9, 1.0]])
    assert faults(lambda: Inputs.of_covariance("abc", 4.0 * r)) == [("not-a-correlation", "covariance")]


def test_names() -> None:
    with pytest.raises(Refused, match="one of a, b, found 'c'") as refused:
        two().at("c")
    assert refused.value.code == "unknown-parameter"
    many = Inputs((*(f"pin_{i}" for i in range(30)), "boom_length", "stick_length"), np.ones(32))
    with pytest.raises(Refused, match="32 names, the nearest boom_length") as refused:
        many.at("boom_lenght")
    assert "pin_7" not in str(refused.value)
    with pytest.raises(Refused, match="one of 32 names, found 'qqq'"):
        many.at("qqq")


@pytest.mark.parametrize(
    ("call", "wanted"),
    [
        (lambda: combine(two(), [[1.0]]), [("wrong-length", "rates")]),
        (lambda: combine(two(), [1.0, 1.0]), [("wrong-length", "rates")]),
        (lambda: combine(two(), [[1.0, NAN]]), [("not-finite", "rates.0.1")]),
        (lambda: combine(two(), [[1.0, 1.0]], [1.0, 2.0]), [("wrong-length", "value")]),
        (lambda: combine(two(), [[INF, 1.0]], [NAN]), [("not-finite", "rates.0.0"), ("not-finite", "value.0")]),
        (lambda: combine(two(), [[1e200, 1.0]]), [("not-finite", "rates")]),
        (lambda: combine(two(correlation=np.ones((2, 2))), [[1e200, -1e200]]), [("not-finite", "rates")]),
        (lambda: combine(two(correlation=np.ones((2, 2))), [[0.9e154, 0.4e154]]), [("not-finite", "rates")]),
        (lambda: coverage(-1.0), [("negative-uncertainty", "standard")]),
        (lambda: coverage(NAN, 0.5, 1.0),
         [("not-finite", "standard"), ("out-of-range", "freedom"), ("out-of-range", "probability")]),
        (lambda: coverage(1.0, NAN, NAN), [("out-of-range", "freedom"), ("out-of-range", "probability")]),
        (lambda: coverage(np.ones(2), [1.0, 2.0, 3.0]), [("wrong-length", "freedom")]),
        (lambda: coverage(1.0, ONE_AND_TWO), [("wrong-length", "freedom")]),
        (lambda: Series.from_readings([[1.0]], "a"), [("too-few-readings", "readings")]),
        (lambda: Series.from_readings([[1.0, 2.0]], AB), [("wrong-length", "readings")]),
        (lambda: Series.from_readings([[1.0, NAN]], "a"), [("not-finite", "readings.0.1")]),
        (lambda: draws(two(), 0, -1), [("out-of-range", "count"), ("out-of-range", "seed")]),
        (lambda: draws(two(), count=True, seed=1), [("out-of-range", "count")]),
        (lambda: spread([1.0, 2.0]), [("too-few-draws", "values")]),
        (lambda: spread([]), [("too-few-draws", "values")]),
        (lambda: shortest([1.0, 2.0, 3.0], 0.1), [("too-few-draws", "values")]),
        (lambda: spread([1.0, INF], 0.0), [("not-finite", "values.1"), ("out-of-range", "probability")]),
        (lambda: shortest([[1.0, 2.0]], 2.0), [("wrong-length", "values"), ("out-of-range", "probability")]),
    ],
)  # fmt: skip
def test_calls(call: Callable[[], object], wanted: list[tuple[str, str]]) -> None:
    assert faults(call) == wanted


def grows(x: Any) -> list[float]:
    """As many outputs as its number says."""
    return [1.0] * math.ceil(x[0])


@pytest.mark.parametrize(
    ("function", "at", "steps", "wanted"),
    [
        (math.sin, [0.0], None, [("no-step", "steps.0")]),
        (sum, [1.0, 1e20], [1.0, 1.0], [("no-step", "steps.1")]),
        (sum, [1.0, 2.0], [0.0, -1.0], [("not-positive", "steps.0"), ("not-positive", "steps.1")]),
        (sum, [1.0, NAN], None, [("not-finite", "at.1")]),
        (sum, [1.0, 2.0], [1.0], [("wrong-length", "steps")]),
        (sum, 1.0, None, [("wrong-length", "at")]),
        (lambda x: abs(x[0]), [0.01], [0.1], [("no-derivative", "at.0")]),
        (lambda x: float(x[0] > 0.0), [0.01], [0.1], [("no-derivative", "at.0")]),
        (lambda _: NAN, [1.0], None, [("not-finite", "function")]),
        (lambda _: [1.0, INF], [1.0], None, [("not-finite", "function.1")]),
        (lambda _: "far", [1.0], None, [("not-a-number", "function")]),
        (lambda _: [[1.0]], [1.0], None, [("wrong-length", "function")]),
        (lambda x: 1e200 * (1e200 * x[0]), [1e-100], [1e-100], [("not-finite", "at.0")]),
        (grows, [2.0], [0.5], [("wrong-length", "function")]),
    ],
)
def test_rates(function: Any, at: Any, steps: Any, wanted: list[tuple[str, str]]) -> None:
    assert faults(lambda: rates_of(function, at, steps)) == wanted


def test_what_a_function_raises_goes_through() -> None:
    with pytest.raises(ZeroDivisionError):
        rates_of(lambda _: 1 // 0, [1.0])
