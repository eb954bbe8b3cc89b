"""The command record: exit codes, the entry that does not fit, by file and by database."""

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.cli import app

from .on_disk import FILE, two_jobs
from .paper.reading import words_of


def run(*words: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["record", *map(str, words)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Two jobs: pump-house with four entries, well with one."""
    return two_jobs(tmp_path / "data", ("slab", "rim", "nail"))


@pytest.fixture
def exported(data: Path, tmp_path: Path) -> Path:
    out = tmp_path / "record.json"
    assert run("export", "pump-house", "--data", data, "--format", "json", "-o", out)[0] == 0
    return out


def alter(data: Path, statement: str) -> None:
    connection = sqlite3.connect(data / FILE)
    with connection:
        connection.execute(statement)
    connection.close()


def test_a_file_that_holds(exported: Path) -> None:
    code, out, err = run("verify", exported)
    assert (code, err) == (0, "")
    assert out.startswith("pump-house: holds, 4 entries, head 4:")
    head = out.strip().rpartition(" ")[2]
    assert run("verify", exported, "--head", head)[0] == 0
    code, out, _ = run("verify", exported, "--json")
    seq, _, digest = head.partition(":")
    told = {"job": "pump-house", "ok": True, "head": {"seq": int(seq), "hash": digest}, "broken": None}
    assert code == 0
    assert json.loads(out) == {"ok": True, "jobs": [told]}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda text: text.replace('"elevation_m":100.0,"entered":"100 m","hangs_on":[],"name":"rim"',
                                   '"elevation_m":100.1,"entered":"100 m","hangs_on":[],"name":"rim"'),
         "entry 3 (changed-entry)"),
        (lambda text: "\n".join(line for line in text.splitlines() if '"seq":3' not in line), "entry 3 (missing-entry)"),
        (lambda text: text.replace('"seq":3', '"seq":9').replace('"seq":4', '"seq":3').replace('"seq":9', '"seq":4'),
         "entry 3 (missing-entry)"),
    ],
)  # fmt: skip
def test_a_file_that_was_changed(exported: Path, change: Callable[[str], str], told: str) -> None:
    changed = change(exported.read_text(encoding="utf-8"))
    assert changed != exported.read_text(encoding="utf-8")
    exported.write_text(changed, encoding="utf-8")
    code, out, err = run("verify", exported)
    assert (code, out) == (1, "")
    assert f"pump-house: broken at {told}: expected" in err
    code, out, _ = run("verify", exported, "--json")
    assert code == 1
    assert not json.loads(out)["ok"]


def test_an_end_cut_off_shows_against_a_noted_head(exported: Path) -> None:
    told = json.loads(exported.read_text(encoding="utf-8"))
    last = told["events"].pop()
    before = told["events"][-1]
    told["head"] = {"seq": before["seq"], "hash": before["hash"]}
    exported.write_text(json.dumps(told), encoding="utf-8")
    assert run("verify", exported)[0] == 0
    code, _, err = run("verify", exported, "--head", f"{last['seq']}:{last['hash']}")
    assert code == 1
    assert "broken at entry 4 (cut-off): expected entry 4, which was noted, found an end at entry 3" in err


@pytest.mark.parametrize("content", [b"", b"{", b"\xff\xfe", b"[]", b'{"kind": "tipdatum-record"}'])
def test_what_cannot_be_read(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "x.json"
    file.write_bytes(content)
    code, out, err = run("verify", file)
    assert (code, out) == (2, "")
    assert "expected" in err
    code, out, _ = run("verify", file, "--json")
    assert code == 2
    assert json.loads(out)["faults"][0]["code"] in {"unreadable", "unreadable-record"}


def test_truncated(exported: Path) -> None:
    text = exported.read_text(encoding="utf-8")
    exported.write_text(text[: len(text) // 2], encoding="utf-8")
    code, _, err = run("verify", exported)
    assert code == 2
    assert "cut off" in err


def test_wrong_use(tmp_path: Path, data: Path, exported: Path) -> None:
    for words in (
        (), (exported, "--data", data), (exported, "--job", "well"), ("--data", data, "--head", "1:" + "0" * 64),
        (tmp_path / "none.json",), (exported, "--head", "1:x"), ("--data", tmp_path / "none"), ("--data", tmp_path),
        ("--data", data, "--job", "none"),
    ):  # fmt: skip
        assert run("verify", *words)[0] == 2, words


def test_every_job_of_a_database(data: Path) -> None:
    code, out, err = run("verify", "--data", data)
    assert (code, err) == (0, "")
    assert [line.partition(":")[0] for line in out.splitlines()] == ["pump-house", "well"]
    code, out, _ = run("verify", "--data", data, "--job", "well")
    assert code == 0
    assert out.startswith("well: holds, 1 entries, head 1:")


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        (
            "UPDATE event SET payload = replace(payload, '100.0', '100.1') WHERE seq = 3",
            "entry 3 (changed-entry)",
        ),
        ("UPDATE event SET payload = '{' WHERE seq = 3", "entry 3 (changed-entry)"),
        ("DELETE FROM event WHERE seq = 3", "entry 3 (missing-entry)"),
        ("UPDATE event SET hash = previous_hash WHERE seq = 3", "entry 3 (changed-entry)"),
        ("UPDATE event SET actor = 'x' WHERE seq = 2", "entry 2 (changed-entry)"),
    ],
)
def test_a_database_that_was_altered(data: Path, tmp_path: Path, statement: str, told: str) -> None:
    alter(data, statement)
    code, out, err = run("verify", "--data", data)
    assert code == 1
    assert f"pump-house: broken at {told}" in err
    assert out.startswith("well: holds")
    out_file = tmp_path / "r.pdf"
    code, _, err = run("export", "pump-house", "--data", data, "-o", out_file)
    assert code == 1
    seq = int(told.split()[1])
    assert f"can be read up to entry {seq - 1} only" in " ".join(err.split())
    assert f"endsatentry{seq - 1}" in "".join(words_of(out_file.read_bytes()).split()), (
        "the paper says so too"
    )


def test_the_first_of_two_breaks_is_named(data: Path) -> None:
    alter(data, "UPDATE event SET payload = '{' WHERE seq = 4")
    alter(data, "UPDATE event SET actor = 'x' WHERE seq = 2")
    assert "broken at entry 2" in run("verify", "--data", data)[2]


def test_nothing_is_made_or_migrated(data: Path, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    assert run("verify", "--data", empty)[0] == 2
    assert list(empty.iterdir()) == []
    alter(data, "UPDATE alembic_version SET version_num = 'older'")
    before = (data / FILE).read_bytes()
    code, _, err = run("verify", "--data", data)
    assert code == 2
    assert "revision" in err
    assert (data / FILE).read_bytes() == before


def test_export(data: Path, tmp_path: Path) -> None:
    for wanted, start in (
        ("pdf", b"%PDF-1."),
        ("html", b"<!doctype html>"),
        ("csv", b"entry,status,"),
        ("json", b"{"),
    ):
        out = tmp_path / f"r.{wanted}"
        code, said, _ = run("export", "pump-house", "--data", data, "--format", wanted, "-o", out)
        assert (code, said) == (0, f"written: {out}\n")
        assert out.read_bytes().startswith(start)
    assert run("export", "pump-house", "--data", data, "-o", tmp_path / "r.pdf")[0] == 1  # it is there
    assert run("export", "none", "--data", data, "-o", tmp_path / "n.pdf")[0] == 1
    assert not (tmp_path / "n.pdf").exists()
