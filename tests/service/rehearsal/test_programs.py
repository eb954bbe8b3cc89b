"""What is missing on a computer is named all at once, with its package; what is told to the programs is what is meant."""

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from kinematics.errors import Refused
from service.cli import app
from service.rehearsal import programs as looked_for
from service.rehearsal.programs import programs
from service.rehearsal.servers import MACHINE, SERVICE, Broker, Proxy, Server
from service.rehearsal.viewer import Viewer

from .found import found


def nothing_there(monkeypatch: pytest.MonkeyPatch, *there: str) -> None:
    monkeypatch.setattr(looked_for, "_CLUSTERS", ())
    monkeypatch.setattr(shutil, "which", lambda name, **_: f"/usr/bin/{name}" if name in there else None)


def test_all_that_is_missing_is_named_with_its_package(monkeypatch: pytest.MonkeyPatch) -> None:
    nothing_there(monkeypatch)
    done = CliRunner().invoke(app, ["demo", "--fleet"])
    assert done.exit_code == 1
    for name in ("initdb", "mosquitto", "mosquitto_passwd", "nginx"):
        assert f"no {name}" in done.stderr
    assert "apt-get install postgresql mosquitto nginx-light" in done.stderr
    nothing_there(monkeypatch, "initdb", "mosquitto", "mosquitto_passwd")
    with pytest.raises(Refused) as caught:
        programs()
    [fault] = caught.value.faults
    assert (fault.code, fault.found, fault.advice) == (
        "not-installed",
        "no nginx",
        "apt-get install nginx-light",
    )


@pytest.mark.parametrize("options", [["--check"], ["--fleet", "--json"], ["--fleet", "--keep", "x"]])
def test_options_that_do_not_go_together(options: list[str]) -> None:
    done = CliRunner().invoke(app, ["demo", *options])
    assert done.exit_code == 1
    assert options[-2 if "x" in options else -1] in done.output


def test_a_server_that_ends_at_once_says_why(tmp_path: Path) -> None:
    server = Server("the crusher", tmp_path, ["sh", "-c", "echo no gravel; exit 3"], 9, {})
    with pytest.raises(Refused) as caught:
        server.start()
    assert caught.value.code == "demo-failed"
    assert "the crusher did not start: no gravel" in caught.value.faults[0].found
    assert not server.running


def test_what_the_broker_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = found()
    broker = Broker(tmp_path / "broker", there)
    words = [broker.address(user).partition("@")[0].rpartition(":")[2] for user in (SERVICE, MACHINE)]
    assert len(set(words)) == 2
    told = (tmp_path / "broker" / "passwords").read_text(encoding="utf-8")
    assert not any(word in told for word in words), "only what they hash to"
    assert (tmp_path / "broker" / "passwords").stat().st_mode & 0o077 == 0


def test_the_proxy_sends_to_each_in_turn(tmp_path: Path) -> None:
    proxy = Proxy(tmp_path / "proxy", found(), [4711, 4712])
    told = (tmp_path / "proxy" / "nginx.conf").read_text(encoding="utf-8")
    assert told.count("server 127.0.0.1:") == 2
    assert f"listen 127.0.0.1:{proxy.port};" in told
    assert "hash" not in told


def test_the_longest_time_without_a_number() -> None:
    viewer = Viewer.__new__(Viewer)
    viewer.seen = [(at, {"readout": number}) for at, number in ((1.0, {}), (2.0, None), (4.0, {}), (4.5, {}))]
    assert viewer.blank_s(0.5, 5.0) == pytest.approx(3.0)
    assert viewer.blank_s(4.0, 9.0) == pytest.approx(4.5)
