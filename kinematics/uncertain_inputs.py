"""What is known and how well: inputs with standard uncertainties, what hangs together, degrees of freedom.

Knows no machine: inputs have any names and units. Words and clauses: JCGM 100:2008 (GUM).
"""

import difflib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import Fault, Refused, refuse

Floats = NDArray[np.float64]
Shape = tuple[int | None, ...]

SHAPES = ("normal", "rectangular", "triangular")
ROUNDING = 1e-9
"""Times the number of inputs: how far a matrix may miss what correlations must be, for want of figures."""
MOST_FAULTS = 100
MOST_LISTED = 12
EPS = float(np.finfo(np.float64).eps)


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """n inputs and how well each is known; copied, then read-only.

    `standard` (n,): standard uncertainties, 0 or more, each in its input's unit. `correlation` (n, n), None where no two
    hang together: 1 if both err alike, -1 if opposite. `freedom` (n,): degrees of freedom, 1 or more; None or inf: known
    for sure. `shapes`: one of `SHAPES` each, for `draws` alone; None: all normal. A zero known to 0.001 rad that counts
    at 8 m reach: standard 0.001, rate 8 m/rad, 8 mm of height.
    Raises `Refused`, all at once: "negative-uncertainty", "not-finite", "not-a-number", "wrong-length", "name-taken",
    "not-a-correlation" (not symmetric, not 1 with itself, beyond 1, or of inputs that cannot be), "out-of-range"
    (freedom), "not-a-choice", "not-drawn-so" (only normal inputs can be drawn correlated).
    """

    names: tuple[str, ...]
    standard: Floats
    correlation: Floats | None = None
    freedom: Floats | None = None
    shapes: tuple[str, ...] | None = None
    root: Floats | None = field(init=False, repr=False, default=None)
    """Correlation = root @ root.T, shape (n, rank)."""
    sets: NDArray[np.intp] | None = field(init=False, repr=False, default=None)
    """(n,): of each input the first of those that count as one with it, see `combine`; None: each for itself."""

    def __post_init__(self) -> None:
        names = tuple(self.names)
        n = len(names)
        faults = list(_names_faults(names))
        standard = numbers("standard", self.standard, (n,), faults, names)
        faults += [
            Fault("negative-uncertainty", f"standard.{names[i]}", f"{standard[i]:g}", "0 or more")
            for i in np.flatnonzero(standard < 0.0)[:MOST_FAULTS].tolist()
        ]
        freedom = None
        if self.freedom is not None:
            freedom = numbers("freedom", self.freedom, (n,), faults, names, finite=False)
            faults += [
                Fault("out-of-range", f"freedom.{names[i]}", f"{freedom[i]:g}",
                      "1 degree of freedom or more, or infinity where it is known for sure")
                for i in np.flatnonzero(~(freedom >= 1.0))[:MOST_FAULTS].tolist()
            ]  # fmt: skip
        correlation, root = None, None
        if self.correlation is not None:
            before = len(faults)
            correlation = numbers("correlation", self.correlation, (n, n), faults)
            if len(faults) == before:
                faults += _not_a_correlation(names, correlation)
            if len(faults) == before:
                correlation = 0.5 * (correlation + correlation.T)
                root, worst = _rooted(names, correlation)
                faults += worst
        shapes = None
        if self.shapes is not None:
            shapes = tuple(self.shapes)
            faults += _shape_faults(names, shapes, correlation)
        refuse(faults)
        sets = None if correlation is None or freedom is None else _sets(correlation, freedom)
        for array in (standard, correlation, freedom, root, sets):
            if array is not None:
                array.flags.writeable = False
        for name, clean in (
            ("names", names), ("standard", standard), ("correlation", correlation), ("freedom", freedom),
            ("shapes", shapes), ("root", root), ("sets", sets),
        ):  # fmt: skip
            object.__setattr__(self, name, clean)

    @classmethod
    def of_covariance(
        cls, names: Sequence[str], covariance: ArrayLike, freedom: ArrayLike | None = None
    ) -> "Inputs":
        """Inputs of a covariance matrix (n, n), such as a fit leaves behind or `Combined.covariance`.

        [[4e-6, 0], [0, 9e-6]]: 2 mm and 3 mm that do not hang together. Raises `Refused` as the class does, at
        "covariance": "negative-uncertainty" of a variance below zero, "not-a-correlation" of what cannot be one.
        """
        names = tuple(names)
        faults = list(_names_faults(names))
        given = numbers("covariance", covariance, (len(names), len(names)), faults)
        variance = np.diagonal(given)
        faults += [
            Fault("negative-uncertainty", f"covariance.{names[i]}", f"a variance of {variance[i]:g}", "not below 0")
            for i in np.flatnonzero(variance < 0.0)[:MOST_FAULTS].tolist()
        ]  # fmt: skip
        refuse(faults)
        standard = np.sqrt(variance)
        sure = standard == 0.0
        refuse(
            Fault("not-a-correlation", "covariance", f"a covariance of {given[i, j]:g} of {names[i]} and {names[j]}",
                  "0 where one of both has no variance")
            for i, j in np.argwhere((sure[:, None] | sure) & (given != 0.0))[:MOST_FAULTS].tolist()
        )  # fmt: skip
        apart = np.count_nonzero(given) == np.count_nonzero(variance)
        scale = np.where(sure, 1.0, standard)
        correlation = None if apart else given / scale[:, None] / scale
        if correlation is not None:
            np.fill_diagonal(correlation, 1.0)
        told = None if freedom is None else np.asarray(freedom)
        try:
            return cls(names, standard, correlation, told)
        except Refused as refused:
            raise Refused(
                replace(each, where=each.where.replace("correlation", "covariance", 1))
                for each in refused.faults
            ) from None

    def at(self, name: str) -> int:
        """Where an input stands among the names. Raises `Refused` "unknown-parameter" with the names there are, the
        nearest if they are many."""
        if name in self.names:
            return self.names.index(name)
        known = ", ".join(self.names)
        if len(self.names) > MOST_LISTED:
            near = difflib.get_close_matches(name, self.names, n=3, cutoff=0.5)
            known = f"{len(self.names)} names" + (f", the nearest {', '.join(near)}" if near else "")
        raise Refused([Fault("unknown-parameter", name, repr(name), f"one of {known}")])


