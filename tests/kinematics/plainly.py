"""Run a test's own computation once more without the compiler."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any


def in_plain_python(module: str, function: str) -> Any:
    """What a function of a test module gives with NUMBA_DISABLE_JIT=1, in a process where a warning is an error."""
    program = (
        "import json, numba, warnings\n"
        f"from tests.kinematics.{module} import {function}\n"
        "assert numba.config.DISABLE_JIT\n"
        "warnings.simplefilter('error')\n"
        f"print(json.dumps({function}()))\n"
    )
    root = Path(__file__).parents[2]
    ran = subprocess.run(
        [sys.executable, "-c", program],
        cwd=root,
        env=os.environ | {"NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)
