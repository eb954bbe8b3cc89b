"""The command line: answers, refusals with exit code 1, JSON for programs."""

import json
import socket
import sqlite3
import subprocess
from pathlib import Path

import httpx
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


def test_play_of_a_coupler_is_one_line() -> None:
    words = ["pose", "crawler-14t", "coupled-900", *POSE[3:9], *POSE[11:]]
    played = json.loads(run(*words, "--json")[1])["edge_play"]
    most = max(played, key=lambda name: played[name]["m"])
    [line] = [line for line in run(*words)[1].splitlines() if "coupler play" in line]
    assert played[most]["shown"] in line
    assert line.rstrip().endswith(most)
    assert "coupler play" not in run(*POSE)[1]


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


def test_profile_check_takes_a_shipped_id_but_a_file_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told = json.loads(run("profile", "check", "midi-8t", "--fits", "midi-bucket-700", "--json")[1])
    assert (told["ok"], told["kind"]) == (True, "pair")
    assert json.loads(run("profile", "check", "midi-bucket-700", "--json")[1])["kind"] == "attachment"
    code, _, err = run("profile", "check", "midi-8")
    assert code == 1
    assert "a TOML file, or one of: " in err
    assert "did you mean midi-8t?" in err
    assert run("profile", "check", "x" * 300)[0] == 1
    (tmp_path / "midi-8t").write_text("colour = 'red'", encoding="utf-8")
    assert "midi-8t:1: schema" in run("profile", "check", "midi-8t")[2]


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


def test_options_are_named_as_they_were_typed() -> None:
    code, _, err = run(
        "pose", "crawler-14t", "tilting-1800", "--angle", "bom=20", "--cylinder", "stik=2000", "--pitch", "inf",
        "--roll", "nan", "--units", "feet",
    )  # fmt: skip
    assert code == 1
    lines = dict(line.split(": expected ", 1) for line in err.splitlines())
    assert set(lines) == {"--angle bom=20", "--cylinder stik=2000", "--pitch", "--roll", "--units"}
    assert lines["--angle bom=20"].endswith('found "bom"; did you mean boom?')
    assert lines["--cylinder stik=2000"].endswith("did you mean stick?")
    assert lines["--pitch"].startswith("a finite number, found infinity")
    assert lines["--roll"].startswith("a finite number, found NaN")
    assert lines["--units"].endswith("did you mean ft?")
    assert "Input should" not in err
    assert "[key]" not in err


def test_faults_of_the_pose_are_placed_at_their_options() -> None:
    code, _, err = run(
        "pose", "crawler-14t", "digging-1500", "--angle", "boom=200", "--angle", "stick=-95", "--pitch", "60", "--roll",
        "0",
    )  # fmt: skip
    assert code == 1
    places = {line.split(": expected ")[0] for line in err.splitlines()}
    assert {"--angle boom=200", "--angle bucket"} <= places
    assert "angles_deg" not in err


def test_both_profiles_are_judged_at_once() -> None:
    code, _, err = run("pose", "crawler14t", "diging-1500", "--pitch", "0", "--roll", "0")
    assert code == 1
    assert "did you mean crawler-14t?" in err
    assert "did you mean digging-1500?" in err


def test_facts_for_people_are_rounded_and_for_programs_are_not(tmp_path: Path) -> None:
    file = tmp_path / "m.toml"
    file.write_text(shipped()["machine", "crawler-14t"].source_text, encoding="utf-8")
    out = run("profile", "check", str(file), "--fits", "tilting-1800")[1]
    table = [line.split() for line in out.splitlines()]
    assert ["link", "lengths", "boom", "4.6", "m"] in table
    assert ["tilt", "-45", "to", "45", "deg"] in table
    assert ["joint", "ranges", "boom", "-41.212", "to", "64.312", "deg"] in table
    assert not set('{}[]"') & set(out)
    told = json.loads(run("profile", "check", str(file), "--fits", "tilting-1800", "--json")[1])
    assert told["facts"]["joint_ranges_deg"]["boom"][0] != -41.249
    assert told["doubts"] == []


def test_facts_have_no_dust_of_floating_point() -> None:
    from service.prompt import facts_table  # noqa: PLC0415

    table = facts_table(
        {"joint_ranges_deg": {"a": [-29.999999999999996, -1e-17], "b": [1.0, 1.23456]}, "teeth": False}
    )
    assert list(table.columns[2].cells) == ["-30 to 0 deg", "1 to 1.235 deg", "no"]


def test_doubts_are_printed_and_refuse_nothing(tmp_path: Path) -> None:
    file = tmp_path / "b.toml"
    text = shipped()["attachment", "digging-1500"].source_text.replace("z = -1329", "z = 1329")
    file.write_text(text, encoding="utf-8")
    code, out, err = run("profile", "check", str(file))
    assert code == 0
    assert err == ""
    [doubt] = [line for line in out.splitlines() if line.startswith("doubtful: ")]
    assert doubt.endswith("a bucket's edge lies below its pin line: is the sign right?")
    assert json.loads(run("profile", "check", str(file), "--json")[1])["doubts"] == [
        doubt.removeprefix("doubtful: ")
    ]


