"""A short dig against the real service: fed, recorded, read back live and held against the truth; then its log again."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from websockets.sync.client import connect

from kinematics.errors import Refused
from service.bus.feeder import Feeder
from service.bus.run import run_replay
from service.simulation.motion import plan
from service.simulation.play import play
from service.simulation.run import run_simulation
from service.simulation.truth import Truth, score, true_lines
from tests.service.running import service

from .digs import dig_of, dig_text

DIG = (
    "wait seconds=0.5",
    'touch reach_m=5; still_s=1.8; record="reference"',
    'pass over="footing"; height_m=1.2; from_reach_m=5; to_reach_m=4.4; floor_deg=10; speed_m_s=0.4',
)
SENSING = "[sensing]\nnoise_scale = 0.2\nbias_scale = 0.5\n"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with service(tmp_path_factory.mktemp("data")) as found:
        yield found


@contextmanager
def watching(address: str, job: str) -> Iterator[list[dict[str, Any]]]:
    """Every live readout of a job while the block lasts."""
    got: list[dict[str, Any]] = []
    over = threading.Event()

    def watch() -> None:
        with connect(
            f"ws{address.removeprefix('http')}/v1/jobs/{job}/readouts/live?rate_hz=20", proxy=None
        ) as wire:
            while not over.is_set():
                got.append(json.loads(wire.recv(timeout=30)))

    thread = threading.Thread(target=watch)
    thread.start()
    try:
        yield got
    finally:
        over.set()
        thread.join(timeout=30)


def test_the_edge_shown_live_is_where_the_edge_truly_is(address: str) -> None:
    dig = dig_of(*DIG, more=SENSING)
    course = plan(dig)
    truth = [Truth(line["t_s"], line["elevations_m"]) for line in true_lines(dig, course)]
    with httpx.Client(base_url=address, timeout=30.0) as client, Feeder(address, "trial-pit") as feeder:
        client.post(
            "/v1/jobs", json={"id": "trial-pit", "name": "Trial pit", "units": "m"}
        ).raise_for_status()
        with watching(address, "trial-pit") as got:
            played = play(dig, client, feeder, "trial-pit", lambda _: None, course=course)
    assert played.refused == ()
    assert (feeder.refused, feeder.lost, feeder.connections) == ({}, 0, 1)
    shown = []
    for message in got:
        points = (message["readout"] or {}).get("points")
        if points and points["centre"]["elevation"]:
            t = played.pacer.t_at(datetime.fromisoformat(message["at"]).timestamp()) - message["age_s"]
            shown.append((t, {name: points[name]["elevation"]["m"] for name in ("left", "centre", "right")}))
    told = score(truth, shown)
    assert told.count > 50
    # Biases of some 0.03 deg on 5 m of arm after a touch nearby; an age is told too high by a round trip at most.
    assert told.mean_absolute < 0.010
    assert abs(told.greatest) < 0.050


def test_its_log_through_the_same_door(address: str, tmp_path: Path) -> None:
    (tmp_path / "pit.toml").write_text(dig_text("wait seconds=1", more=SENSING), encoding="utf-8")
    words: list[str] = []
    fixed: dict[str, Any] = {"to": address, "job": "again", "speed": 4.0, "token": None, "say": words.append}
    live = run_simulation(
        tmp_path / "pit.toml", log=tmp_path / "pit.blf", bus=None, truth=None, seed=None, **fixed
    )
    again = run_replay(tmp_path / "pit.blf", map_file=None, **fixed)
    assert live["ok"]
    assert again["readings"] == again["sent"] == live["sent"] == live["log"]["readings"]
    assert (again["lost"], again["ignored_frames"]) == (0, 0)
    health = httpx.get(f"{address}/v1/jobs/again/sensors", timeout=30.0).json()
    # The door dates the first readings of a new connection by its latest answer: of the first frame some may be refused.
    assert all(sensor["taken"] > 80 for sensor in health["sensors"]), health["sensors"]


def test_all_refused_is_no_success(address: str, tmp_path: Path) -> None:
    """Said with its count, though it takes the service a second to say so."""
    lines = [json.dumps({"sensor": "lever", "at_s": 0.01 * k, "deg": 1.0}) for k in range(10)]
    (tmp_path / "pit.ndjson").write_text("\n".join(lines), encoding="utf-8")
    fixed: dict[str, Any] = {"map_file": None, "speed": 1.0, "token": None, "say": lambda _: None}
    told = run_replay(tmp_path / "pit.ndjson", to=address, job="again", **fixed)
    assert not told["ok"]
    assert told["refused_readings"] == {"no-such-sensor": 10}


def test_a_machine_at_work_is_not_taken_off_the_job(address: str, tmp_path: Path) -> None:
    with httpx.Client(base_url=f"{address}/v1/jobs", timeout=30.0) as client:
        client.post(
            f"{address}/v1/jobs", json={"id": "real", "name": "Real", "units": "m"}
        ).raise_for_status()
        client.post(
            "/real/setups", json={"machine": "midi-8t", "attachment": "coupled-900"}
        ).raise_for_status()
        (tmp_path / "pit.toml").write_text(dig_text("wait seconds=1"), encoding="utf-8")
        with pytest.raises(Refused) as caught:
            run_simulation(
                tmp_path / "pit.toml", to=address, job="real", log=None, bus=None, truth=None, seed=None, speed=1.0,
                token=None, say=lambda _: None,
            )  # fmt: skip
        assert [fault.code for fault in caught.value.faults] == ["other-machine"]
        job = client.get("/real").json()
    assert (job["seq"], job["machine"]["id"], job["points"]) == (2, "midi-8t", [])