def numbers(
    where: str,
    given: ArrayLike,
    shape: Shape | None,
    faults: list[Fault],
    names: Sequence[str] = (),
    *,
    finite: bool = True,
) -> Floats:
    """`given` as an own float64 array of this shape (None in it: of any length; None: any shape at all).

    What it is not goes to `faults`, and the answer is then empty: "ragged", "not-a-number" (text, truth values, complex
    or masked numbers), "wrong-length", "not-finite" with the place of each, by its name where `names` has one.
    """
    nothing = np.empty(tuple(0 for _ in shape or (0,)))
    try:
        array = np.asarray(given)
    except (ValueError, TypeError):  # lists of lists that are not alike
        faults.append(Fault("ragged", where, "values of different shapes", _words(shape)))
        return nothing
    if isinstance(given, np.ma.MaskedArray) or array.dtype.kind not in "fiu":
        kind = "masked numbers" if isinstance(given, np.ma.MaskedArray) else f"values of type {array.dtype}"
        faults.append(Fault("not-a-number", where, kind, "numbers"))
        return nothing
    if shape is not None and not (
        array.ndim == len(shape)
        and all(want in (None, has) for want, has in zip(shape, array.shape, strict=True))
    ):
        faults.append(Fault("wrong-length", where, f"shape {array.shape}", _words(shape)))
        return nothing
    clean = np.array(array, dtype=np.float64)
    bad = np.argwhere(~np.isfinite(clean))[:MOST_FAULTS].tolist() if finite else []
    for place in bad:
        at = [names[place[0]]] if names else [str(i) for i in place]
        faults.append(
            Fault("not-finite", ".".join([where, *at]), str(clean[tuple(place)]), "a finite number")
        )
    return nothing if bad else clean


def probability_faults(probability: float) -> Iterator[Fault]:
    """A probability lies between 0 and 1, neither included: an interval of all or nothing is none."""
    if not 0.0 < probability < 1.0:
        yield Fault("out-of-range", "probability", f"{probability:g}", "above 0 and below 1, such as 0.95")


def _words(shape: Shape | None) -> str:
    if shape is None:
        return "one number, or a list of numbers"
    return (
        f"shape ({', '.join('any' if n is None else str(n) for n in shape)}{',' if len(shape) == 1 else ''})"
    )


