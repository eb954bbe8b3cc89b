"""What every worker and every service under test would compile for itself, compiled before the first test and kept on
disk; in two processes, as half of it is one formula."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path


def at_once() -> None:
    """All of it, in processes side by side: formulas, and the tests themselves, whose assertions pytest rewrites: half of
    what it takes to collect them. `CalledProcessError` where formulas fail; of tests each worker tells."""
    root = Path(__file__).parents[1]
    running = [subprocess.Popen([sys.executable, "-m", "tests.compiling", part], cwd=root) for part in _PARTS]
    if not sys.dont_write_bytecode:
        collect = ["-m", "pytest", "--collect-only", "-n0", "-p", "no:cacheprovider"]
        subprocess.run([sys.executable, *collect], cwd=root, check=False, stdout=subprocess.DEVNULL)
    for each in running:
        if each.wait():
            raise subprocess.CalledProcessError(each.returncode, each.args)


def _streams() -> None:
    from service.live.warm import warm_shipped  # noqa: PLC0415 each process what it needs

    warm_shipped()


def _columns() -> None:
    import numpy as np  # noqa: PLC0415

    from kinematics.arm import pose  # noqa: PLC0415
    from kinematics.assembly_rows import built  # noqa: PLC0415
    from kinematics.columns import differentiate_columns, solve_columns  # noqa: PLC0415
    from kinematics.fleet import fleet  # noqa: PLC0415
    from service.api import calibrations, error_budgets  # noqa: PLC0415
    from tests.demo_machine import arm_of_demo  # noqa: PLC0415

    assembly = arm_of_demo()
    middle = {name: 0.5 * (each.low + each.high) for name, each in assembly.ranges.items()}
    angles = middle | {"pitch": 0.0, "roll": 0.0}
    solve_columns(fleet([assembly]), angles, ["centre_height"])
    differentiate_columns(fleet([assembly]), angles, "centre_height")
    built(assembly, np.repeat(assembly.parameters, 1), [])
    pose(assembly, **angles).pins()
    calibrations.warm()
    error_budgets.warm()


_PARTS: dict[str, Callable[[], None]] = {"streams": _streams, "columns": _columns}

if __name__ == "__main__":
    _PARTS[sys.argv[1]]()
