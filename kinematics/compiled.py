"""The only file that knows the compiler, and that its code is kept on disk.

A formula is plain Python on scalars; `compiled` makes machine code of it at its first call, and puts that code into every
compiled caller. So a loop over many poses runs on vector registers, and a call gives the same bits in the process that
compiled it and in the next, which reads it from disk: a callee kept apart would be optimised once more on its own.
With NUMBA_DISABLE_JIT=1 the same source runs as Python, which is how coverage is measured.
"""

import ast
import ctypes
import hashlib
import inspect
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numba.core import cgutils, types
from numba.core.imputils import impl_ret_borrowed
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
        file._source_stamp = _sources(inspect.getfile(formula))
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


def kept_as_it_is(array: NDArray[Any]) -> NDArray[Any]:
    """The same array as one that cannot be written to: it is of another type than one that can, and a formula that takes
    both would be compiled twice."""
    kept = array.view()
    kept.flags.writeable = False
    return kept


@overload(kept_as_it_is, inline="always")
def _kept_as_it_is(array: Any) -> Callable[[Any], NDArray[Any]]:  # noqa: ARG001 numba hands on types
    def kept(array: Any) -> NDArray[Any]:
        return _unwritable(array)  # type: ignore[call-arg]

    return kept


@intrinsic
def _unwritable(_: Any, array: Any) -> tuple[Any, Callable[..., Any]]:
    def the_same(context: Any, builder: Any, signature: Any, arguments: list[Any]) -> Any:
        return impl_ret_borrowed(context, builder, signature.return_type, arguments[0])  # type: ignore[no-untyped-call]

    return array.copy(readonly=True)(array), the_same


def _made(formula: Callable[..., object], *, kept: bool) -> object:
    # "contract" alone of the fast-math flags: "nnan" would let the compiler remove NaN checks.
    return numba.njit(cache=kept, nogil=True, error_model="numpy", fastmath={"contract"}, forceinline=True)(
        formula
    )


@cache
def _sources(file: str) -> str:
    """A digest of what code compiled from `file` must have come from to be used again: it and all of this package that it
    imports, near or far; for a file elsewhere the whole package."""
    here = Path(__file__).parent
    own = Path(file)
    met: set[Path] = set()
    new = {own} if own.parent == here else {own, *here.glob("*.py")}
    while new:
        met |= new
        new = {imported for source in new for imported in _imported(source)} - met
    digest = hashlib.sha256()
    for source in sorted(met):
        digest.update(source.read_bytes())
    return digest.hexdigest()


@cache
def _imported(source: Path) -> tuple[Path, ...]:
    """The files beside a source that it imports: `from .name import` and `from . import name`, wherever they stand."""
    named = [node for node in ast.walk(ast.parse(source.read_bytes()))
             if isinstance(node, ast.ImportFrom) and node.level == 1]  # fmt: skip
    stems = {node.module for node in named if node.module} | {
        alias.name for node in named for alias in node.names
    }
    files = (source.parent / f"{stem}.py" for stem in stems)
    return tuple(file for file in files if file.is_file())
