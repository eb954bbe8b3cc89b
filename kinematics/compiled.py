"""The only file that knows the compiler, and that its code is kept on disk.

A formula is plain Python on scalars; `compiled` makes machine code of it at its first call, `inlined` puts that code
into its caller, which is what lets a loop over many poses run on vector registers.
With NUMBA_DISABLE_JIT=1 the same source runs as Python, which is how coverage is measured.
"""

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

Formula = TypeVar("Formula", bound=Callable[..., object])


def compiled(formula: Formula) -> Formula:
    """Compile `formula` at its first call; kept on disk wherever that can be written."""
    return _njit(formula, forceinline=False)


def inlined(formula: Formula) -> Formula:
    """As `compiled`, and put into every compiled caller."""
    return _njit(formula, forceinline=True)


def _njit(formula: Formula, *, forceinline: bool) -> Formula:
    try:
        made = _made(formula, forceinline=forceinline, kept=True)
    except RuntimeError:  # numba found no folder it may write to
        return cast(Formula, _made(formula, forceinline=forceinline, kept=False))
    kept = getattr(made, "_cache", None)
    if kept is not None:
        file: Any = getattr(kept, "_cache_file", None)
        if not hasattr(
            file, "_source_stamp"
        ):  # a later numba, of which this cannot be asked: rather slow than wrong
            return cast(Formula, _made(formula, forceinline=forceinline, kept=False))
        # numba looks at the formula's own file alone and would go on using an edited callee's old code.
        file._source_stamp = _sources()
    return cast(Formula, made)


def _made(formula: Callable[..., object], *, forceinline: bool, kept: bool) -> object:
    # "contract" alone of the fast-math flags: "nnan" would let the compiler remove NaN checks.
    return numba.njit(
        cache=kept, nogil=True, error_model="numpy", fastmath={"contract"}, forceinline=forceinline
    )(formula)


@cache
def _sources() -> str:
    """A digest of this package's sources: what compiled code must have come from to be used again."""
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()