@pytest.mark.parametrize("text", ["schema = 1\nkind = = 3\n", 'schema = 1\nkind = "machin"\n'])
def test_check_and_add_print_places_alike(text: str, tmp_path: Path) -> None:
    file = tmp_path / "m.toml"
    file.write_text(text, encoding="utf-8")
    checked, added = run("profile", "check", str(file)), run("profile", "add", str(file))
    assert checked == added
    assert checked[0] == 1
    assert checked[2].startswith(
        (f"{file}:2: expected TOML, found ", f"{file}:2: kind: expected machine or ")
    )


@pytest.mark.parametrize(
    "address", ["banana", "", "127.0.0.1:8311", "ftp://127.0.0.1", "http://", "http://[::1", "http://a:x"]
)
def test_an_address_that_is_none(address: str, tmp_path: Path) -> None:
    file = tmp_path / "m.toml"
    file.write_text(shipped()["machine", "crawler-14t"].source_text, encoding="utf-8")
    code, _, err = run("profile", "add", str(file), "--to", address)
    assert code == 1
    assert err == f'--to: expected an address such as http://127.0.0.1:8311, found "{address}"\n'


@pytest.mark.parametrize(
    "answer", [httpx.Response(404, json={}), httpx.Response(201, json=[]), httpx.Response(200, text="hi")]
)
def test_another_server_s_answer_is_no_answer(
    answer: httpx.Response, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(httpx, "post", lambda *_, **__: answer)
    file = tmp_path / "m.toml"
    file.write_text(shipped()["machine", "crawler-14t"].source_text, encoding="utf-8")
    code, _, err = run("profile", "add", str(file))
    assert code == 1
    assert f"status {answer.status_code}" in err


def test_adding_a_shipped_id_is_refused_by_the_service(tmp_path: Path) -> None:
    file = tmp_path / "m.toml"
    file.write_text(shipped()["machine", "crawler-14t"].source_text, encoding="utf-8")
    with service(tmp_path / "data") as address:
        code, _, err = run("profile", "add", str(file), "--to", address)
    assert code == 1
    assert "id" in err


def test_serve_refuses_another_bind(tmp_path: Path) -> None:
    code, _, err = run("serve", "--data", str(tmp_path), "--host", "0.0.0.0")  # noqa: S104
    assert code == 1
    assert "127.0.0.1" in err


def test_serve_refuses_a_taken_port(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        command = [*COMMAND, "serve", "--data", str(tmp_path), "--port", str(taken.getsockname()[1])]
        done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
    assert done.returncode == 1
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr


def test_settings_are_named_by_their_options(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "README.md"
    file.write_text("x", encoding="utf-8")
    told = run("serve", "--data", str(file), "--host", "0.0.0.0", "--port", "99999")  # noqa: S104
    assert told[0] == 1
    data, port, host = told[2].splitlines()
    assert data == f"--data: expected a folder, or a name that is still free, found {file}"
    assert host.startswith("--host: expected one of 127.0.0.1")
    assert port == "--port: expected at most 65535, found 99999"
    below = run("serve", "--data", str(file / "below"), "--port", "0")
    assert below[0] == 1
    assert below[2].startswith("--data: expected a folder that can be made and written, found ")
    monkeypatch.setenv("TIPDATUM_MAX_BODY_BYTES", "many")
    told = run("serve", "--data", str(tmp_path))
    assert told == (1, "", 'TIPDATUM_MAX_BODY_BYTES: expected a whole number, found "many"\n')
    monkeypatch.setenv("TIPDATUM_MAX_BODY_BITES", "2048")
    told = run("serve", "--data", str(tmp_path))
    assert "found TIPDATUM_MAX_BODY_BITES" in told[2]


def test_serve_refuses_a_database_from_the_future(tmp_path: Path) -> None:
    with service(tmp_path):
        pass
    with sqlite3.connect(tmp_path / "tipdatum.sqlite") as connection:
        connection.execute("update alembic_version set version_num = 'r9999'")
    connection.close()
    before = (tmp_path / "tipdatum.sqlite").read_bytes()
    code, _, err = run("serve", "--data", str(tmp_path), "--port", "0")
    assert code == 1
    assert "r9999" in err
    assert (tmp_path / "tipdatum.sqlite").read_bytes() == before


def test_serve_refuses_what_is_no_database(tmp_path: Path) -> None:
    (tmp_path / "tipdatum.sqlite").write_bytes(b"not a database, " * 100)
    code, _, err = run("serve", "--data", str(tmp_path), "--port", "0")
    assert code == 1
    assert err.startswith("--data: ")


def test_answers_are_not_held_back(tmp_path: Path) -> None:
    """The listening socket names TCP, without which the event loop leaves Nagle on: 40 ms on every answer."""
    from service.serving import bind  # noqa: PLC0415

    with bind("127.0.0.1", 0) as listener:
        assert listener.proto == socket.IPPROTO_TCP
