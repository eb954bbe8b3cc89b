"""Designs of studies: which values the varied numbers take, row by row.

Every row is a function of the seed and of its own number alone, so that any part of a design is the same whoever makes
it, in whatever order: `points(40, 60)` are rows 40 to 59 of `points(0, 100)`, to the bit.

Sources: Latin hypercube, M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979); its permutations by
the generalised Feistel network of J. Black, P. Rogaway, "Ciphers with arbitrary finite domains" (2002), which walks on
where it is out of range; Sobol sequence by scipy with the scrambling of S. Joe, F. Y. Kuo and A. B. Owen; the design
of Sobol indices, A. Saltelli et al., Computer Physics Communications 181 (2010).
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from .errors import Fault, refuse

Kind = Literal["grid", "random", "latin", "sobol", "sensitivity"]
KINDS: tuple[Kind, ...] = ("grid", "random", "latin", "sobol", "sensitivity")
MOST_ROWS = 2**30
"""A scrambled Sobol sequence of scipy has so many points, and no study more rows."""
MOST_NAMES = 64
Floats = NDArray[np.float64]
_ROUNDS = 8
_IN_STRATUM = 2**20
_LEAST = 2.0**-54  # below half the step of numbers drawn; a normal deviate of 0 would lie nowhere


@dataclass(frozen=True, slots=True)
class Uniform:
    """Anything from `low` to `high`, alike."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal about `mean` with this standard deviation."""

    mean: float
    standard: float


@dataclass(frozen=True, slots=True)
class Levels:
    """These values and no others: one axis of a grid."""

    values: tuple[float, ...]


Variation = Uniform | Normal | Levels


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """So many rows of values of named numbers; made by `designed`.

    Rows of a grid count its axes like the digits of a number, the last name fastest. Rows of a design for Sobol indices
    come in blocks of len(names) + 2: a row of A, one of B, then A with one column after the other from B.
    """

    kind: Kind
    names: tuple[str, ...]
    variations: tuple[Variation, ...]
    rows: int
    seed: int
    root: Floats | None = field(default=None)

    def points(self, first: int, last: int) -> Floats:
        """Rows `first` to `last` (not included), shape (last - first, names), in the variations' own units."""
        rows = np.arange(first, last, dtype=np.int64)
        if self.kind == "grid":
            return self._of_grid(rows)
        if self.kind == "sensitivity":
            return self._valued(self._of_sensitivity(rows))
        return self._valued(_CUBES[self.kind](rows, len(self.names), self.rows, self.seed))

    @property
    def blocks(self) -> int:
        """How many rows A has, of a design for Sobol indices; of any other its rows."""
        return self.rows // (len(self.names) + 2) if self.kind == "sensitivity" else self.rows

    def _of_grid(self, rows: NDArray[np.int64]) -> Floats:
        axes = [np.array(each.values) for each in self.variations if isinstance(each, Levels)]
        places = np.unravel_index(rows, [axis.size for axis in axes])
        return np.stack([axis[place] for axis, place in zip(axes, places, strict=True)], axis=1)

    def _of_sensitivity(self, rows: NDArray[np.int64]) -> Floats:
        names = len(self.names)
        block, within = np.divmod(rows, names + 2)
        first = int(block[0]) if block.size else 0
        both = _sobol(np.arange(first, int(block[-1]) + 1 if block.size else 0), 2 * names, 0, self.seed)
        a, b = both[block - first, :names], both[block - first, names:]
        from_b = (within[:, None] == 1) | (within[:, None] - 2 == np.arange(names)[None, :])
        return np.where(from_b, b, a)

    def _valued(self, cube: Floats) -> Floats:
        """Points of the unit cube as values: through the inverse of each distribution."""
        normal = [i for i, each in enumerate(self.variations) if isinstance(each, Normal)]
        out = np.empty_like(cube)
        if normal:
            scores = ndtri(cube[:, normal])
            if self.root is not None:
                scores = _correlated(scores, self.root)
            for k, i in enumerate(normal):
                each = self.variations[i]
                assert isinstance(each, Normal)  # noqa: S101 - as chosen above
                out[:, i] = each.mean + each.standard * scores[:, k]
        for i, each in enumerate(self.variations):
            if isinstance(each, Uniform):
                out[:, i] = each.low + (each.high - each.low) * cube[:, i]
        return out


