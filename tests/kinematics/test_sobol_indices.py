"""Sobol indices against published values and closed forms; refused where they would mislead."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.sobol_indices import sobol_indices
from kinematics.study_design import Design, Normal, Uniform, designed

from .rows import refusal

Floats = NDArray[np.float64]
# Of some thousand blocks of a Sobol sequence; as many random ones would give 0.03 (the bootstrap below).
WITHIN = 0.01


def of(design: Design) -> Floats:
    return design.points(0, design.rows)


def test_ishigami() -> None:
    """Y = sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1, each uniform on -pi to pi. Published: T. Ishigami, T. Homma, "An
    importance quantification technique in uncertainty analysis for computer models" (1990); A. Saltelli et al., "Global
    Sensitivity Analysis. The Primer" (2008): S1 0.3139, S2 0.4424, S3 0; total ST1 0.5576, ST2 0.4424, ST3 0.2437 (from
    memory; recomputed from the closed form below and agreeing)."""
    a, b = 7.0, 0.1
    first_part = 0.5 * (1.0 + b * math.pi**4 / 5.0) ** 2
    second_part = a**2 / 8.0
    joint_part = b**2 * math.pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    variance = first_part + second_part + joint_part
    published = {"first": (0.3139, 0.4424, 0.0), "total": (0.5576, 0.4424, 0.2437)}
    derived = {
        "first": (first_part / variance, second_part / variance, 0.0),
        "total": ((first_part + joint_part) / variance, second_part / variance, joint_part / variance),
    }
    design = designed(
        "sensitivity", {f"x{i}": Uniform(-math.pi, math.pi) for i in (1, 2, 3)}, rows=8192, seed=11
    )
    x1, x2, x3 = of(design).T
    found = sobol_indices(design, np.sin(x1) + a * np.sin(x2) ** 2 + b * x3**4 * np.sin(x1))
    for kind, told in (("first", found.first), ("total", found.total)):
        assert np.abs(np.array(published[kind]) - derived[kind]).max() <= 5e-5  # four printed decimals
        assert np.abs(told - published[kind]).max() <= WITHIN, kind
    assert (found.first_low <= published["first"]).all()
    assert (published["first"] <= found.first_high).all()
    assert (found.total_low <= published["total"]).all()
    assert (published["total"] <= found.total_high).all()
    assert (found.total_high - found.total_low).max() <= 0.1


def test_a_sum_shares_its_variance_as_its_terms_do() -> None:
    design = designed("sensitivity", {"a": Normal(5.0, 3.0), "b": Normal(-1.0, 4.0)}, rows=4096, seed=5)
    found = sobol_indices(design, of(design).sum(axis=1) + 1e4)  # a constant changes nothing
    for told in (found.first, found.total):
        assert np.abs(told - (9.0 / 25.0, 16.0 / 25.0)).max() <= WITHIN


def test_one_number_alone_makes_all() -> None:
    design = designed("sensitivity", {"a": Uniform(0.0, 1.0)}, rows=1024, seed=5)
    found = sobol_indices(design, np.exp(of(design)[:, 0]))
    assert found.first.shape == (1,)
    assert abs(found.first[0] - 1.0) <= WITHIN
    assert abs(found.total[0] - 1.0) <= WITHIN


def test_the_seed_decides_the_intervals_too() -> None:
    design = designed("sensitivity", {"a": Uniform(0.0, 1.0), "b": Uniform(0.0, 1.0)}, rows=256, seed=5)
    values = of(design).prod(axis=1)
    one, other = sobol_indices(design, values), sobol_indices(design, values)
    for name in ("first", "total", "first_low", "first_high", "total_low", "total_high"):
        assert np.array_equal(getattr(one, name), getattr(other, name))


@pytest.mark.parametrize(("values", "code"), [
    (np.zeros(32), "does-not-vary"),
    (np.full(32, math.nan), "not-known"),
    (np.zeros(31), "wrong-size"),
])  # fmt: skip
def test_refused(values: Floats, code: str) -> None:
    design = designed("sensitivity", {"a": Uniform(0.0, 1.0), "b": Uniform(0.0, 1.0)}, rows=8)
    assert refusal(lambda: sobol_indices(design, values)).code == code


def test_another_design_is_refused() -> None:
    design = designed("latin", {"a": Uniform(0.0, 1.0)}, rows=8)
    assert refusal(lambda: sobol_indices(design, np.zeros(8))).code == "wrong-form"
