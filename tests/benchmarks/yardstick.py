"""The full chain in C (`chain.c`), compiled with and without vectorisation and called on the same columns."""

import ctypes
import math
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kinematics import Assembly
from kinematics.chain import OUTPUTS, over_heel
from kinematics.parameters import BUCKET_POINTS

_SOURCE = Path(__file__).with_name("chain.c")
_COMMON = (
    "-std=c11", "-O3", "-march=native", "-ffp-contract=fast", "-fno-math-errno", "-fno-trapping-math", "-shared", "-fPIC",
)  # fmt: skip
_FLAGS = {
    "simd": ("-mprefer-vector-width=512", "-fvect-cost-model=unlimited"),
    "scalar": ("-fno-tree-vectorize", "-fno-tree-slp-vectorize"),
}
BLOCK = 256
Solve = Callable[[NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.uint8]]]


def compiled_chain(folder: Path, kind: str, assembly: Assembly) -> Solve:
    """A call that solves columns (9, poses), poses a multiple of `BLOCK`, into fresh arrays; `kind` "simd", "scalar"."""
    gcc = shutil.which("gcc")
    if gcc is None:
        raise SystemExit("expected a C compiler to measure against, found no gcc: install it")
    library = folder / f"{kind}.so"
    subprocess.run(
        [gcc, *_COMMON, *_FLAGS[kind], str(_SOURCE), "-lm", "-o", str(library)], check=True, timeout=120
    )
    solve = ctypes.CDLL(str(library)).solve
    solve.restype = None
    machine = _machine(assembly)

    def call(columns: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.uint8]]:
        poses = columns.shape[1]
        assert poses % BLOCK == 0
        out = np.empty((len(OUTPUTS), poses))
        status = np.empty(poses, dtype=np.uint8)
        at = [ctypes.c_void_p(array.ctypes.data) for array in (machine, columns, out, status)]
        solve(*at, ctypes.c_int64(poses))
        return out, status

    return call


def _machine(assembly: Assembly) -> NDArray[np.float64]:
    """The struct of chain.c."""
    m = assembly.parameters[0]

    def xyz(*names: str) -> list[float]:
        return [float(m[f"{name}_{axis}"]) for name in names for axis in "xyz"]

    def step(name: str) -> list[float]:
        angle = float(m[f"{name}_angle"])
        return [float(m[f"{name}_x"]), float(m[f"{name}_z"]), math.sin(angle), math.cos(angle)]

    lengths = (
        "swing_post_x", "swing_post_y", "boom_foot_x", "boom_foot_y", "boom_length", "fore_boom_length",
        "stick_length",
    )  # fmt: skip
    return np.array([
        *(float(m[name]) for name in lengths), *xyz("receiver", "mast"), *step("coupler"),
        *xyz("tilt_point", "tilt_axis", "rotate_point", "rotate_axis"), *step("mount"),
        *over_heel(m, m["heel_left_y"]), *over_heel(m, m["heel_right_y"]), *xyz(*BUCKET_POINTS),
        *assembly.limits.tolist(),
    ])  # fmt: skip
