"""A log that was altered while no service ran: named, withheld, readable up to there; all other jobs are served."""

import asyncio
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from service.cli import app
from tests.service.api.doing import JobDoer, as_asked, faults

from .making import Door, Feeder, Viewer, at_rest, run, said, serving
from .test_readouts import handshake

REST = said(at_rest())
POSE = {"pose": as_asked(at_rest()), "units": "m"}
HURT = 5  # the touch that its height rests on


def alter(folder: Path, statement: str, *values: object) -> list[Any]:
    with closing(sqlite3.connect(folder / "tipdatum.sqlite")) as raw, raw:
        return raw.execute(statement, values).fetchall()


def hurt(folder: Path, job: str) -> None:
    """A touch that the height rests on says something else, which might well be true."""
    said = "UPDATE event SET payload = replace(payload, 'reference', 'check') WHERE job_id = ? AND seq = ? RETURNING 1"
    assert alter(folder, said, job, HURT) == [(1,)]


@dataclass(frozen=True, slots=True)
class After:
    """The service after the damage, the jobs that are `hurt`, `fine`, and hurt `later`; a backup of before, what it
    read then."""

    door: Door
    folder: Path
    hurt: JobDoer
    fine: JobDoer
    later: JobDoer
    kept: Path
    read: Any


def command(*words: object) -> None:
    done = CliRunner().invoke(app, [*map(str, words)])
    assert done.exit_code == 0, done.output


@pytest.fixture(scope="module")
def after(tmp_path_factory: pytest.TempPathFactory) -> Iterator[After]:
    folder = tmp_path_factory.mktemp("damaged")
    kept = folder.parent / f"{folder.name}.zip"
    with serving(folder) as door:
        one, other, third = door.dug(), door.dug(), door.dug()
        read = one.post("readouts", POSE, 200)
        assert read["points"]["centre"]["elevation"]["m"] == pytest.approx(100.0, abs=1e-9)
        command("backup", kept, "--data", folder)
    hurt(folder, one.id)
    with serving(folder) as door:
        yield After(
            door,
            folder,
            JobDoer(door.http, one.id, "m"),
            JobDoer(door.http, other.id, "m"),
            JobDoer(door.http, third.id, "m"),
            kept,
            read,
        )


def test_health_names_it_before_anybody_asks_for_the_job(after: After) -> None:
    told = after.door.http.get("/v1/health")
    assert (told["status"], told["damaged_jobs"]) == ("damaged", 1)
    [damaged] = told["damaged"]
    assert (damaged["job"], damaged["entry"]) == (after.hurt.id, HURT)
    assert "expected the content as it was recorded" in damaged["why"]
    counts = after.door.http.http.get("/metrics").text
    assert f'tipdatum_log_damaged{{entry="{HURT}",job="{after.hurt.id}"}} 1.0' in counts
    assert "tipdatum_logs_held 3.0" in counts
    assert "tipdatum_logs_holding 0.0" in counts


def test_nothing_is_computed_from_it_or_added_to_it(after: After) -> None:
    count = "SELECT count(*) FROM event"
    before = alter(after.folder, count)
    read = ("", "benchmarks", "targets", "level-book", "checks", "checks/summary", "daily-trust", "certificates",
            "sensors", "fitting/moves")  # fmt: skip
    asked: list[tuple[str, Any]] = [
        ("readouts", POSE), ("uncertainties", POSE), ("moves", {}), ("touches", {
            "point": "slab", "purpose": "check", "edge_point": "centre", "pose": POSE["pose"]}),
        ("withdrawals", {"seq": HURT, "reason": "a mistake"}), ("seats", {}),
    ]  # fmt: skip
    problems = [after.door.http.get(f"{after.hurt.path}/{what}".rstrip("/"), 500) for what in read]
    problems += [after.hurt.post(what, body, 500) for what, body in asked]
    for problem in problems:
        assert faults(problem, 500) == {"": "log-damaged"}
        assert problem["type"] == "/guide/problems#log-damaged"
        assert problem["errors"][0]["numbers"] == {"seq": HURT}
        assert f"Entry {HURT} of job '{after.hurt.id}'" in problem["detail"]
    assert alter(after.folder, count) == before


