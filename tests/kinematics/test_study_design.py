"""Designs of studies: stratified, seeded, the same in parts as in one piece; what is no design is refused."""

import math

import numpy as np
import pytest
from scipy import stats

from kinematics.study_design import KINDS, Design, Kind, Levels, Normal, Uniform, Variation, designed

from .rows import refusal

CUBE: dict[str, Variation] = {"a": Uniform(0.0, 1.0), "b": Uniform(0.0, 1.0), "c": Normal(0.0, 1.0)}


def made(kind: Kind, rows: int = 1024, seed: int = 7) -> Design:
    if kind == "grid":
        return designed(kind, {"a": Levels((1.0, 2.0, 3.0)), "b": Levels((0.0, 5.0))}, seed=seed)
    return designed(kind, CUBE, rows=rows, seed=seed)


@pytest.mark.parametrize("kind", KINDS)
def test_parts_are_the_whole_to_the_bit(kind: Kind) -> None:
    design = made(kind)
    whole = design.points(0, design.rows)
    assert whole.shape == (design.rows, len(design.names))
    for size in (1, 5, 64, 1000):
        parts = [design.points(i, min(i + size, design.rows)) for i in range(0, design.rows, size)]
        assert np.array_equal(np.concatenate(parts), whole), size
    assert design.points(5, 5).shape == (0, len(design.names))


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "grid"])
def test_the_seed_decides(kind: Kind) -> None:
    assert np.array_equal(made(kind, seed=3).points(0, 64), made(kind, seed=3).points(0, 64))
    assert not np.array_equal(made(kind, seed=3).points(0, 64), made(kind, seed=4).points(0, 64))


@pytest.mark.parametrize("rows", [1, 2, 3, 7, 64, 1000, 65_537])
def test_latin_has_every_stratum_once(rows: int) -> None:
    """McKay, Beckman, Conover, Technometrics 21 (1979): one value in each of n strata of equal probability."""
    points = made("latin", rows).points(0, rows)
    for column in (points[:, 0], points[:, 1], stats.norm.cdf(points[:, 2])):
        assert np.array_equal(np.sort(np.floor(column * rows)), np.arange(rows))


def test_latin_columns_are_not_tied_to_each_other() -> None:
    points = made("latin", 4096).points(0, 4096)
    off = np.asarray(np.corrcoef(points.T)) - np.eye(3)
    assert np.abs(off).max() <= 4.0 / math.sqrt(4096)  # four standard errors of no correlation


def test_sobol_is_balanced() -> None:
    """A (t, m, s)-net: of 1024 points in one dimension every one of 1024 equal parts has one."""
    points = made("sobol", 1024).points(0, 1024)
    for column in (points[:, 0], points[:, 1]):
        assert np.array_equal(np.sort(np.floor(column * 1024)), np.arange(1024))


def test_random_is_uniform_and_normal() -> None:
    points = made("random", 20_000).points(0, 20_000)
    assert stats.kstest(points[:, 0], "uniform").pvalue > 1e-3
    assert stats.kstest(points[:, 2], "norm").pvalue > 1e-3


@pytest.mark.parametrize("kind", ["random", "latin", "sobol"])
def test_normals_are_correlated_as_asked(kind: Kind) -> None:
    design = designed(
        kind, {"a": Normal(1.0, 2.0), "u": Uniform(0.0, 1.0), "b": Normal(5.0, 0.1), "c": Normal(0.0, 1.0)},
        rows=8192, seed=1, correlations={("a", "b"): 0.8, ("b", "c"): -0.5},
    )  # fmt: skip
    points = design.points(0, design.rows)
    assert np.array_equal(points[100:177], design.points(100, 177))
    found = np.asarray(np.corrcoef(points.T))
    within = 4.0 / math.sqrt(design.rows)
    for i, j, wanted in ((0, 2, 0.8), (2, 3, -0.5), (0, 3, 0.0), (0, 1, 0.0)):
        assert abs(found[i, j] - wanted) <= within
    assert abs(points[:, 0].mean() - 1.0) <= 2.0 * within
    assert abs(points[:, 0].std() - 2.0) <= 2.0 * within


def test_a_grid_counts_its_last_name_fastest() -> None:
    assert made("grid").points(0, 4).tolist() == [[1.0, 0.0], [1.0, 5.0], [2.0, 0.0], [2.0, 5.0]]


def test_sensitivity_rows_are_a_b_and_a_with_one_column_of_b() -> None:
    """Saltelli et al., Computer Physics Communications 181 (2010), table 2: A, B, then A with column i of B."""
    design = designed("sensitivity", {"a": Uniform(0.0, 1.0), "b": Uniform(0.0, 1.0)}, rows=8, seed=2)
    assert (design.rows, design.blocks) == (32, 8)
    for block in design.points(0, 32).reshape(8, 4, 2):
        a, b, first, second = block
        assert first.tolist() == [b[0], a[1]]
        assert second.tolist() == [a[0], b[1]]
        assert set(a) & set(b) == set()


@pytest.mark.parametrize(("kind", "variations", "rows", "code", "where"), [
    ("latin", {}, 8, "no-variation", ""),
    ("latin", {f"n{i}": Uniform(0.0, 1.0) for i in range(65)}, 8, "too-many-names", ""),
    ("latin", {"a": Uniform(1.0, 1.0)}, 8, "out-of-range", "a"),
    ("latin", {"a": Uniform(0.0, math.inf)}, 8, "not-finite", "a"),
    ("latin", {"a": Normal(0.0, 0.0)}, 8, "out-of-range", "a"),
    ("latin", {"a": Levels((1.0,))}, 8, "wrong-form", "a"),
    ("grid", {"a": Uniform(0.0, 1.0)}, None, "wrong-form", "a"),
    ("grid", {"a": Levels(())}, None, "wrong-size", "a"),
    ("grid", {"a": Levels((1.0,))}, 3, "wrong-form", "rows"),
    ("grid", {f"n{i}": Levels(tuple(map(float, range(1000)))) for i in range(4)}, None, "too-many-rows", ""),
    ("latin", {"a": Uniform(0.0, 1.0)}, 0, "wrong-size", "rows"),
    ("latin", {"a": Uniform(0.0, 1.0)}, None, "wrong-size", "rows"),
    ("latin", {"a": Uniform(0.0, 1.0)}, 2**31, "too-many-rows", "rows"),
    ("sobol", {"a": Uniform(0.0, 1.0)}, 1000, "wrong-size", "rows"),
])  # fmt: skip
def test_refused(
    kind: Kind, variations: dict[str, Variation], rows: int | None, code: str, where: str
) -> None:
    fault = refusal(lambda: designed(kind, variations, rows=rows)).faults[0]
    assert (fault.code, fault.where) == (code, where)


def test_correlations_refused() -> None:
    three: dict[str, Variation] = {name: Normal(0.0, 1.0) for name in "abc"}
    tied = {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9}
    assert refusal(lambda: designed("random", three, rows=8, correlations=tied)).code == "not-correlated"
    assert (
        refusal(lambda: designed("random", CUBE, rows=8, correlations={("a", "c"): 0.5})).code
        == "not-correlated"
    )
    assert (
        refusal(lambda: designed("random", three, rows=8, correlations={("a", "b"): 1.0})).code
        == "out-of-range"
    )
    code = refusal(lambda: designed("sensitivity", three, rows=8, correlations={("a", "b"): 0.5})).code
    assert code == "not-correlated"


def test_a_seed_is_a_whole_number() -> None:
    assert refusal(lambda: designed("latin", CUBE, rows=8, seed=-1)).faults[0].where == "seed"