def _names_faults(names: tuple[str, ...]) -> Iterator[Fault]:
    if not names:
        yield Fault("wrong-length", "names", "no input", "one or more")
    for name, times in Counter(names).items() if len(set(names)) < len(names) else ():
        if times > 1:
            yield Fault(
                "name-taken", f"names.{name}", f"{times} inputs of this name", "a name for each input"
            )


def _not_a_correlation(names: tuple[str, ...], r: Floats) -> Iterator[Fault]:
    """What single entries of a matrix (n, n) say against it."""
    tolerance = ROUNDING * len(names)
    for i in np.flatnonzero(np.abs(np.diagonal(r) - 1.0) > tolerance)[:MOST_FAULTS].tolist():
        yield Fault(
            "not-a-correlation", f"correlation.{i}.{i}", f"{r[i, i]:g} of {names[i]} with itself", "1"
        )
    for i, j in np.argwhere(np.triu(np.abs(r - r.T) > tolerance))[:MOST_FAULTS].tolist():
        yield Fault(
            "not-a-correlation", f"correlation.{i}.{j}",
            f"{r[i, j]:g} of {names[i]} with {names[j]}, {r[j, i]:g} the other way", "the same both ways",
        )  # fmt: skip
    beyond = (np.abs(r) > 1.0 + tolerance) | (np.abs(r.T) > 1.0 + tolerance)
    for i, j in np.argwhere(np.triu(beyond, 1))[:MOST_FAULTS].tolist():
        yield Fault(
            "not-a-correlation", f"correlation.{i}.{j}", f"{r[i, j]:g} of {names[i]} with {names[j]}", "-1 to 1"
        )  # fmt: skip


def _rooted(names: tuple[str, ...], r: Floats) -> tuple[Floats, list[Fault]]:
    """A root (n, rank) of a symmetric matrix, or why it has none."""
    values, vectors = np.linalg.eigh(r)
    if values[0] < -ROUNDING * len(names):
        # Of the sum of inputs whose variance would be negative, the pair that takes most off.
        taken = np.triu(np.outer(vectors[:, 0], vectors[:, 0]) * r, 1)
        i, j = np.unravel_index(np.argmin(taken), taken.shape)
        return np.empty((len(names), 0)), [Fault(
            "not-a-correlation", "correlation",
            f"correlations that cannot be together: a sum of these inputs would have the variance {values[0]:.3g}",
            "no variance below 0",
            f"look at {names[i]} with {names[j]} first, {r[i, j]:g}",
            {"smallest_eigenvalue": float(values[0]), "correlation": float(r[i, j])},
        )]  # fmt: skip
    kept = values > len(names) * EPS * values[-1]
    return vectors[:, kept] * np.sqrt(values[kept]), []


def _shape_faults(
    names: tuple[str, ...], shapes: tuple[str, ...], correlation: Floats | None
) -> Iterator[Fault]:
    if len(shapes) != len(names):
        yield Fault("wrong-length", "shapes", f"{len(shapes)} shapes", f"{len(names)}, one for each input")
        return
    for i, (name, shape) in enumerate(zip(names, shapes, strict=True)):
        if shape not in SHAPES:
            yield Fault("not-a-choice", f"shapes.{name}", repr(shape), "one of " + ", ".join(SHAPES))
        elif shape != "normal" and correlation is not None and correlation.size:
            with_it = [names[j] for j in np.flatnonzero(correlation[i]).tolist() if j != i]
            if with_it:
                yield Fault(
                    "not-drawn-so", f"shapes.{name}", f"{shape} and correlated with {', '.join(with_it[:MOST_LISTED])}",
                    "normal, or correlated with none",
                    "take it as normal, or what they share as an input of its own",
                )  # fmt: skip


def _sets(correlation: Floats, freedom: Floats) -> NDArray[np.intp]:
    """(n,) of each input the first of those that hang together with it, directly or one by one, and are known from as
    many readings."""
    linked = (correlation != 0.0) & (freedom[:, None] == freedom)
    first = np.arange(len(freedom))
    while True:
        lower = np.where(linked, first, len(freedom)).min(axis=1)
        if (lower == first).all():
            return first
        first = lower
