"""Columns as callers give them: numbers in an array, or faults that say what they are instead."""

from collections.abc import Iterable, Iterator, Mapping, Sized
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import Fault

MOST_FAULTS = 100
Column = NDArray[np.float64]


def columns(given: Mapping[str, ArrayLike], faults: list[Fault], rows: int) -> dict[str, Column]:
    """Each as float64, shape (1,) for one number, else (rows,).

    What cannot be one goes to `faults` and not into the answer: "not-a-number" (text, truth values, complex numbers),
    "ragged", "not-finite" with the place of each, at most `MOST_FAULTS` of a column.
    """
    arrays = {
        name: array for name, values in given.items() if (array := _array(name, values, faults)) is not None
    }
    found: dict[str, Column] = {}
    for name, array in arrays.items():
        if array.ndim and array.size != rows:
            faults.append(
                Fault("ragged", name, f"{array.size} values", f"one number, or {rows} as the longest column has")
            )  # fmt: skip
            continue
        column = np.ascontiguousarray(np.atleast_1d(array), np.float64)
        bad = list(_not_finite(name, column, listed=bool(array.ndim)))
        faults.extend(bad)
        if not bad:
            found[name] = column
    return found


def length_of(given: Iterable[ArrayLike | None]) -> int:
    """The length of the longest list among them, 1 where there is none."""
    lists = (
        values for values in given
        if isinstance(values, Sized) and not isinstance(values, str | bytes) and not _single(values)
    )  # fmt: skip
    return max((len(values) for values in lists), default=1)


def _single(values: object) -> bool:
    """A number in an array's clothes has a length and will not say it."""
    return isinstance(values, np.ndarray) and values.ndim == 0


def _array(name: str, values: ArrayLike, faults: list[Fault]) -> NDArray[Any] | None:
    if isinstance(values, np.ma.MaskedArray):
        faults.append(Fault("not-a-number", name, "a masked array", "numbers: what is masked is none"))
        return None
    try:
        array = np.asarray(values)
    except (ValueError, TypeError):  # lists of lists that are not alike
        faults.append(Fault("ragged", name, "values of different shapes", "one number, or a list of numbers"))
        return None
    if array.dtype.kind not in "fiu":
        faults.append(Fault("not-a-number", name, f"values of type {array.dtype}", "numbers"))
        return None
    if array.ndim > 1:
        faults.append(Fault("ragged", name, f"shape {array.shape}", "one number, or a list of numbers"))
        return None
    return array


def _not_finite(name: str, column: Column, *, listed: bool) -> Iterator[Fault]:
    finite = np.isfinite(column)
    if not finite.all():
        for i in np.flatnonzero(~finite)[:MOST_FAULTS].tolist():
            yield Fault("not-finite", f"{name}.{i}" if listed else name, str(column[i]), "a finite number")


def scale_fault(name: str, value: float) -> Iterator[Fault]:
    """A unit or factor must be a finite number other than 0."""
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not abs(value) < np.inf
        or value == 0.0
    ):
        yield Fault("bad-factor", name, repr(value), "a finite number other than 0")
