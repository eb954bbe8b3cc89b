"""The only file that knows the compiler.

A formula is plain Python on scalars; `compiled` makes machine code of it at its first call, `inlined` puts that code
into its caller, which is what lets a loop over many poses run on vector registers.
With NUMBA_DISABLE_JIT=1 the same source runs as Python, which is how coverage is measured.
"""

from collections.abc import Callable
from typing import TypeVar, cast

import numba

Formula = TypeVar("Formula", bound=Callable[..., object])


def compiled(formula: Formula) -> Formula:
    """Compile `formula` at its first call; cached on disk wherever a cache can be written."""
    return _njit(formula, forceinline=False)


def inlined(formula: Formula) -> Formula:
    """As `compiled`, and put into every compiled caller."""
    return _njit(formula, forceinline=True)


def _njit(formula: Formula, *, forceinline: bool) -> Formula:
    try:
        return cast(Formula, _made(formula, forceinline=forceinline, cache=True))
    except RuntimeError:  # numba found no folder it may write to
        return cast(Formula, _made(formula, forceinline=forceinline, cache=False))


def _made(formula: Callable[..., object], *, forceinline: bool, cache: bool) -> object:
    # "contract" alone of the fast-math flags: "nnan" would let the compiler remove NaN checks.
    return numba.njit(
        cache=cache, nogil=True, error_model="numpy", fastmath={"contract"}, forceinline=forceinline
    )(formula)
