"""The demo: the real service, the whole shift, in print and for programs."""

import json
import sqlite3
import subprocess
from pathlib import Path

import pytest

from tests.service.running import COMMAND


def demo(*options: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, "demo", *options], cwd=cwd, capture_output=True, text=True, timeout=120, check=False,
        env=None,
    )  # fmt: skip


@pytest.fixture(autouse=True)
def _find_the_packages(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))


def test_for_programs_and_kept(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    done = demo("--json", "--keep", str(kept), cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    # The invented boom sensor is 0.02 deg high and touches are 1 to 2 mm off: a book that closed to zero would be false.
    assert 0.0005 < abs(told["misclosure_m"]) < 0.010
    words = [r["points"]["centre"]["cut_fill"]["word"] for r in told["readouts"]]
    assert words == ["cut", "on grade", "on grade", "on grade"]
    assert told["readouts"][0]["points"]["centre"]["cut_fill"]["amount"]["m"] == pytest.approx(0.35, abs=0.01)
    verdicts = [strike["verdict"] for strike in told["strikes"]]
    assert verdicts == ["taken", "turned down", "taken"]
    assert told["readouts"][-1]["target_cross_slope_percent"] == pytest.approx(-2.0, abs=0.01)
    assert told["readouts"][-1]["cross_slope_percent"] == pytest.approx(-2.0, abs=0.1)
    with sqlite3.connect(f"file:{kept / 'tipdatum.sqlite'}?mode=ro", uri=True) as connection:
        count = connection.execute("select count(*) from event").fetchone()[0]
    connection.close()
    assert count == told["job"]["seq"]


def test_in_print(tmp_path: Path) -> None:
    done = demo(cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    for words in (
        "Depth sheet", "Level book", "Misclosure", "turned down because", "an engineer decides", "advice: lower",
    ):  # fmt: skip
        assert words in done.stdout
    assert "Advisory only" in done.stdout
    sheet = done.stdout.partition("Depth sheet")[2].partition("Readouts")[0]
    assert "tolerance" in sheet
    assert sheet.count("0.030 m") == 3, "one for each target"
    assert max(len(line.rstrip()) for line in done.stdout.splitlines()) <= 80
    assert not list(tmp_path.iterdir())


def test_folder_that_is_not_empty_is_refused(tmp_path: Path) -> None:
    (tmp_path / "something").write_text("here", encoding="utf-8")
    done = demo("--keep", str(tmp_path), cwd=tmp_path)
    assert done.returncode == 1
    assert "a new or empty folder" in done.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["something"]
