"""The whole fleet, a round by itself: a service killed, the broker stopped, nothing acknowledged lost or doubled."""

import itertools
import json
import os
import subprocess
import tempfile
from pathlib import Path

import pytest

from tests.service.running import COMMAND

from .found import found

pytestmark = pytest.mark.alone
PATIENCE_S = 600


def test_a_round_by_itself(tmp_path: Path) -> None:
    found()
    environment = {name: value for name, value in os.environ.items() if not name.startswith("TIPDATUM_")}
    environment |= {"PYTHONPATH": str(Path(__file__).parents[3]), "TMPDIR": str(_own(tmp_path))}
    done = subprocess.run(
        [*COMMAND, "demo", "--fleet", "--check", "--json"], cwd=tmp_path, env=environment, capture_output=True, text=True,
        timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert done.stdout, done.stderr
    told = json.loads(done.stdout)
    assert "checks" in told, told
    failed = [each for each in told["checks"] if not each["ok"]]
    assert (done.returncode, failed) == (0, []), done.stderr
    assert len(told["checks"]) >= 14
    assert told["ok"] is True
    assert told["outages"] >= 1
    assert sum(told["viewer_breaks"]) >= 1
    assert told["frames_repeated"] > 0, "the outage was felt"
    assert list(_own(tmp_path).iterdir()) == [], "what it made is removed"


def _own(folder: Path) -> Path:
    """A temporary folder that the database's own user can reach."""
    own = folder / "own"
    own.mkdir(exist_ok=True)
    ours = itertools.takewhile(lambda each: each != Path(tempfile.gettempdir()), own.parents)
    for each in (own, *ours):
        each.chmod(each.stat().st_mode | 0o011)
    return own
