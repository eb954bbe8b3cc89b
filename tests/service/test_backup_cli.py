"""A data folder kept, brought back, and held against itself: what is damaged is told, what is there is not touched."""

import json
import sqlite3
import threading
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from service import backup_run
from service.cli import app
from service.studies.folder import Folder
from service.studies.runner import Threads
from service.studies.runner import run as run_study
from tests.amounts import several

from .on_disk import FILE, two_jobs
from .running import service
from .studies.making import planned

STUDY = "0123456789abcdef" * 2


def run(*words: object) -> tuple[int, Any, str]:
    """Exit code, the object of --json, what else was said."""
    result = CliRunner().invoke(app, [*map(str, words), "--json"])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, json.loads(result.stdout), result.stderr


def refused(code: str, *words: object) -> dict[str, Any]:
    exit_code, told, _ = run(*words)
    assert exit_code == 1
    [fault] = told["faults"]
    assert fault["code"] == code, fault
    found: dict[str, Any] = fault
    return found


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Two jobs, the pump house with three entries, and a study that is finished."""
    folder = two_jobs(tmp_path / "data", ("slab", "nail"))
    run_study(planned(), folder / "studies" / STUDY, Threads(1), resume=False)
    return folder


@pytest.fixture
def kept(data: Path, tmp_path: Path) -> Path:
    file = tmp_path / "monday.zip"
    assert run("backup", file, "--data", data)[0] == 0
    return file


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def alter(data: Path, statement: str) -> None:
    connection = sqlite3.connect(data / FILE)
    with connection:
        connection.execute(statement)
    connection.close()


@contextmanager
def repacked(file: Path, change: Callable[[dict[str, bytes]], None]) -> Iterator[Path]:
    """The archive with other content."""
    with zipfile.ZipFile(file) as archive:
        content = {name: archive.read(name) for name in archive.namelist()}
    change(content)
    other = file.with_name("other.zip")
    with zipfile.ZipFile(other, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, what in content.items():
            archive.writestr(name, what)
    yield other
    other.unlink()


def test_kept_and_brought_back(data: Path, kept: Path, tmp_path: Path) -> None:
    again = tmp_path / "again"
    code, told, _ = run("restore", kept, "--data", again)
    assert code == 0
    assert told["heads"].keys() == {"pump-house", "well"}
    assert told["heads"]["pump-house"].startswith("3:")
    assert run("verify", "--data", again) == (0, {"ok": True, "jobs": 2, "wrong": []}, "")
    before, after = files_in(data / "studies"), files_in(again / "studies")
    assert before == after
    assert len(Folder(again / "studies" / STUDY).whole()) == planned().parts
    assert [each.name for each in tmp_path.iterdir() if each.name.startswith(".")] == []


def test_kept_while_it_is_served_and_written_to(tmp_path: Path) -> None:
    """What was acknowledged before is in it, what it holds is one moment of each log, and it serves again."""
    served, over = tmp_path / "served", threading.Event()
    file, again = tmp_path / "live.zip", tmp_path / "again"
    with service(served) as address, httpx.Client(base_url=address, timeout=60) as client:
        client.post("/v1/jobs", json={"id": "pit", "name": "Pit", "units": "m"}).raise_for_status()

        def mark(number: int) -> None:
            body = {"name": f"nail {number}", "elevation": 100.0, "units": "m"}
            assert client.post("/v1/jobs/pit/benchmarks", json=body).status_code == 201

        for number in range(20):
            mark(number)
        written = 20

        def go_on() -> None:
            nonlocal written
            while not over.is_set():
                mark(written)
                written += 1

        writing = threading.Thread(target=go_on)
        writing.start()
        try:
            code, told, _ = run("backup", file, "--data", served)
        finally:
            over.set()
            writing.join()
    assert code == 0
    seq = int(told["heads"]["pit"].partition(":")[0])
    assert 21 <= seq <= written + 1
    assert run("restore", file, "--data", again)[0] == 0
    with service(again) as address, httpx.Client(base_url=address, timeout=60) as client:
        found = client.get("/v1/jobs/pit/benchmarks").json()
        assert len(found) == seq - 1


def test_nothing_is_overwritten(data: Path, kept: Path) -> None:
    before, copy = files_in(data), kept.read_bytes()
    refused("folder-taken", "restore", kept, "--data", data)
    refused("folder-taken", "backup", kept, "--data", data)
    assert files_in(data) == before
    assert kept.read_bytes() == copy


def test_a_broken_log_is_not_kept_and_told(data: Path, tmp_path: Path) -> None:
    alter(data, "UPDATE event SET payload = replace(payload, 'slab', 'slap')")
    code, told, _ = run("verify", "--data", data)
    assert (code, told["ok"]) == (1, False)
    assert "pump-house: broken at entry 2" in told["wrong"][0]
    assert "pump-house" in refused("database", "backup", tmp_path / "x.zip", "--data", data)["found"]
    assert not (tmp_path / "x.zip").exists()


def test_a_broken_page_is_told(data: Path) -> None:
    content = bytearray((data / FILE).read_bytes())
    content[4096:8192] = b"\x5a" * 4096
    (data / FILE).write_bytes(content)
    code, told, _ = run("verify", "--data", data)
    assert code == 1
    assert told["wrong"] if "wrong" in told else told["faults"]


def test_a_part_of_a_study_that_changed_is_told(data: Path) -> None:
    part = next((data / "studies" / STUDY / "parts").iterdir())
    part.write_bytes(part.read_bytes()[:-1] + b"\x00")
    code, told, _ = run("verify", "--data", data)
    assert code == 1
    assert STUDY in told["wrong"][0]


def test_no_folder_there(tmp_path: Path) -> None:
    refused("no-database", "verify", "--data", tmp_path / "none")
    refused("no-database", "backup", tmp_path / "x.zip", "--data", tmp_path / "none")
    refused("unwritable", "backup", tmp_path / "no" / "x.zip", "--data", tmp_path / "none")


def test_a_shared_database_is_left_to_its_server(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("TIPDATUM_DATABASE", "postgresql://nobody@127.0.0.1:1/none")
    assert "pg_dump" in refused("shared-database", "backup", tmp_path / "x.zip")["advice"]
    refused("shared-database", "restore", tmp_path / "x.zip")


def test_a_full_disk_leaves_nothing(
    data: Path, kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup_run, "_through", full)
    refused("disk-full", "restore", kept, "--data", tmp_path / "again")
    refused("disk-full", "backup", tmp_path / "x.zip", "--data", data)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["data", "monday.zip"]


def test_a_disk_that_fills_while_the_database_is_copied(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        error = sqlite3.OperationalError("database or disk is full")
        error.sqlite_errorcode = sqlite3.SQLITE_FULL
        raise error

    monkeypatch.setattr(backup_run, "copy_file", full)
    refused("disk-full", "backup", tmp_path / "x.zip", "--data", data)
    assert [each.name for each in tmp_path.iterdir()] == ["data"]


def _escape(content: dict[str, bytes]) -> None:
    content["../outside"] = b"x"


def _lie(content: dict[str, bytes]) -> None:
    content[FILE] = content[FILE] + b"\x00"


def _tell_of_more(content: dict[str, bytes]) -> None:
    told = json.loads(content["backup.json"])
    told["files"]["studies/../../x"] = told["files"][FILE]
    content["backup.json"] = json.dumps(told).encode()


def _lose(content: dict[str, bytes]) -> None:
    del content[FILE]


def _another_end(content: dict[str, bytes]) -> None:
    told = json.loads(content["backup.json"])
    told["heads"]["pump-house"] = "4:" + "0" * 64
    content["backup.json"] = json.dumps(told).encode()


def _deep(content: dict[str, bytes]) -> None:
    content["backup.json"] = b'{"a":' * 100_000


def _bomb(content: dict[str, bytes]) -> None:
    content[FILE] = bytes(300_000_000)


@pytest.mark.parametrize("change", [_escape, _lie, _tell_of_more, _lose, _another_end, _deep, _bomb])
def test_an_archive_that_is_none_of_ours(
    kept: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], None]
) -> None:
    with repacked(kept, change) as other:
        refused("unreadable-backup", "restore", other, "--data", tmp_path / "again")
    assert not (tmp_path / "again").exists()
    assert not (tmp_path.parent / "outside").exists()


@settings(
    max_examples=several(60), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(where=st.floats(0.0, 1.0, exclude_max=True), byte=st.integers(1, 255), cut=st.booleans())
def test_a_damaged_archive_is_refused_or_whole(kept: Path, where: float, byte: int, cut: bool) -> None:
    """One byte changed, or the end cut off, anywhere: refused, or every file still what it was told to be."""
    content = bytearray(kept.read_bytes())
    at = int(where * len(content))
    content[at] ^= byte
    other = kept.with_name("damaged.zip")
    other.write_bytes(content[:at] if cut else content)
    exit_code, told, _ = run("restore", other, "--data", kept.with_name("again"))
    if exit_code == 0:
        assert run("verify", "--data", kept.with_name("again"))[1]["ok"]
        for path in sorted(kept.with_name("again").rglob("*"), reverse=True):
            path.rmdir() if path.is_dir() else path.unlink()
        kept.with_name("again").rmdir()
    else:
        assert told["faults"][0]["code"] == "unreadable-backup", told
    assert [each.name for each in kept.parent.iterdir() if each.name.startswith(".")] == []