def designed(
    kind: Kind, variations: Mapping[str, Variation], *, rows: int | None = None, seed: int = 0,
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Design:  # fmt: skip
    """A design of `rows` rows ("sensitivity": blocks of len(variations) + 2), of a grid as many as its axes make.

    Three rows of a Latin hypercube of one length from 4.0 to 4.3 m have one below 4.1, one below 4.2, one above.
    `correlations`: of the normal scores of two normal variations.
    Raises `Refused`, every fault at its name: "no-variation", "too-many-names", "infinite-grid", "too-many-rows",
    "wrong-size" (rows; of a Sobol sequence a power of two), "out-of-range", "not-finite", "not-correlated".
    """
    names = tuple(variations)
    faults = [*_of_names(names), *_of_variations(kind, variations)]
    if not isinstance(seed, int) or isinstance(seed, bool) or not 0 <= seed < 2**63:
        faults.append(Fault("out-of-range", "seed", str(seed), "a whole number from 0 to 2^63 - 1"))
    count = 0 if faults else _rows_of(kind, variations, rows, faults)
    root = None if faults else _root(kind, variations, correlations or {}, faults)
    refuse(faults)
    return Design(kind, names, tuple(variations.values()), count, seed, root)


def _of_names(names: Sequence[str]) -> Iterator[Fault]:
    if not names:
        yield Fault("no-variation", "", "nothing that varies", "at least one number with its variation")
    if len(names) > MOST_NAMES:
        yield Fault("too-many-names", "", f"{len(names)} varied numbers", f"at most {MOST_NAMES}",
                    "hold the rest at their values")  # fmt: skip


def _of_variations(kind: Kind, variations: Mapping[str, Variation]) -> Iterator[Fault]:
    for name, each in variations.items():
        numbers = each.values if isinstance(each, Levels) else (
            (each.low, each.high) if isinstance(each, Uniform) else (each.mean, each.standard)
        )  # fmt: skip
        if not all(map(math.isfinite, numbers)):
            yield Fault("not-finite", name, ", ".join(map(str, numbers[:4])), "finite numbers")
        elif (kind == "grid") != isinstance(each, Levels):
            found = "levels" if isinstance(each, Levels) else "a distribution"
            wanted = "levels for a grid" if kind == "grid" else f"a distribution for a design of kind {kind}"
            yield Fault("wrong-form", name, found, wanted)
        elif isinstance(each, Levels) and not each.values:
            yield Fault("wrong-size", name, "no levels", "at least one")
        elif isinstance(each, Uniform) and not each.low < each.high:
            yield Fault("out-of-range", name, f"{each.low:g} to {each.high:g}", "low below high")
        elif isinstance(each, Normal) and not each.standard > 0.0:
            yield Fault("out-of-range", name, f"a standard deviation of {each.standard:g}", "one above 0")


def _rows_of(kind: Kind, variations: Mapping[str, Variation], rows: int | None, faults: list[Fault]) -> int:
    if kind == "grid":
        count = math.prod(len(each.values) for each in variations.values() if isinstance(each, Levels))
        if rows is not None:
            faults.append(
                Fault("wrong-form", "rows", str(rows), "no number of rows for a grid: its levels make them")
            )
        if count > MOST_ROWS:
            faults.append(Fault("too-many-rows", "", f"a grid of {count:.4g} rows", f"at most {MOST_ROWS}",
                                "take fewer levels, or a Latin hypercube"))  # fmt: skip
        return count
    if rows is None or isinstance(rows, bool) or not isinstance(rows, int) or rows < 1:
        faults.append(Fault("wrong-size", "rows", str(rows), "a whole number of at least 1"))
        return 0
    if kind in {"sobol", "sensitivity"} and rows & (rows - 1):
        below = 1 << (rows.bit_length() - 1)
        faults.append(Fault("wrong-size", "rows", str(rows), f"a power of two, such as {below} or {2 * below}",
                            "other numbers spoil the balance of a Sobol sequence"))  # fmt: skip
    count = rows * (len(variations) + 2) if kind == "sensitivity" else rows
    if count > MOST_ROWS:
        faults.append(Fault("too-many-rows", "rows", f"{count} rows", f"at most {MOST_ROWS}"))
    return count


def _root(
    kind: Kind,
    variations: Mapping[str, Variation],
    correlations: Mapping[tuple[str, str], float],
    faults: list[Fault],
) -> Floats | None:
    if not correlations:
        return None
    if kind == "sensitivity":
        faults.append(Fault("not-correlated", "correlations", "correlated numbers",
                            "independent ones: Sobol indices share the variance out among independent inputs",
                            "leave the correlations out, or take another design"))  # fmt: skip
        return None
    normal = [name for name, each in variations.items() if isinstance(each, Normal)]
    matrix = np.eye(len(normal))
    for (one, other), value in correlations.items():
        where = f"correlations.{one}.{other}"
        if one not in normal or other not in normal or one == other:
            there = ", ".join(normal) or "there is none"
            wanted = f"two different numbers of normal variation: {there}"
            faults.append(Fault("not-correlated", where, f"{one} with {other}", wanted))
        elif not -1.0 < value < 1.0:
            faults.append(Fault("out-of-range", where, f"{value:g}", "above -1 and below 1"))
        else:
            i, j = normal.index(one), normal.index(other)
            matrix[i, j] = matrix[j, i] = value
    if faults:
        return None
    least = float(np.linalg.eigvalsh(matrix)[0])
    if least < 1e-12:
        found, wanted = f"a matrix with the eigenvalue {least:.3g}", "correlations that can hold together"
        faults.append(Fault("not-correlated", "correlations", found, wanted, "make them smaller"))
        return None
    return np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)


