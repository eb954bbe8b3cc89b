"""The only file that knows the compiler.

A formula is plain Python on scalars; `compiled` makes machine code of it at its first call.
With NUMBA_DISABLE_JIT=1 the same source runs as Python, which is how coverage is measured.
"""

from collections.abc import Callable
from typing import TypeVar, cast

import numba

Formula = TypeVar("Formula", bound=Callable[..., object])


def compiled(formula: Formula) -> Formula:
    """Compile `formula` at its first call; cached on disk wherever a cache can be written.

    "contract" alone of the fast-math flags: "nnan" would let the compiler remove NaN checks.
    """
    try:
        return cast(Formula, _njit(formula, cache=True))
    except RuntimeError:  # numba found no folder it may write to
        return cast(Formula, _njit(formula, cache=False))


def _njit(formula: Callable[..., object], *, cache: bool) -> object:
    return numba.njit(cache=cache, nogil=True, error_model="numpy", fastmath={"contract"})(formula)