def test_its_log_and_record_can_be_read_up_to_there(after: After) -> None:
    told = after.hurt.get("events")
    assert [each["seq"] for each in told["events"]] == [1, 2, 3, 4]
    assert f"can be read up to entry {HURT - 1} only" in told["ends_because"]
    page = after.door.http.http.get(f"{after.hurt.path}/record?format=html")
    assert page.status_code == 200
    assert told["ends_because"] in page.text
    assert "ends_because" not in after.fine.get("events")


def test_its_streams_are_refused(after: After) -> None:
    for path in ("readouts/live", "readings"):
        assert handshake(after.door, f"{after.hurt.path}/{path}") == (500, "log-damaged")
    assert after.door.http.get(f"{after.hurt.path}/readouts/live", 500)["type"].endswith("log-damaged")


def test_the_other_job_is_served_live_and_recorded_on(after: After) -> None:
    async def go() -> None:
        async with Feeder(after.door, after.fine) as machine, Viewer(after.door, after.fine) as viewer:
            await machine.say(REST)
            told = await viewer.readout()
            assert told["readout"]["points"]["centre"]["elevation"]["m"] == pytest.approx(100.0, abs=1e-3)

    run(go())
    assert after.fine.post("rules", {"rules": {}})["seq"] > HURT


def test_found_under_way_a_live_number_is_taken_back(after: After) -> None:
    """A job that is fed and looked at, altered, its record asked for: no viewer goes on with what was in memory."""
    job = after.later

    async def go() -> None:
        async with Feeder(after.door, job) as machine, Viewer(after.door, job) as viewer:
            saying = asyncio.create_task(machine.keep_saying(lambda: REST))
            await viewer.readout()
            hurt(after.folder, job.id)
            await asyncio.to_thread(after.door.http.http.get, f"{job.path}/record?format=json")
            told = await viewer.quiet()
            assert "log-damaged" in [each["code"] for each in told["no_number_because"]]
            for _ in range(
                3
            ):  # heard of once a second: longer than it takes to look for what others recorded
                assert (await viewer.told.next())["readout"] is None
            saying.cancel()

    run(go())
    assert after.door.http.get("/v1/health")["damaged_jobs"] == 2


def test_brought_back_it_is_gone(after: After, tmp_path: Path) -> None:
    again = tmp_path / "again"
    command("restore", after.kept, "--data", again)
    with serving(again) as door:
        assert door.http.get("/v1/health") == {"status": "good"}
        job = JobDoer(door.http, after.hurt.id, "m")
        read = job.post("readouts", POSE, 200)
        assert read["points"] == after.read["points"]
        assert job.post("moves")["seq"] == after.read["seq"] + 1


def test_with_access_control_on_nobody_is_told_names_of_jobs(after: After, tmp_path: Path) -> None:
    again = tmp_path / "again"
    command("restore", after.kept, "--data", again)
    hurt(again, after.hurt.id)
    with serving(again, access=True) as door:
        assert door.http.get("/v1/health") == {"status": "damaged", "damaged_jobs": 1}


def test_at_the_prompt(after: After, tmp_path: Path) -> None:
    out = tmp_path / "record.json"
    words = [
        "record",
        "export",
        after.hurt.id,
        "--format",
        "json",
        "-o",
        str(out),
        "--data",
        str(after.folder),
    ]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 1
    assert f"can be read up to entry {HURT - 1} only" in " ".join(done.stderr.split())
    assert json.loads(out.read_text())["ends_because"]["seq"] == HURT
    done = CliRunner().invoke(app, ["record", "verify", str(out)])
    assert done.exit_code == 1
    assert f"{after.hurt.id}: broken at entry {HURT} (changed-entry)" in " ".join(done.stderr.split())