def _correlated(scores: Floats, root: Floats) -> Floats:
    """scores @ root.T, summed in one order: a matrix product may sum otherwise where it has more rows."""
    out = np.zeros_like(scores)
    for i in range(root.shape[0]):
        for j in range(i + 1):
            out[:, i] += root[i, j] * scores[:, j]
    return out


def _random(rows: NDArray[np.int64], names: int, _count: int, seed: int) -> Floats:
    """Numbers of Philox, a generator that counts: row r begins at its draw r * names."""
    if not rows.size:
        return np.empty((0, names))
    begin = int(rows[0]) * names
    bits = np.random.Philox(key=seed)
    bits.advance(begin // 4)  # four draws a count
    drawn = np.random.Generator(bits).random(begin % 4 + rows.size * names)[begin % 4 :]
    return np.maximum(drawn, _LEAST).reshape(rows.size, names)


def _latin(rows: NDArray[np.int64], names: int, count: int, seed: int) -> Floats:
    """Of `count` equal strata of each number every one once, anywhere within it."""
    within = np.floor(_random(rows, names, count, seed) * _IN_STRATUM) + 0.5
    strata = np.stack([_permuted(rows, count, seed, name) for name in range(names)], axis=1)
    # Kept to 20 bits, so that stratum and place within it add without rounding over an edge.
    placed: Floats = (strata + within / _IN_STRATUM) / count
    return placed


def _sobol(rows: NDArray[np.int64], names: int, _count: int, seed: int) -> Floats:
    from scipy.stats import qmc  # noqa: PLC0415 - a second to import, for this alone

    if not rows.size:
        return np.empty((0, names))
    sequence = qmc.Sobol(names, scramble=True, bits=30, rng=np.random.Generator(np.random.PCG64(seed)))
    first, last = int(rows[0]), int(rows[-1]) + 1
    if first:
        sequence.fast_forward(first)
        drawn = sequence.random(last - first)
    else:  # one, then the rest: scipy warns of a number that is no power of two, which the whole design is
        drawn = sequence.random(1)
        if last > 1:
            drawn = np.concatenate([drawn, sequence.random(last - 1)])
    return np.asarray(drawn[rows - first] + 2.0**-31)  # the middle of its cell: 0 has no normal deviate


_CUBES = {"random": _random, "latin": _latin, "sobol": _sobol}


def _permuted(rows: NDArray[np.int64], count: int, seed: int, name: int) -> NDArray[np.int64]:
    """Where a permutation of 0 to count - 1 takes these, the permutation hanging on seed and name."""
    wide = np.uint64(math.isqrt(count - 1) + 1)
    high = np.uint64(-(-count // int(wide)))
    keys = np.random.Generator(np.random.PCG64([seed, name])).integers(
        0, 2**64, size=_ROUNDS, dtype=np.uint64
    )
    found = rows.astype(np.uint64)
    outside = np.ones(found.shape, dtype=bool)
    while outside.any():  # seldom more than twice: the rectangle is hardly larger than count
        left, right = np.divmod(found[outside], high)
        for one, other in zip(keys[::2], keys[1::2], strict=True):
            left = (left + _mixed(right ^ one) % wide) % wide
            right = (right + _mixed(left ^ other) % high) % high
        found[outside] = left * high + right
        outside = found >= np.uint64(count)
    return found.astype(np.int64)


def _mixed(x: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """A finaliser that lets every bit of 64 change every other: G. Steele, D. Lea, C. Flood, "Fast splittable
    pseudorandom number generators" (2014)."""
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))
