"""Studies by the service: submitted once for each key, run beside it, stopped and taken up, their results as files."""

import csv
import io
import json
import os
import signal
import threading
import time
from collections.abc import Callable
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from fastapi import FastAPI

from machine_profiles import shipped
from service.api.studies import EXAMPLE
from service.app import create_app
from service.book.studies import Studies
from service.settings import Settings
from service.studies.runner import Threads, run
from service.studies.study_file import read_study
from tests.service.studies.making import BY_VARIANT, TEXT, planned
from tests.service.studies.test_synthesis_file import TURN

from .callers import asking
from .doing import Client, Json

ENDED_WITHIN_S = 120.0
BIG = TEXT.replace("rows = 1000", "rows = 400000")  # tens of seconds


def submit(client: Client, text: str = TEXT, status: int = 201, **headers: str) -> Json:
    found: Json = client.post("/v1/studies", {"toml": text}, status, **headers)
    return found


def until(client: Client, study: str, wanted: Callable[[Json], bool]) -> Json:
    """Asked again and again until it is as wanted."""
    given_up = time.monotonic() + ENDED_WITHIN_S
    pause = threading.Event()
    while True:
        found: Json = client.get(f"/v1/studies/{study}")
        if wanted(found):
            return found
        assert time.monotonic() < given_up, found
        pause.wait(0.05)


def ended(client: Client, study: str) -> Json:
    return until(client, study, lambda found: found["state"] not in {"waiting", "running"})


def drop(client: Client, made: Json) -> Json:
    """Nobody waits for it any more, nor for those behind it."""
    client.http.post(f"/v1/studies/{made['id']}/stops", json={})
    return made


@pytest.fixture(scope="module")
def finished(client: Client) -> Json:
    return ended(client, submit(client)["id"])


def test_submitted_and_finished(client: Client, finished: Json) -> None:
    assert finished["state"] == "finished"
    assert finished["parts"] == finished["parts_finished"] == planned().parts
    assert finished["identity"] == planned().identity
    assert finished["faults"] == []
    profile = shipped()["machine", "crawler-14t"]
    assert finished["machine"] == {"id": "crawler-14t", "revision": profile.content_hash}
    assert sum(finished["summary"]["variants_by_status"].values()) == 1000
    assert finished["summary"]["variants_by_status"]["bucket-cylinder-no-closure"] > 0
    assert "licensed engineer" in finished["advisory"]
    listed = client.get("/v1/studies?limit=200")["studies"]
    assert {name: finished[name] for name in listed[0]} in listed


def test_the_same_numbers_as_at_the_prompt(client: Client, finished: Json, tmp_path: Any) -> None:
    answer = client.http.get(f"/v1/studies/{finished['id']}/result.parquet")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/vnd.apache.parquet"
    table = pq.read_table(pa.BufferReader(answer.content))
    run(planned(), tmp_path / "study", Threads(1))
    assert table.equals(pq.read_table(tmp_path / "study" / "parts"))
    told = json.loads(table.schema.metadata[b"tipdatum"])
    assert told["identity"] == finished["identity"]
    text = client.http.get(f"/v1/studies/{finished['id']}/result.csv").text
    rows = list(csv.DictReader(io.StringIO("\n".join(line for line in text.splitlines() if line[:1] != "#"))))
    assert len(rows) == table.num_rows
    assert [row["status"] for row in rows] == table.column("status").to_pylist()


def test_a_key_is_one_study(client: Client) -> None:
    made = submit(client, EXAMPLE, Idempotency_Key="one")
    assert submit(client, EXAMPLE, Idempotency_Key="one")["id"] == made["id"]
    refused = submit(client, EXAMPLE.replace("seed = 1", "seed = 2"), 409, Idempotency_Key="one")
    assert refused["type"] == "/guide/problems#idempotency-conflict"
    assert drop(client, submit(client, EXAMPLE))["id"] != made["id"]
    drop(client, made)


def test_the_name_of_who_submits(client: Client) -> None:
    with asking(client, "rita"):
        assert drop(client, submit(client, EXAMPLE))["actor"] == "rita"


def test_a_list_in_pieces(client: Client) -> None:
    for _ in range(3):
        drop(client, submit(client, EXAMPLE))
    every = [each["id"] for each in client.get("/v1/studies?limit=200")["studies"]]
    assert len(set(every)) == len(every) >= 3
    found: list[str] = []
    before = ""
    while True:
        page = client.get(f"/v1/studies?limit=2{before}")
        found += [each["id"] for each in page["studies"]]
        if page["next"] is None:
            break
        before = f"&before={page['next']}"
    assert found == every


@pytest.mark.parametrize(("old", "new", "code", "found"), [
    ("vary.boom_length", "vary.boom_lenght", "unknown-parameter", "at study.toml:16: vary.boom_lenght"),
    ("standard = 3", "standard = 3\nhigh = 1", "wrong-form", "at study.toml:16"),
    ("seed = 1", "seed =", "broken-toml", "at study.toml:14"),
    ('"crawler-14t"', '"../crawler"', "unknown-machine", "at study.toml:4: machine"),
])  # fmt: skip
def test_refused_at_its_line(client: Client, old: str, new: str, code: str, found: str) -> None:
    told = submit(client, EXAMPLE.replace(old, new), 422)["errors"]
    assert [(each["code"], each["pointer"]) for each in told] == [(code, "/toml")]
    assert found in told[0]["found"]


def test_too_many_evaluations(client: Client) -> None:
    text = TEXT.replace("rows = 1000", "rows = 1000000000")
    assert submit(client, text, 422)["type"] == "/guide/problems#too-many-values"


