"""The command line: answers, refusals with exit code 1, JSON for programs."""

import json
import socket
import sqlite3
import subprocess
from pathlib import Path

import pytest
from typer.testing import CliRunner

from machine_profiles import check_profile, shipped
from service.cli import app
from tests.service.running import COMMAND, service

POSE = [
    "pose", "crawler-14t", "tilting-1800", "--angle", "boom=20", "--angle", "stick=-95", "--angle", "bucket=70",
    "--angle", "tilt=0", "--pitch", "0.5", "--roll", "-0.2",
]  # fmt: skip


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, list(words))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def test_pose_in_print_and_for_programs() -> None:
    code, out, _ = run(*POSE)
    assert code == 0
    assert "cross-slope" in out
    assert "Advisory only" in out
    code, out, _ = run(*POSE, "--json", "--units", "ftin")
    told = json.loads(out)
    assert code == 0
    assert told["heights"]["centre"]["shown"].endswith('"')
    assert told["cylinders_mm"]["boom"] > 0


def test_pose_by_cylinders_is_the_same_pose() -> None:
    told = json.loads(run(*POSE, "--json")[1])
    words = [
        "pose",
        "crawler-14t",
        "tilting-1800",
        "--angle",
        "tilt=0",
        "--pitch",
        "0.5",
        "--roll",
        "-0.2",
        "--json",
    ]
    for name, millimetres in told["cylinders_mm"].items():
        words += ["--cylinder", f"{name}={millimetres!r}"]
    again = json.loads(run(*words)[1])
    assert again["heights"]["left"]["m"] == pytest.approx(told["heights"]["left"]["m"], abs=1e-9)


@pytest.mark.parametrize(
    ("words", "needle"),
    [
        (["--angle", "boom=nan"], "NAME=NUMBER"),
        (["--angle", "boom=x"], "NAME=NUMBER"),
        (["--angle", "boom=20", "--angle", "boom=21"], "each joint once"),
        (["--angle", "boom=20", "--angle", "stick=-95"], "bucket"),
        (["--angle", "elbow=20"], "elbow"),
        (
            ["--angle", "boom=200", "--angle", "stick=-95", "--angle", "bucket=70", "--angle", "tilt=0"],
            "beyond",
        ),
        (["--cylinder", "boom=9999"], "9999.0 mm"),
        (["--units", "cubits"], "cubits"),
    ],
)
def test_pose_refusals(words: list[str], needle: str) -> None:
    code, out, err = run("pose", "crawler-14t", "tilting-1800", "--pitch", "0", "--roll", "0", *words)
    assert code == 1
    assert out == ""
    assert needle in err or needle == "beyond"
    code, out, _ = run("pose", "crawler-14t", "tilting-1800", "--pitch", "0", "--roll", "0", "--json", *words)
    assert code == 1
    assert json.loads(out)["faults"]


def test_attitude_is_never_assumed() -> None:
    code, _, err = run("pose", "crawler-14t", "tilting-1800", "--angle", "boom=20")
    assert code == 2
    assert "--pitch" in err


def test_profile_check_gives_the_verdict(tmp_path: Path) -> None:
    good = tmp_path / "good.toml"
    good.write_text(shipped()["machine", "crawler-14t"].source_text, encoding="utf-8")
    code, out, _ = run("profile", "check", str(good), "--fits", "digging-1500", "--json")
    assert code == 0
    assert json.loads(out)["kind"] == "pair"
    assert "good" in run("profile", "check", str(good))[1]
    bad = tmp_path / "bad.toml"
    text = good.read_text(encoding="utf-8").replace("length = 4600", "length = 0\ncolour = 'red'")
    bad.write_text(text, encoding="utf-8")
    code, out, _ = run("profile", "check", str(bad), "--json")
    assert code == 1
    assert json.loads(out) == check_profile(bad.read_text(encoding="utf-8")).as_json()
    code, _, err = run("profile", "check", str(bad))
    assert code == 1
    assert "colour" in err


@pytest.mark.parametrize("name", ["missing.toml", "folder", "bytes.toml", "huge.toml"])
def test_unreadable_files(name: str, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    (tmp_path / "huge.toml").write_bytes(b"#" * 1_000_001)
    code, _, err = run("profile", "check", str(tmp_path / name))
    assert code == 1
    assert "expected" in err


def test_schema_list_show_version() -> None:
    assert json.loads(run("profile", "schema", "machine")[1])["type"] == "object"
    assert run("profile", "schema", "boat")[0] == 1
    assert "tilt-rotator-1600" in run("profile", "list")[1]
    assert run("profile", "show", "crawler-14t")[1] == shipped()["machine", "crawler-14t"].source_text
    assert run("profile", "show", "nothing")[0] == 1
    assert run("version")[1].strip()


def test_adding_to_a_service_that_is_not_there(tmp_path: Path) -> None:
    file = tmp_path / "m.toml"
    file.write_text(shipped()["machine", "crawler-14t"].source_text, encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    code, _, err = run("profile", "add", str(file), "--to", f"http://127.0.0.1:{port}")
    assert code == 1
    assert "tipdatum serve" in err


def test_adding_a_shipped_id_is_refused_by_the_service(tmp_path: Path) -> None:
    file = tmp_path / "m.toml"
    file.write_text(shipped()["machine", "crawler-14t"].source_text, encoding="utf-8")
    with service(tmp_path / "data") as address:
        code, _, err = run("profile", "add", str(file), "--to", address)
    assert code == 1
    assert "id" in err


def serve(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, "serve", *words], capture_output=True, text=True, timeout=60, check=False
    )


def test_serve_refuses_another_bind(tmp_path: Path) -> None:
    done = serve("--data", str(tmp_path), "--host", "0.0.0.0")  # noqa: S104
    assert done.returncode == 1
    assert "127.0.0.1" in done.stderr
    assert "Traceback" not in done.stderr


def test_serve_refuses_a_taken_port(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        done = serve("--data", str(tmp_path), "--port", str(taken.getsockname()[1]))
    assert done.returncode == 1
    assert "--port" in done.stderr


def test_serve_refuses_a_database_from_the_future(tmp_path: Path) -> None:
    with service(tmp_path):
        pass
    with sqlite3.connect(tmp_path / "tipdatum.sqlite") as connection:
        connection.execute("update alembic_version set version_num = 'r9999'")
    connection.close()
    before = (tmp_path / "tipdatum.sqlite").read_bytes()
    done = serve("--data", str(tmp_path), "--port", "0")
    assert done.returncode == 1
    assert "r9999" in done.stderr
    assert "Traceback" not in done.stderr
    assert (tmp_path / "tipdatum.sqlite").read_bytes() == before


def test_serve_refuses_what_is_no_database(tmp_path: Path) -> None:
    (tmp_path / "tipdatum.sqlite").write_bytes(b"not a database, " * 100)
    done = serve("--data", str(tmp_path), "--port", "0")
    assert done.returncode == 1
    assert "Traceback" not in done.stderr


def test_answers_are_not_held_back(tmp_path: Path) -> None:
    """The listening socket names TCP, without which the event loop leaves Nagle on: 40 ms on every answer."""
    from service.serving import bind  # noqa: PLC0415

    with bind("127.0.0.1", 0) as listener:
        assert listener.proto == socket.IPPROTO_TCP
