"""The only file that knows the compiler, and that its code is kept on disk.

A formula is plain Python on scalars; `compiled` makes machine code of it at its first call, and puts that code into every
compiled caller. So a loop over many poses runs on vector registers, and a call gives the same bits in the process that
compiled it and in the next, which reads it from disk: a callee kept apart would be optimised once more on its own.
With NUMBA_DISABLE_JIT=1 the same source runs as Python, which is how coverage is measured.
"""

import ctypes
import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numba.core import cgutils, types
from numba.extending import intrinsic, overload
from numpy.typing import NDArray

Formula = TypeVar("Formula", bound=Callable[..., object])


def compiled(formula: Formula) -> Formula:
    """Compile `formula` at its first call, and into every compiled caller; kept on disk wherever that can be written."""
    try:
        made = _made(formula, kept=True)
    except RuntimeError:  # numba found no folder it may write to
        return cast(Formula, _made(formula, kept=False))
    kept = getattr(made, "_cache", None)
    if kept is not None:
        file: Any = getattr(kept, "_cache_file", None)
        if not hasattr(
            file, "_source_stamp"
        ):  # a later numba, of which this cannot be asked: rather slow than wrong
            return cast(Formula, _made(formula, kept=False))
        # numba looks at the formula's own file alone and would go on using an edited callee's old code.
        file._source_stamp = _sources()
    return cast(Formula, made)


def bytes_at(address: int, count: int) -> NDArray[np.uint8]:
    """So many bytes from an address on, as an array that does not keep them: whoever knows the address must.

    Parts of it cost compiled code nothing, while parts of an array that is handed over are counted by atomic steps.
    """
    return np.ctypeslib.as_array((ctypes.c_uint8 * count).from_address(address))


@overload(bytes_at, inline="always")
def _bytes_at(address: Any, count: Any) -> Callable[[Any, Any], NDArray[np.uint8]]:  # noqa: ARG001 numba hands on types
    def at(address: Any, count: Any) -> NDArray[np.uint8]:
        return numba.carray(_pointer(address), (count,), np.uint8)  # type: ignore[attr-defined, call-arg]

    return at


@intrinsic
def _pointer(_: Any, address: Any) -> tuple[Any, Callable[..., Any]]:
    def from_number(_: Any, builder: Any, __: Any, arguments: list[Any]) -> Any:
        return builder.inttoptr(arguments[0], cgutils.voidptr_t)

    return types.voidptr(address), from_number


def _made(formula: Callable[..., object], *, kept: bool) -> object:
    # "contract" alone of the fast-math flags: "nnan" would let the compiler remove NaN checks.
    return numba.njit(cache=kept, nogil=True, error_model="numpy", fastmath={"contract"}, forceinline=True)(
        formula
    )


@cache
def _sources() -> str:
    """A digest of this package's sources: what compiled code must have come from to be used again."""
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()