def test_nothing_of_an_unknown_study(client: Client) -> None:
    for method, path in [("GET", ""), ("GET", "/result.csv"), ("GET", "/result.parquet"), ("POST", "/stops"),
                         ("POST", "/resumptions")]:  # fmt: skip
        answer = client.http.request(method, f"/v1/studies/none{path}", json={} if method == "POST" else None)
        assert answer.json()["errors"][0]["code"] == "unknown-study"
        assert answer.status_code == (404 if method == "GET" else 422)


def test_stopped_while_it_runs_and_taken_up(client: Client) -> None:
    one = submit(client, BIG)["id"]
    waits = submit(client, EXAMPLE)["id"]
    running = until(client, one, lambda found: found["parts_finished"] > 0)
    assert running["state"] == "running"
    assert client.get(f"/v1/studies/{waits}")["state"] == "waiting"
    early = client.http.get(f"/v1/studies/{one}/result.csv")
    assert early.status_code == 409
    assert early.json()["type"] == "/guide/problems#not-finished"
    assert client.post(f"/v1/studies/{waits}/stops", {}, 200)["state"] == "stopped"
    client.post(f"/v1/studies/{one}/stops", {}, 200)
    stopped = ended(client, one)
    assert stopped["state"] == "stopped"
    assert 0 < stopped["parts_finished"] < stopped["parts"]
    again = client.http.post(f"/v1/studies/{one}/stops", json={})
    assert (again.status_code, again.json()["type"]) == (409, "/guide/problems#not-running")
    table = pq.read_table(pa.BufferReader(client.http.get(f"/v1/studies/{one}/result.parquet").content))
    assert not json.loads(table.schema.metadata[b"tipdatum"])["finished"]
    assert table.num_rows > 0
    assert client.post(f"/v1/studies/{waits}/resumptions", {}, 200)["state"] in {
        "waiting",
        "running",
        "finished",
    }
    assert ended(client, waits)["state"] == "finished"
    refused = client.http.post(f"/v1/studies/{waits}/resumptions", json={})
    assert (refused.status_code, refused.json()["type"]) == (409, "/guide/problems#not-stopped")
    client.post(f"/v1/studies/{one}/resumptions", {}, 200)
    more = until(client, one, lambda found: found["parts_finished"] > stopped["parts_finished"])
    assert more["state"] == "running"
    client.post(f"/v1/studies/{one}/stops", {}, 200)
    ended(client, one)


def test_a_worker_that_is_killed_is_told_and_taken_up(client: Client) -> None:
    one = submit(client, BIG)["id"]
    until(client, one, lambda found: found["parts_finished"] > 0)
    kept: Studies = client.app.state.studies
    running = kept._running
    assert running is not None
    os.kill(running[1].pid, signal.SIGKILL)
    failed = ended(client, one)
    assert failed["state"] == "failed"
    assert failed["faults"][0]["code"] == "worker-ended"
    assert failed["parts_finished"] > 0
    client.post(f"/v1/studies/{one}/resumptions", {}, 200)
    until(client, one, lambda found: found["parts_finished"] > failed["parts_finished"])
    client.post(f"/v1/studies/{one}/stops", {}, 200)
    ended(client, one)


def test_a_service_that_ends_takes_its_studies_up_again(tmp_path: Any) -> None:
    settings = Settings(data_folder=tmp_path / "data")
    with Client(create_app(settings)) as client:
        one, other = submit(client, BIG)["id"], submit(client, BY_VARIANT)["id"]
        before = until(client, one, lambda found: found["parts_finished"] > 0)
    with Client(create_app(settings)) as client:
        assert client.get(f"/v1/studies/{other}")["state"] == "waiting"
        until(client, one, lambda found: found["parts_finished"] > before["parts_finished"])
        client.post(f"/v1/studies/{one}/stops", {}, 200)
        found = ended(client, other)
        assert found["state"] == "finished"
        assert {each["column"] for each in found["summary"]["results"]} == {
            "bucket_travel_deg", "least_transmission_deg", "depth_mm", "deep_percent",
        }  # fmt: skip


def test_a_linkage_searched_for(client: Client) -> None:
    made = submit(client, TURN)
    assert made["parts"] == 16
    found = ended(client, made["id"])
    assert (found["state"], found["parts_finished"]) == ("finished", 16)
    every = found["summary"]["candidates"]
    assert every[0]["rotation_deg"] == pytest.approx(170.0, abs=0.5)
    answer = client.http.get(f"/v1/studies/{found['id']}/result.parquet")
    assert pq.read_table(pa.BufferReader(answer.content)).to_pylist() == every
    assert client.http.get(f"/v1/studies/{found['id']}/result.csv").text.startswith("# {")
    told = submit(client, TURN.replace("wanted = 170", "radius = 1"), 422)["errors"]
    assert "at study.toml:23: goals.0" in told[0]["found"]
    hopeless = ended(client, submit(client, TURN.replace("at_least = 20", "at_least = 89"))["id"])
    assert (hopeless["state"], hopeless["faults"][0]["code"]) == ("failed", "nothing-found")


@pytest.fixture
def clustered(tmp_path: Any) -> FastAPI:
    return create_app(Settings(data_folder=tmp_path / "data", dask="tcp://127.0.0.1:9"))


def test_a_cluster_that_is_not_there(clustered: FastAPI) -> None:
    with Client(clustered) as client:
        found = ended(client, submit(client, EXAMPLE)["id"])
    assert found["state"] == "failed"
    assert found["faults"][0]["code"] in {"no-cluster", "no-dask"}


def test_the_example_is_a_study() -> None:
    from service.prompt import find  # noqa: PLC0415

    assert read_study(EXAMPLE, "study.toml", find).study.evaluations == 128
