"""Code kept on disk is used again only for the sources it was made from."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import kinematics

PROGRAM = """
from kinematics.linkage import joint_from_cylinder as formula
angle, status, _ = formula(5.0, 3.0, 0.0, 4.0, 0.0, 1.0)
hits = sum(getattr(formula, "stats").cache_hits.values())
print(angle, status, hits)
"""


@pytest.mark.skipif(
    os.environ.get("NUMBA_DISABLE_JIT") == "1", reason="needs the compiler: NUMBA_DISABLE_JIT=1"
)
def test_an_edited_callee_is_compiled_anew(tmp_path: Path) -> None:
    """`opening` edited, its file's date and size and its caller's text as before: the caller must notice.

    A 3-4-5 triangle opens by 90 degrees; twice the half angle edited to three times it gives 135.
    """
    home = Path(kinematics.__file__).parent
    package = tmp_path / "kinematics"
    shutil.copytree(home, package, ignore=shutil.ignore_patterns("__pycache__"))
    (package / "__init__.py").write_text("", encoding="utf-8")  # one formula is all that is asked of it
    # In a file of its own, so that the caller's file is left alone.
    linkage = package / "linkage.py"
    text = linkage.read_text(encoding="utf-8")
    linkage.write_text(text + "\nfrom .triangle import opening  # noqa\n", encoding="utf-8")
    triangle = package / "triangle.py"
    source = (
        "import math\nfrom .compiled import compiled\n\n@compiled\ndef opening(a: float, b: float, c: float) -> float:\n"
        "    s = 0.5 * (a + b + c)\n    return 2.0 * math.atan2(math.sqrt((s - a) * (s - b)), math.sqrt(s * (s - c)))\n"
    )
    triangle.write_text(source, encoding="utf-8")
    date = triangle.stat().st_mtime

    first, _ = _run(tmp_path)
    again, hits = _run(tmp_path)
    assert abs(first - 1.5707963267948966) <= 1e-12
    assert again == first
    assert hits > 0
    with (package / "grade.py").open("a", encoding="utf-8") as elsewhere:
        elsewhere.write("# no formula of a triangle rests on this\n")
    _, hits = _run(tmp_path)
    assert hits > 0
    triangle.write_text(source.replace("2.0 *", "3.0 *"), encoding="utf-8")
    os.utime(triangle, (date, date))
    edited, _ = _run(tmp_path)
    assert abs(edited - 2.356194490192345) <= 1e-12


def _run(folder: Path) -> tuple[float, int]:
    """(angle, cache hits) of the copied package, compiled code beside it."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("NUMBA_")}
    environment["PYTHONPATH"] = str(folder)
    environment["PYTHONDONTWRITEBYTECODE"] = (
        "1"  # else Python itself takes an edited file for the old one by its date
    )
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        env=environment,
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    )
    angle, status, hits = done.stdout.split()
    assert status == "0"
    return float(angle), int(hits)


BITS = """
import hashlib
import numpy as np
from kinematics import fleet, solve_columns
from kinematics.chain import OUTPUTS
from tests.kinematics.machines import seeded
assembly = seeded(3, linkage=True, driven=True)
rng = np.random.default_rng(9)
angles = {name: rng.uniform(-0.1, 0.1, 5000) for name in ("pitch", "roll")}
angles |= {name: rng.uniform(span.low, span.high, 5000) for name, span in assembly.ranges.items()}
outputs = [name for name in OUTPUTS if name.startswith(("left", "centre", "heel")) or "slope" in name]
told = solve_columns(fleet([assembly]), angles, outputs)
digest = hashlib.sha256()
for column in told.values.values():
    digest.update(column.tobytes())
print(digest.hexdigest())
"""


@pytest.mark.skipif(
    os.environ.get("NUMBA_DISABLE_JIT") == "1", reason="needs the compiler: NUMBA_DISABLE_JIT=1"
)
def test_the_same_bits_whether_compiled_here_or_read_from_disk(tmp_path: Path) -> None:
    root = Path(kinematics.__file__).parents[1]
    told = [
        subprocess.run(
            [sys.executable, "-c", BITS], cwd=root, capture_output=True, text=True, check=True,
            env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path), "PYTHONPATH": str(root)},
        ).stdout
        for _ in range(2)
    ]  # fmt: skip
    assert len(told[0]) > 60
    assert told[0] == told[1]
