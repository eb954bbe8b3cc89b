"""Acknowledged means on disk: the whole service is killed ten times while requests run."""

import random
import select
import signal
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from service.store import events, open_database, verify_chain
from tests.service.forked import Forked
from tests.service.running import started

from .doing import edge_at

KILLS = 10
PATIENCE_S = 60.0
BODY = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": edge_at(-1.62)}

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="the kill needs SIGKILL")


@contextmanager
def serving(folder: Path) -> Iterator[tuple["subprocess.Popen[str] | Forked", httpx.Client]]:
    """A service in a process of its own, and a client once it answers."""
    with started("serve", "--data", str(folder), "--port", "0") as process:
        try:
            assert process.stdout is not None
            ready, _, _ = select.select([process.stdout], [], [], PATIENCE_S)
            assert ready, "the service did not say its address"
            line = process.stdout.readline()
            [address] = [word for word in line.split() if word.startswith("http://")]
            with httpx.Client(base_url=address, timeout=PATIENCE_S, trust_env=False) as client:
                yield process, client
        finally:
            process.send_signal(signal.SIGKILL)


def log_of(client: httpx.Client) -> dict[int, str]:
    answer = client.get("/v1/jobs/pit/events?limit=1000")
    assert answer.status_code == 200
    assert answer.json()["next"] is None
    return {event["seq"]: event["uuid"] for event in answer.json()["events"]}


class Sender(threading.Thread):
    """Sends moves and touches without pause until the line breaks; says how many were acknowledged."""

    def __init__(self, client: httpx.Client, round_: int) -> None:
        super().__init__(daemon=True)
        self._client, self._round = client, round_
        self.acknowledged: dict[int, str] = {}
        self.strange: list[str] = []
        self.open: tuple[str, str] | None = None
        self.more = threading.Condition()

    def run(self) -> None:
        for count in range(10_000):
            what, key = ("touches", "moves")[count % 2], f"{self._round}-{count}"
            self.open = what, key
            try:
                answer = send(self._client, what, key)
            except httpx.HTTPError:
                return
            with self.more:
                if answer.status_code != 201:
                    self.strange.append(answer.text)
                    return
                self.acknowledged[answer.json()["seq"]] = answer.json()["uuid"]
                self.more.notify()

    def wait_for(self, count: int) -> None:
        with self.more:
            assert self.more.wait_for(lambda: len(self.acknowledged) >= count or self.strange, PATIENCE_S)


def send(client: httpx.Client, what: str, key: str) -> httpx.Response:
    body = BODY if what == "touches" else {}
    return client.post(f"/v1/jobs/pit/{what}", json=body, headers={"Idempotency-Key": key})


def begin(client: httpx.Client) -> None:
    for path, body in (
        ("/v1/jobs", {"id": "pit", "name": "Pit", "units": "m"}),
        ("/v1/jobs/pit/benchmarks", {"name": "slab", "elevation": 100.0, "units": "m"}),
        ("/v1/jobs/pit/setups", {"machine": "crawler-14t", "attachment": "tilting-1800"}),
    ):
        assert client.post(path, json=body).status_code == 201


def test_ten_kills_lose_nothing_acknowledged(tmp_path: Path) -> None:
    dice = random.Random(20)  # noqa: S311
    acknowledged: dict[int, str] = {}
    cut: tuple[str, str] | None = None
    for round_ in range(KILLS):
        with serving(tmp_path) as (process, client):
            if round_ == 0:
                begin(client)
            there = log_of(client)
            assert acknowledged.items() <= there.items()
            assert sorted(there) == list(range(1, len(there) + 1))
            if cut is not None:
                # The request that was cut off is on disk or not; sent again under its key it is there once.
                again = send(client, *cut)
                assert again.status_code == 201
                assert again.json()["replayed"] == (again.json()["seq"] in there)
                acknowledged[again.json()["seq"]] = again.json()["uuid"]
            sender = Sender(client, round_)
            sender.start()
            sender.wait_for(dice.randrange(1, 30))
            process.send_signal(signal.SIGKILL)
            sender.join(PATIENCE_S)
            assert not sender.is_alive()
            assert sender.strange == []
            acknowledged |= sender.acknowledged
            cut = sender.open
    with serving(tmp_path) as (_, client):
        there = log_of(client)
        assert acknowledged.items() <= there.items()
        assert client.get("/v1/jobs/pit").json()["seq"] == len(there) == max(there)
    with open_database(f"sqlite:///{tmp_path / 'tipdatum.sqlite'}") as database:
        stored = database.read(lambda session: events.read_events(session, "pit"))
    assert verify_chain(stored) is None
    assert {event.seq: str(event.uuid) for event in stored} == there
