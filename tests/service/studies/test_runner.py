"""Studies run: the same whoever makes the parts; cancelled, killed, out of room and taken up again, nothing is lost."""

import errno
import json
import os
import subprocess
import sys
import threading
from collections.abc import Generator, Iterable
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from kinematics.errors import Refused
from kinematics.room import Room
from kinematics.study_rows import evaluate
from service.studies import folder as folders
from service.studies import plan as plans
from service.studies.folder import Folder, Written, part_name
from service.studies.parts import make_part
from service.studies.plan import Plan
from service.studies.runner import Outcome, Stop, Threads, Write, run

from .making import BY_VARIANT, TEXT, planned


@pytest.fixture(scope="module")
def plan() -> Plan:
    return planned()


@pytest.fixture(scope="module")
def whole(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "study"
    assert run(plan, path, Threads(1)).done
    return path


def contents(path: Path) -> list[bytes]:
    return [each.read_bytes() for each in sorted((path / "parts").glob("*.parquet"))]


def test_it_has_several_parts(plan: Plan) -> None:
    assert plan.parts == 14
    bounds = [plan.variants(k) for k in range(plan.parts)]
    assert [first for first, _ in bounds[1:]] == [last for _, last in bounds[:-1]]
    assert (bounds[0][0], bounds[-1][1]) == (0, 1000)


def test_rows_are_what_was_evaluated(plan: Plan, whole: Path) -> None:
    table = pq.read_table(whole / "parts")
    found = evaluate(plan.study, 0, 1000)
    assert table.column("variant").to_pylist() == np.repeat(np.arange(1000), 55).tolist()
    assert table.column("pose").to_pylist() == np.tile(np.arange(55), 1000).tolist()
    heights = table.column("centre_height_mm")
    assert np.array_equal(
        heights.to_numpy(), found.outputs["centre_height"].reshape(-1) * 1e3, equal_nan=True
    )
    assert np.array_equal(
        table.column("idler_length_mm").to_numpy(), np.repeat(found.parameters[:, 0] * 1e3, 55)
    )
    bad = found.status.reshape(-1) != 0
    assert heights.null_count == bad.sum() > 0  # some variants are no machine: null, and the rest is kept
    told = np.array(table.column("status").to_pylist())
    assert ((told != "ok") == bad).all()


def test_what_failed_is_counted(plan: Plan, whole: Path) -> None:
    outcome = Outcome(plan.parts, Folder(whole).whole())
    variants = outcome.counts("variants")
    assert sum(variants.values()) == 1000
    assert 0 < variants["bucket-cylinder-no-closure"] < 500 < variants["ok"]
    evaluations = outcome.counts("evaluations")
    assert {status: count * 55 for status, count in variants.items()} == evaluations


def test_a_row_a_variant(tmp_path: Path) -> None:
    plan = planned(BY_VARIANT)
    assert run(plan, tmp_path / "study", Threads(2)).done
    table = pq.read_table(tmp_path / "study" / "parts")
    found = evaluate(plan.study, 0, 1000)
    assert np.array_equal(table.column("depth_mm").to_numpy(), found.metrics["depth"] * 1e3, equal_nan=True)
    assert np.array_equal(
        table.column("deep_percent").to_numpy(), found.metrics["deep"] * 100.0, equal_nan=True
    )
    assert table.column("solved").to_pylist() == found.solved.tolist()
    assert 0 < table.column("depth_mm").null_count == (found.variant_status != 0).sum()


def test_any_number_of_threads_gives_the_same_bytes(plan: Plan, whole: Path, tmp_path: Path) -> None:
    assert run(plan, tmp_path / "study", Threads(4)).done
    assert contents(tmp_path / "study") == contents(whole)


def test_cancelled_and_resumed(plan: Plan, whole: Path, tmp_path: Path) -> None:
    seen: list[int] = []
    path = tmp_path / "study"
    outcome = run(plan, path, Threads(2), tell=lambda done, _: seen.append(done), stop=lambda: len(seen) > 4)
    assert not outcome.done
    assert 4 <= len(outcome.finished) < plan.parts
    again = run(plan, path, Threads(2), resume=True)
    assert again.done
    assert again.kept == len(outcome.finished)
    assert contents(path) == contents(whole)


def test_asked_to_stop_in_its_folder(plan: Plan, whole: Path, tmp_path: Path) -> None:
    path = tmp_path / "study"

    def ask(done: int, _of: int) -> None:
        if done == 3:
            Folder(path).ask_to_stop()

    assert not run(plan, path, Threads(1), tell=ask).done
    assert Folder(path).asked_to_stop
    Folder(path).forget_stop()
    assert run(plan, path, Threads(1), resume=True).done
    assert contents(path) == contents(whole)


def test_killed_and_resumed(plan: Plan, whole: Path, tmp_path: Path) -> None:
    path = tmp_path / "study"
    command = [sys.executable, "-m", "tests.service.studies.writer", str(path)]
    for target in (2, 5):  # killed, taken up, killed once more
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            for line in process.stdout:
                if int(line.split()[1]) >= target:
                    process.kill()
        assert process.returncode != 0
        assert len(Folder(path).whole()) >= target
    outcome = run(plan, path, Threads(1), resume=True)
    assert outcome.kept >= 5
    assert outcome.done
    assert contents(path) == contents(whole)


def test_a_part_that_is_not_what_it_was_is_made_again(plan: Plan, whole: Path, tmp_path: Path) -> None:
    path = tmp_path / "study"
    run(plan, path, Threads(1))
    parts = path / "parts"
    for number, damage in ((1, b""), (3, contents(whole)[3][:-7])):
        (parts / part_name(number)).write_bytes(damage)
    (parts / part_name(5)).unlink()
    (parts / "part-000007.parquet.new").write_bytes(b"half")
    lines = (path / "parts.ndjson").read_bytes()
    (path / "parts.ndjson").write_bytes(lines[: len(lines) - 9])  # cut off in the middle of the last line
    outcome = run(plan, path, Threads(1), resume=True)
    assert outcome.done
    assert outcome.kept == plan.parts - 4
    assert contents(path) == contents(whole)
    assert not list(parts.glob("*.new"))
    assert Outcome(plan.parts, Folder(path).whole()).done  # what was added stands on lines of its own


def test_a_full_disk_loses_nothing_that_was_finished(plan: Plan, whole: Path, tmp_path: Path) -> None:
    path = tmp_path / "study"

    def fill(done: int, _of: int) -> None:
        if done == 3:  # /dev/full takes nothing: a device of the kernel for this very test
            (path / "parts" / f"{part_name(8)}.{os.getpid()}.new").symlink_to("/dev/full")

    with pytest.raises(Refused) as refused:
        run(plan, path, Threads(1), tell=fill)
    assert refused.value.code == "disk-full"
    assert "--resume" in refused.value.faults[0].advice
    kept = Folder(path).whole()  # 9, too, where it was written while 8 was not
    assert set(range(8)) <= set(kept)
    assert 8 not in kept
    outcome = run(plan, path, Threads(1), resume=True)
    assert (outcome.kept, outcome.done) == (len(kept), True)
    assert contents(path) == contents(whole)


def test_another_study_is_not_mixed_in(plan: Plan, tmp_path: Path) -> None:
    path = tmp_path / "study"
    run(plan, path, Threads(1), stop=lambda: True)
    with pytest.raises(Refused) as refused:
        run(plan, path, Threads(1))
    assert refused.value.code == "folder-taken"
    other = planned(TEXT.replace("seed = 1", "seed = 2"))
    with pytest.raises(Refused) as refused:
        run(other, path, Threads(1), resume=True)
    assert refused.value.code == "other-study"
    assert "file_sha256" in refused.value.faults[0].found


def test_a_release_of_another_number_is_another_study(plan: Plan, tmp_path: Path) -> None:
    path = tmp_path / "study"
    run(plan, path, Threads(1), stop=lambda: True)
    manifest = json.loads((path / "manifest.json").read_text())
    manifest["identity"], manifest["versions"]["tipdatum"] = "0" * 64, "0.0.0"
    (path / "manifest.json").write_text(json.dumps(manifest))
    with pytest.raises(Refused, match="versions"):
        run(plan, path, Threads(1), resume=True)


@pytest.mark.parametrize("library", ["numpy", "scipy", "numba"])
def test_another_library_may_draw_another_design(
    library: str, plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of scipy's scrambled Sobol sequence nobody promises that the next release draws it alike."""
    path = tmp_path / "study"
    run(plan, path, Threads(1), stop=lambda: True)
    monkeypatch.setattr(plans, "release", lambda name: "0.0.0" if name == library else version(name))
    with pytest.raises(Refused) as refused:
        run(planned(), path, Threads(1), resume=True)
    assert refused.value.code == "other-study"


@pytest.mark.parametrize("what", ["file", "folder", "manifest"])
def test_a_folder_of_something_else(plan: Plan, tmp_path: Path, what: str) -> None:
    path = tmp_path / "study"
    if what == "file":
        path.write_text("mine")
    else:
        path.mkdir()
        (path / ("manifest.json" if what == "manifest" else "notes.txt")).write_text("[]")
    with pytest.raises(Refused) as refused:
        run(plan, path, Threads(1), resume=True)
    assert refused.value.code in {"folder-taken", "no-study-here"}


class Failing:
    """Makers of which one stops at a fault of its own."""

    def reach(self) -> None:
        """Always there."""

    def make(
        self, plan: Plan, parts: Iterable[int], write: Write, _stop: Stop
    ) -> Generator[Written, None, None]:
        """Two, then nothing."""
        numbers, room = iter(parts), Room()
        yield write(make_part(plan, next(numbers), room))
        yield write(make_part(plan, next(numbers), room))
        raise RuntimeError("a fault of the formulas")


def test_a_fault_of_a_maker_is_told_and_loses_nothing(plan: Plan, tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="formulas"):
        run(plan, tmp_path / "study", Failing())
    assert sorted(Folder(tmp_path / "study").whole()) == [0, 1]


def test_whoever_reads_takes_nothing_away_that_is_under_way(plan: Plan, tmp_path: Path) -> None:
    path = tmp_path / "study"
    run(plan, path, Threads(1), stop=lambda: len(list(path.glob("parts/*.parquet"))) > 1)
    folder = Folder(path)
    missing = next(number for number in range(plan.parts) if number not in folder.whole())
    under_way = folder.write(make_part(plan, missing, Room()))
    assert missing not in Folder(path).whole()  # as the service does for a result, while a worker writes
    assert folder.keep(under_way).part == missing
    assert missing in folder.whole()


def test_what_a_disk_says_late_is_told(plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk may take what is written and say only when asked that it has no room; and it says so once."""
    asked: list[Path] = []

    def full_once(path: Path) -> None:
        asked.append(path)
        if len(asked) == 1:
            raise OSError(errno.ENOSPC, "No space left on device")

    path = tmp_path / "study"
    folder = Folder(path)
    folder.begin(plan, resume=False)
    monkeypatch.setattr(folders, "to_the_disk", full_once)
    with pytest.raises(Refused) as refused:
        run(plan, path, Threads(2), resume=True)
    assert refused.value.code == "disk-full"
    assert not [each.name for each in threading.enumerate() if each.name.startswith(("study", "settle"))]
    monkeypatch.undo()
    assert run(plan, path, Threads(2), resume=True).done


def test_memory_is_that_of_the_process_itself(tmp_path: Path) -> None:
    """Linux's "greatest resident set" of a process begins with that of whoever started it."""
    (tmp_path / "told.py").write_text(
        "from tests.benchmarks.timed import most_memory_mb\nprint(most_memory_mb())\n"
    )
    large = (
        "import subprocess, sys\nkept = b'1' * 400_000_000\n"
        f"subprocess.run([sys.executable, {str(tmp_path / 'told.py')!r}], check=True)\n"
    )
    root = str(Path(__file__).parents[3])
    done = subprocess.run([sys.executable, "-c", large], capture_output=True, text=True, check=True, cwd=root,
                          env={**os.environ, "PYTHONPATH": root})  # fmt: skip
    assert 5.0 < float(done.stdout) < 300.0
