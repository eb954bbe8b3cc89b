"""Two services as processes: the one that keeps a job is killed or halted, and nothing is lost or doubled."""

import json
import signal
import time
from collections.abc import Iterator
from datetime import datetime

import pytest
from websockets.sync.client import connect

from kinematics.arm import pose
from service.rehearsal.viewer import Viewer
from tests.service.api.doing import edge_at
from tests.service.live.making import Json, at_rest, said, sensed
from tests.service.live.passing import HZ, LATENCY_S, readings, through
from tests.service.mosquitto import Broker
from tests.service.postgres import own_database, server
from tests.service.replicas import PATIENCE_S, Replica

from .machine import Machine, playing
from .truth import wrong
from .waiting import until

REST = said(at_rest())
GONE_WITHIN_S = 30.0
BELIEVED_S = 1.0
"""Longer than any number is shown after its reading."""
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


def taken(replica: Replica, path: str) -> int:
    """Readings of the boom, by what a service says."""
    [boom] = [each for each in replica.get(f"{path}/sensors")["sensors"] if each["name"] == "boom"]
    return int(boom["taken"])


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
            # It has followed the job before: what it then read is not read twice. One that follows takes the last frames
            # by itself, whenever they come to it.
            until(lambda each=each: taken(each, path) >= machine.last - begin + 1)  # type: ignore[misc]
            assert taken(each, path) <= machine.last
            told = each.get(f"{path}/sensors")
            # It may catch up faster than it may feed; there is no laser on the job.
            assert told["refused"].keys() <= {"no-laser", "gap", "slowed", "repeated"}
            assert told["feeders"] == 1
        late = [told for told in machine.told[since:] if "welcome" in told and told["of"] == first["of"]]
        assert late == []


def test_a_crossing_that_was_under_way_when_its_service_was_killed(
    pair: list[Replica], broker: Broker
) -> None:
    """The next one gets the frames that it hangs on once more: one strike of both ways, at the time when it was. Those
    who look at either see nothing but where the edge was."""
    path = begun(pair[0], "struck", laser=True)
    motion, lasts_s = through(0.022)
    with Machine(broker.port, "struck") as machine:
        first = machine.wait(lambda told: "welcome" in told)
        keeper, other = keeper_of(pair, "struck", first)
        looking = [Viewer(str(each.http.base_url).rstrip("/"), "struck") for each in (keeper, other)]
        with playing(machine, readings(motion, lasts_s)) as plays:
            machine.wait(lambda told: told.get("strike", {}).get("verdict") == "crossed once")
            since = len(machine.told)
            until(lambda: all(len(each.shown()) >= 3 for each in looking))
            keeper.process.kill()
            killed_s = time.monotonic()
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
            until(lambda: [at for at, _ in looking[1].shown() if at > killed_s + BELIEVED_S], GONE_WITHIN_S)
        for each in looking:
            each.end()
        assert looking[0].breaks >= 1, "it was attached to the one that was killed"
        # Frames tell of a moment before, by the sensors' latency.
        heights = [
            100.0 + 1.62 + pose(sensed().assembly, **motion(k / HZ - LATENCY_S)).height("centre")
            for k in range(1 + max(k for _, k in plays.fed))
        ]
        for each in looking:
            assert (
                wrong([message for _, message in each.shown()], [(at, heights[k]) for at, k in plays.fed])
                == []
            )
