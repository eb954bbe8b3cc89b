"""The command study: results in a folder, as Parquet and CSV; refusals and being stopped, with exit codes."""

import csv
import json
import os
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from machine_profiles import shipped
from service.cli import app

from .studies.making import BY_VARIANT, TEXT

SENSITIVITY = BY_VARIANT.replace('kind = "latin"\nrows = 1000', 'kind = "sensitivity"\nrows = 64').replace(
    "60", "5"
)


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["study", *words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def pins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TIPDATUM_DASK", raising=False)
    file = tmp_path / "pins.toml"
    file.write_text(TEXT)
    return file


def test_in_print_and_as_files(pins: Path, tmp_path: Path) -> None:
    code, out, err = run("pins.toml", "--parquet", "pins.parquet", "--csv", "pins.csv")
    assert code == 0, err
    assert "1000 variants, 55 poses of each, seed 1" in out
    assert "bucket-cylinder-no-closure" in out
    assert "results: pins-results" in out
    assert "Advisory only" in out
    parts, one = pq.read_table(tmp_path / "pins-results" / "parts"), pq.read_table("pins.parquet")
    assert one.equals(parts)
    told = json.loads(one.schema.metadata[b"tipdatum"])
    profile = shipped()["machine", "crawler-14t"]
    assert told["machine"] == {"id": "crawler-14t", "content_hash": profile.content_hash}
    assert told["seed"] == 1
    assert told["finished"]
    assert set(told["versions"]) == {"tipdatum", "numpy", "scipy", "numba", "pyarrow"}
    lines = Path("pins.csv").read_text().splitlines()
    head = [line[2:] for line in lines if line.startswith("#")]
    assert json.loads("\n".join(head)) == told
    rows = list(csv.DictReader(lines[len(head) :]))
    assert list(rows[0]) == one.column_names
    assert len(rows) == 55_000
    assert [
        float(row["centre_height_mm"]) if row["centre_height_mm"] else None for row in rows
    ] == one.column("centre_height_mm").to_pylist()
    assert [row["status"] for row in rows] == one.column("status").to_pylist()


def test_for_programs_and_again(pins: Path) -> None:
    code, out, _ = run("pins.toml", "--out", "one", "--json")
    told = json.loads(out)
    assert code == 0
    assert told["ok"]
    height = next(each for each in told["results"] if each["column"] == "centre_height_mm")
    assert height["least"] < height["mean"] < height["greatest"]
    assert sum(told["variants_by_status"].values()) == 1000
    other = json.loads(run("pins.toml", "--out", "two", "--workers", "1", "--json")[1])
    assert {**told, "folder": ""} == {**other, "folder": ""}
    assert json.loads(run("pins.toml", "--out", "two", "--resume", "--json")[1]) == other


def test_sobol_indices(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("pins.toml").write_text(SENSITIVITY)
    code, out, err = run("pins.toml", "--json")
    assert code == 0, err
    indices = {each["column"]: each for each in json.loads(out)["sobol_indices"]}
    assert set(indices) == {"bucket_travel_deg", "least_transmission_deg", "depth_mm", "deep_percent"}
    travel = {part["parameter"]: part for part in indices["bucket_travel_deg"]["parameters"]}
    # The boom's length has no part in how far the bucket turns.
    assert travel["boom_length"]["total"] == pytest.approx(0.0, abs=1e-12)
    assert travel["idler_length"]["first"] == pytest.approx(1.0, abs=0.1)
    assert "with all it takes part in" in run("pins.toml", "--out", "print")[1]


def test_no_indices_where_a_variant_is_no_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("pins.toml").write_text(SENSITIVITY.replace("low = -5\nhigh = 5", "low = -60\nhigh = 60"))
    code, out, _ = run("pins.toml", "--json")
    assert code == 0
    told = json.loads(out)
    assert told["variants_by_status"]["ok"] < 256
    assert all("narrow the variations" in each["why_not"] for each in told["sobol_indices"])


@pytest.mark.parametrize(("words", "code"), [
    (("pins.toml", "--workers", "0"), "out-of-range"),
    (("nothing.toml",), "unreadable"),
    (("pins.toml", "--csv", "pins.toml"), "file-exists"),
    (("pins.toml", "--csv", "x", "--parquet", "x"), "given-twice"),
    (("pins.toml", "--out", "pins.toml"), "folder-taken"),
    (("pins.toml", "--dask", "tcp://127.0.0.1:9", "--workers", "2"), "given-twice"),
])  # fmt: skip
def test_refused(pins: Path, words: tuple[str, ...], code: str) -> None:
    left, out, _ = run(*words, "--json")
    assert left == 1
    assert [fault["code"] for fault in json.loads(out)["faults"]] == [code]


def test_profiles_beside_the_file(pins: Path, tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "mine.toml").write_text(shipped()["machine", "crawler-14t"].source_text)
    (folder / "pins.toml").write_text(TEXT.replace('"crawler-14t"', '"mine.toml"'))
    code, out, err = run(str(folder / "pins.toml"), "--json")
    assert code == 0, err
    assert json.loads(out)["machine"]["id"] == "crawler-14t"
    (folder / "mine.toml").write_text("schema = 1\n")
    code, _, err = run(str(folder / "pins.toml"), "--out", "other")
    assert code == 1
    assert "pins.toml:4: machine: " in err


def test_stopped_by_a_signal_and_resumed(pins: Path, tmp_path: Path) -> None:
    big = tmp_path / "big.toml"
    big.write_text(TEXT.replace("rows = 1000", "rows = 200000"))
    command = [
        sys.executable,
        "-m",
        "service.cli",
        "study",
        str(big),
        "--out",
        str(tmp_path / "big"),
        "--json",
    ]
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    told = tmp_path / "big" / "parts.ndjson"
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env=environment, cwd=tmp_path
    ) as process:
        while process.poll() is None and not told.exists():  # one part is finished, of more than forty
            with suppress(subprocess.TimeoutExpired):
                process.wait(0.02)
        process.send_signal(signal.SIGTERM)
        out = process.communicate(timeout=60)[0]
    assert process.returncode == 1
    found = json.loads(out)
    assert not found["finished"]
    assert 1 <= found["parts_finished"] < found["parts"]
