"""Two services as processes: the one that keeps a job is killed or halted, and nothing is lost or doubled."""

import json
import signal
from collections.abc import Iterator
from datetime import datetime

import pytest
from websockets.sync.client import connect

from tests.service.api.doing import edge_at
from tests.service.live.making import Json, at_rest, said
from tests.service.live.passing import readings, through
from tests.service.mosquitto import Broker
from tests.service.postgres import own_database, server
from tests.service.replicas import PATIENCE_S, Replica

from .machine import Machine, playing
from .waiting import until

REST = said(at_rest())
GONE_WITHIN_S = 30.0
TOUCH = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": edge_at(-1.62)}


@pytest.fixture
def pair(broker: Broker, tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Replica]]:
    folder = tmp_path_factory.mktemp("killed")
    with own_database(server()) as url:
        found = [
            Replica(url, folder / f"{name}.log", TIPDATUM_MQTT=broker.url()) for name in ("one", "other")
        ]
        try:
            for each in found:
                each.ready()
            until(lambda: [each.get("/v1/health")["broker"] for each in found] == ["here", "here"])
            yield found
        finally:
            for each in found:
                each.process.send_signal(signal.SIGCONT)
                each.stop()


def begun(replica: Replica, job: str, *, laser: bool) -> str:
    path = f"/v1/jobs/{job}"
    replica.post("/v1/jobs", {"id": job, "name": "Pit", "units": "m"})
    replica.post(f"{path}/benchmarks", {"name": "slab", "elevation": 100.0, "units": "m"})
    replica.post(f"{path}/setups", {"machine": "crawler-14t", "attachment": "tilting-1800"})
    if laser:
        replica.post(f"{path}/laser-setups", {"revolutions_per_s": 10.0, "fall_percent": 0.0})
        replica.post(f"{path}/touches", TOUCH)
    return path


def clock_of(replica: Replica, job: str) -> str:
    """The name that a service goes by, as its streams tell it."""
    address = str(replica.http.base_url).replace("http", "ws").rstrip("/")
    with connect(f"{address}/v1/jobs/{job}/readouts/live") as socket:
        socket.send('{"clock": 1}')
        while True:
            told = json.loads(socket.recv(PATIENCE_S))
            if "clock" in told:
                return str(told["of"])


def keeper_of(pair: list[Replica], job: str, told: Json) -> tuple[Replica, Replica]:
    """The service that welcomed a machine, and the other."""
    one, other = pair
    return (one, other) if clock_of(one, job) == told["of"] else (other, one)


def welcomed_by_the_other(machine: Machine, first: Json, since: int) -> Json:
    return machine.wait(lambda told: "welcome" in told and told["of"] != first["of"], since, GONE_WITHIN_S)


AT_REST = [(0.0, REST, 1.0)]


def test_the_other_goes_on_where_one_that_is_halted_ended(pair: list[Replica], broker: Broker) -> None:
    """It says what it tried, until the broker has noticed; the one that wakes up again has lost the job."""
    path = begun(pair[0], "pit", laser=False)
    with Machine(broker.port, "pit") as machine, playing(machine, AT_REST) as plays:
        first = machine.wait(lambda told: "welcome" in told)
        keeper, other = keeper_of(pair, "pit", first)
        machine.taken(20)
        since = len(machine.told)
        keeper.process.send_signal(signal.SIGSTOP)
        told = other.post(f"{path}/touches", TOUCH | {"pose": None}, 422)
        assert first["of"] in told["detail"]
        second = welcomed_by_the_other(machine, first, since)
        keeper.process.send_signal(signal.SIGCONT)
        until(lambda: keeper.get("/v1/health")["broker"] == "here")
        begin = second["from"]["n"]
        machine.wait(lambda told: told.get("taken", {}).get("n", 0) >= begin + 40, since)
        plays.stop()
        until(lambda: machine.kept == {})
        for each in pair:
            told = each.get(f"{path}/sensors")
            [boom] = [each for each in told["sensors"] if each["name"] == "boom"]
            # It has followed the job before: what it then read is not read twice.
            assert machine.last - begin + 1 <= boom["taken"] <= machine.last
            # It may catch up faster than it may feed; there is no laser on the job.
            assert told["refused"].keys() <= {"no-laser", "gap", "slowed", "repeated"}
            assert told["feeders"] == 1
        late = [told for told in machine.told[since:] if "welcome" in told and told["of"] == first["of"]]
        assert late == []


def test_a_crossing_that_was_under_way_when_its_service_was_killed(
    pair: list[Replica], broker: Broker
) -> None:
    """The next one gets the frames that it hangs on once more: one strike of both ways, at the time when it was."""
    path = begun(pair[0], "struck", laser=True)
    motion, seconds = through(0.022)
    with Machine(broker.port, "struck") as machine:
        first = machine.wait(lambda told: "welcome" in told)
        keeper, other = keeper_of(pair, "struck", first)
        with playing(machine, readings(motion, seconds)):
            machine.wait(lambda told: told.get("strike", {}).get("verdict") == "crossed once")
            since = len(machine.told)
            keeper.process.kill()
            welcomed_by_the_other(machine, first, since)
            told = machine.wait(lambda told: told.get("strike", {}).get("seq"), since, GONE_WITHIN_S)[
                "strike"
            ]
            assert told["verdict"] == "taken"
            [entry] = [
                each for each in other.get(f"{path}/events")["events"] if each["type"] == "struck"
            ]  # fmt: skip
            assert entry["seq"] == told["seq"]
            assert len(entry["payload"]["poses"]) == 2
            late = datetime.fromisoformat(entry["recorded_utc"]) - datetime.fromisoformat(
                entry["observed_utc"]
            )
            assert late.total_seconds() > 0.5
