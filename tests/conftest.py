"""Tests run a file a worker (pytest-xdist). What measures in real time, marked `alone`, is left to a run of its own."""

import pytest
from hypothesis import settings

from tests.amounts import THOROUGH, several
from tests.compiling import at_once

# How long an example takes hangs on what else runs; times are for the benchmark. What chance finds, thorough tests find.
settings.register_profile("ours", deadline=None, derandomize=not THOROUGH, max_examples=several(100))
settings.load_profile("ours")
# These wait most of their time, for a machine at its own pace or for processes; the longest first.
_WAIT = (
    "browser/test_seat_shift.py", "service/test_demo.py", "browser/test_workshop_keys.py",
    "service/api/test_studies.py", "browser/test_seat.py", "service/bus/test_feed.py", "service/store/test_kill.py",
    "browser/test_classroom_exercise.py", "service/api/test_killed.py", "service/test_readme.py",
    "service/simulation/test_live.py", "browser/test_classroom.py", "browser/test_seat_looks.py",
    "browser/test_seat_units.py", "service/test_guide_live.py", "service/test_guide_access.py",
    "service/bus/test_feed_lines.py", "service/test_cli.py", "service/test_serving_access.py",
    "browser/test_seat_told.py", "browser/test_seat_late.py", "browser/test_seat_points.py",
    "browser/test_seat_stream.py", "service/live/test_fitting.py", "service/studies/test_cluster.py",
    "service/test_fleet.py", "service/live/test_still.py", "service/live/test_viewers.py",
)  # fmt: skip
# And these reckon for longest.
_RECKON = (
    "kinematics/test_compiled.py", "kinematics/test_study.py", "kinematics/test_swings.py",
    "kinematics/test_trust_coverage.py", "service/studies/test_synthesis_file.py",
    "kinematics/test_calibration_coverage.py",
)  # fmt: skip


def pytest_configure(config: pytest.Config) -> None:
    """Before several workers begin with everything: what each would compile for itself, once."""
    everything = config.args_source == pytest.Config.ArgsSource.TESTPATHS
    if everything and config.getoption("numprocesses", None) and not hasattr(config, "workerinput"):
        at_once()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files that wait in turn with files that reckon, so that neither cores nor workers stand idle, the longest of both
    first: begun last, one worker would have them for itself. A file's own tests keep their order."""
    files = dict.fromkeys(item.path.as_posix() for item in items)
    waiting = [path for each in _WAIT for path in files if path.endswith(f"/tests/{each}")]
    reckoning = [path for each in _RECKON for path in files if path.endswith(f"/tests/{each}")]
    reckoning += [path for path in files if path not in {*waiting, *reckoning}]
    turn = {path: 2 * i for i, path in enumerate(waiting)} | {
        path: 2 * i + 1 for i, path in enumerate(reckoning)
    }
    items.sort(key=lambda item: turn[item.path.as_posix()])
