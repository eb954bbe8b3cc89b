"""No room on the disk, or no writes taken, under a service that goes on: told in words, nothing that was acknowledged is
lost, and once there is room again it records without having been started again."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from service.app import create_app
from service.cli import app
from service.settings import Settings
from service.store import events, open_database, verify_chain

from .api.doing import Client, edge_at, opened
from .api.test_killed import begin, log_of, send, serving
from .disks import filled, no_file_beyond, remounted, small_disk

FILE = "tipdatum.sqlite"
POSE = {"pose": edge_at(-1.62), "units": "m"}
ENOUGH = 2000


def until_refused(
    client: httpx.Client, prefix: str, acknowledged: dict[int, str]
) -> tuple[str, httpx.Response]:
    """Moves are recorded until one is refused: its key and the refusal."""
    for number in range(ENOUGH):
        key = f"{prefix}-{number}"
        answer = send(client, "moves", key)
        if answer.status_code != 201:
            return key, answer
        acknowledged[answer.json()["seq"]] = answer.json()["uuid"]
    raise AssertionError("there was always room")


def slug(answer: httpx.Response) -> str:
    assert answer.headers["content-type"] == "application/problem+json"
    return str(answer.json()["type"]).rpartition("#")[2]


def still_reads(client: httpx.Client, acknowledged: dict[int, str]) -> None:
    """All that was acknowledged, and a number."""
    assert acknowledged.items() <= log_of(client).items()
    told = client.post("/v1/jobs/pit/readouts", json=POSE)
    assert told.status_code == 200
    assert told.json()["seq"] == max(log_of(client))


def recorded_once(client: httpx.Client, key: str, acknowledged: dict[int, str]) -> None:
    """The refused request sent again is recorded now, and once."""
    for replayed in (False, True):
        answer = send(client, "moves", key)
        assert answer.status_code == 201, answer.text
        assert answer.json()["replayed"] is replayed
    acknowledged[answer.json()["seq"]] = answer.json()["uuid"]


def on_disk(folder: Path) -> dict[int, str]:
    """The log in the file, which must hold."""
    with open_database(f"sqlite:///{folder / FILE}") as database:
        found = database.read(lambda session: events.read_events(session, "pit"))
    assert verify_chain(found) is None
    assert [each.seq for each in found] == list(range(1, len(found) + 1))
    return {each.seq: str(each.uuid) for each in found}


def refused(*words: object) -> dict[str, Any]:
    done = CliRunner().invoke(app, [*map(str, words), "--json"])
    assert done.exit_code == 1, done.output
    [fault] = json.loads(done.stdout)["faults"]
    found: dict[str, Any] = fault
    return found


def test_a_disk_that_is_full(tmp_path: Path) -> None:
    acknowledged: dict[int, str] = {}
    with small_disk(tmp_path / "disk", 24) as disk:
        data = disk / "data"
        with serving(data) as (process, client):
            begin(client)
            process.terminate()  # what it wrote goes from the log into the file: else there is room in the log
            process.wait(30)
        with serving(data) as (_, client):
            for key in ("first", "second", "third"):
                recorded_once(client, key, acknowledged)
            filler = filled(disk)
            key, answer = until_refused(client, "full", acknowledged)
            assert (answer.status_code, slug(answer)) == (507, "disk-full")
            assert "nothing was recorded" in answer.json()["detail"]
            health = client.get("/v1/health")
            assert (health.status_code, slug(health)) == (507, "disk-full")
            still_reads(client, acknowledged)
            again = send(client, "moves", key)
            assert (again.status_code, slug(again)) == (507, "disk-full")
            before = sorted(each.name for each in disk.iterdir())
            assert refused("backup", disk / "kept.zip", "--data", data)["code"] == "disk-full"
            assert sorted(each.name for each in disk.iterdir()) == before, "nothing is left of it"
            filler.unlink()
            assert client.get("/v1/health").json() == {"status": "good"}
            recorded_once(client, key, acknowledged)
            still_reads(client, acknowledged)
        assert acknowledged.items() <= on_disk(data).items()


def test_a_file_that_may_not_grow(tmp_path: Path) -> None:
    """As by a quota: the write fails part of the way, which SQLite tells as a fault of the disk."""
    acknowledged: dict[int, str] = {}
    with serving(tmp_path) as (process, client):
        begin(client)
        size = (tmp_path / f"{FILE}-wal").stat().st_size
        with no_file_beyond(size + 10_000, process.pid):
            key, answer = until_refused(client, "limit", acknowledged)
            assert (answer.status_code, slug(answer)) == (503, "database")
            assert "Idempotency-Key" in answer.json()["detail"]
            still_reads(client, acknowledged)
        recorded_once(client, key, acknowledged)
        still_reads(client, acknowledged)
        assert client.get("/v1/health").json() == {"status": "good"}
    assert acknowledged.items() <= on_disk(tmp_path).items()


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    with Client(create_app(Settings(data_folder=tmp_path))) as ready:
        yield ready


def pragma(client: Client, what: str) -> None:
    """Of the one connection that writes, between its writes."""
    raw = client.app.state.database._writer_engine.raw_connection()
    raw.cursor().execute(f"PRAGMA {what}").close()
    raw.close()


@pytest.mark.parametrize(
    ("on", "off", "status", "code"),
    [
        ("max_page_count=1", "max_page_count=1000000", 507, "disk-full"),
        ("query_only=ON", "query_only=OFF", 503, "read-only"),
    ],
)
def test_as_sqlite_tells_it(client: Client, on: str, off: str, status: int, code: str) -> None:
    """Whatever rights the tests have: SQLite's own refusal of a page more, and of any write."""
    job = opened(client, "pit").equipped()
    job.touch(-1.62)
    pragma(client, on)
    key, body = "once", {"name": "n" * 60, "elevation": 99.0, "units": "m", "note": "x" * 200}
    acknowledged = []
    for number in range(ENOUGH):
        answer = client.http.post(
            f"{job.path}/benchmarks",
            json=body | {"name": f"nail {number}"},
            headers={"idempotency-key": f"{key}-{number}"},
        )
        if answer.status_code != 201:
            break
        acknowledged.append(answer.json()["uuid"])
    assert (answer.status_code, slug(answer)) == (status, code)
    assert "nothing was recorded" in answer.json()["detail"]
    assert [each["uuid"] for each in job.events()][5:] == acknowledged
    assert job.read(edge_at(-1.62))["points"]["centre"]["elevation"]["m"] == pytest.approx(100.0, abs=1e-6)
    if code == "read-only":
        assert slug(client.http.get("/v1/health")) == "read-only"
    pragma(client, off)
    again = job.post("benchmarks", body | {"name": f"nail {number}"}, Idempotency_Key=f"{key}-{number}")
    assert again["replayed"] is False
    assert client.get("/v1/health") == {"status": "good"}


def test_a_disk_that_takes_no_writes_at_the_start(tmp_path: Path) -> None:
    """It does not start, says why, and changes nothing; what was recorded is there once it may write again."""
    acknowledged: dict[int, str] = {}
    with small_disk(tmp_path / "disk", 24) as disk:
        data = disk / "data"
        with serving(data) as (_, client):
            begin(client)
            recorded_once(client, "before", acknowledged)
        remounted(disk, "ro")
        before = {each.name: each.read_bytes() for each in data.iterdir() if each.is_file()}
        done = CliRunner().invoke(app, ["serve", "--data", str(data), "--port", "0"])
        assert done.exit_code == 1
        assert "that this user may write" in " ".join(done.output.split())
        assert {each.name: each.read_bytes() for each in data.iterdir() if each.is_file()} == before
        remounted(disk, "rw")
        with serving(data) as (_, client):
            assert acknowledged.items() <= log_of(client).items()
            assert send(client, "moves", "before").json()["replayed"] is True
