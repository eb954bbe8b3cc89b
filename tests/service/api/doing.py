"""A client that asserts statuses, and one job's requests in few words."""

import math
import warnings
from functools import cache
from types import TracebackType
from typing import Any, Self

from fastapi import FastAPI

from kinematics.arm import Pose
from kinematics.assembly import Assembly, assemble
from kinematics.machine import Attachment, Machine
from kinematics.units import LengthUnit, from_metres, show
from machine_profiles import shipped
from tests.demo_machine import place_edge, place_receiver

with warnings.catch_warnings():
    # The test client of some releases tells of its next transport.
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

Json = dict[str, Any]
ADDRESS = "http://127.0.0.1"
INDEX = {
    "swing_boom": 2, "boom": 3, "fore_boom": 4, "stick": 5, "bucket": 6, "tilt": 7, "rotate": 8
}  # fmt: skip


class Client:
    """HTTP against an app in this process."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app
        self.http = TestClient(app, base_url=ADDRESS, raise_server_exceptions=False)

    def __enter__(self) -> Self:
        self.http.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.http.__exit__(kind, error, trace)

    def get(self, path: str, status: int = 200) -> Any:
        answer = self.http.get(path)
        assert answer.status_code == status, answer.text
        return answer.json()

    def post(self, path: str, body: Any, status: int = 201, **headers: str) -> Any:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        answer = self.http.post(path, json=body, headers=named)
        assert answer.status_code == status, answer.text
        return answer.json()

    def refused(self, path: str, body: Any, status: int, **headers: str) -> dict[str, str]:
        """Pointer -> code of every fault."""
        problem = self.post(path, body, status, **headers)
        return faults(problem, status)

    def raw(self, path: str, text: str, status: int) -> Any:
        answer = self.http.post(path, content=text, headers={"content-type": "application/json"})
        assert answer.status_code == status, answer.text
        return answer.json()


def faults(problem: Json, status: int) -> dict[str, str]:
    assert problem["status"] == status
    assert problem["type"].startswith("/guide/problems#")
    return {fault["pointer"]: fault["code"] for fault in problem["errors"]}


@cache
def fitted(machine: str = "crawler-14t", attachment: str = "tilting-1800") -> Assembly:
    """A shipped pair."""
    carrier = shipped()["machine", machine].geometry
    tool = shipped()["attachment", attachment].geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    return assemble(carrier, tool)


def as_asked(found: Pose, **more: Any) -> Json:
    """A solved pose as a request, to the last bit."""
    angles = {name: math.degrees(float(found.q[INDEX[name]])) for name in found.assembly.ranges}
    lean = {"pitch": math.degrees(float(found.q[0])), "roll": math.degrees(float(found.q[1]))}
    return {"angles_deg": angles, "attitude_deg": lean, **more}


@cache
def _edge(attachment: str, height: float, stick_deg: float, tilt_deg: float) -> Pose:
    return place_edge(fitted("crawler-14t", attachment), height, stick_deg, tilt_deg)


def edge_at(height: float, stick_deg: float = -70.0, tilt_deg: float = 0.0) -> Json:
    """A pose of the 14 t crawler with its tilting bucket, edge centre `height` (m) over the origin, floor flat."""
    return as_asked(_edge("tilting-1800", height, stick_deg, tilt_deg))


@cache
def _receiver(height: float, stick_deg: float) -> Pose:
    return place_receiver(fitted(), height, stick_deg)


def receiver_at(height: float, stick_deg: float = -92.0) -> Json:
    """A pose with the receiver `height` (m) over the origin, the mast near plumb."""
    return as_asked(_receiver(height, stick_deg))


class JobDoer:
    """One job; each method posts one request and returns its answer."""

    def __init__(self, client: Client, job: str, units: str) -> None:
        self.client, self.id, self.units = client, job, units
        self.path = f"/v1/jobs/{job}"

    def length(self, metres: float) -> Any:
        """Metres as this job writes them, unrounded but for feet and inches."""
        if self.units == "ftin":
            return show(metres, LengthUnit.FTIN)
        return from_metres(metres, self.units)

    def post(self, what: str, body: Json | None = None, status: int = 201, **headers: str) -> Any:
        return self.client.post(f"{self.path}/{what}", {} if body is None else body, status, **headers)

    def refused(self, what: str, body: Json, status: int, **headers: str) -> dict[str, str]:
        before = self.get()["seq"]
        found = self.client.refused(f"{self.path}/{what}", body, status, **headers)
        assert self.get()["seq"] == before, "a refused request was recorded"
        return found

    def get(self, what: str = "") -> Any:
        return self.client.get(f"{self.path}/{what}" if what else self.path)

    def equipped(self, fall_percent: float = 0.0, attachment: str = "tilting-1800") -> Self:
        """Slab at 100 m, machine, laser: entries 2, 3, 4."""
        self.benchmark("slab", 100.0)
        self.setup(attachment=attachment)
        self.laser(fall_percent)
        return self

    def benchmark(self, name: str, metres: float) -> Any:
        return self.post("benchmarks", {"name": name, "elevation": self.length(metres), "units": self.units})

    def setup(self, machine: str = "crawler-14t", attachment: str = "tilting-1800") -> Any:
        return self.post("setups", {"machine": machine, "attachment": attachment})

    def laser(self, fall_percent: float = 0.0) -> Any:
        return self.post("laser-setups", {"revolutions_per_s": 10.0, "fall_percent": fall_percent})

    def touch(
        self, height: float, point: str = "slab", purpose: str = "reference", stick_deg: float = -70.0
    ) -> Any:
        body = {
            "point": point,
            "purpose": purpose,
            "edge_point": "centre",
            "pose": edge_at(height, stick_deg),
        }
        return self.post("touches", body)

    def strike(self, height: float, along: float | None = None, **more: Any) -> Any:
        return self.post("strikes", self.strike_body(height, along, **more))

    def strike_body(self, height: float, along: float | None = None, **more: Any) -> Json:
        body = {
            "crossings": [{"direction": "up", "pose": receiver_at(height)}], "vertical_speed_mm_s": 10.0,
            "tilt_spread_deg": 0.01, "steady_s": 2.0, "units": self.units,
        }  # fmt: skip
        if along is not None:
            body["along_fall"] = self.length(along)
            plane = self.get()["plane"]
            body["from_strike"] = 1 if plane is None else plane["from_strike"]
        return body | more

    def turning_point(self, name: str, height: float) -> Any:
        return self.post(
            "turning-points", {"name": name, "edge_point": "centre", "pose": edge_at(height, -75.0)}
        )

    def move(self) -> Any:
        return self.post("moves")

    def target(self, name: str, below: float, **more: Any) -> Any:
        return self.post("targets", self.target_body(name, below, **more))

    def target_body(self, name: str, below: float, **more: Any) -> Json:
        return {
            "name": name, "benchmark": "slab", "layers": [{"name": "all", "thickness": self.length(below)}],
            "overdig": self.length(0.0), "tolerance": self.length(0.0254), "units": self.units,
        } | more  # fmt: skip

    def station(self, target: str, station: float, pose: Json) -> Any:
        body = {
            "target": target, "station": self.length(station), "edge_point": "centre", "pose": pose,
            "units": self.units,
        }  # fmt: skip
        return self.post("stations", body)

    def read(self, pose: Json, target: str | None = None, **more: Any) -> Any:
        body = {"pose": pose, "units": self.units} | more
        return self.post("readouts", body if target is None else body | {"target": target}, 200)

    def withdraw(self, seq: int) -> Any:
        return self.post("withdrawals", {"seq": seq, "reason": "a mistake"})

    def events(self) -> list[Json]:
        found: list[Json] = []
        after: int | None = 0
        while after is not None:
            page = self.get(f"events?limit=1000&after={after}")
            found += page["events"]
            after = page["next"]
        return found


def opened(client: Client, job: str, units: str = "m", **more: object) -> JobDoer:
    """A new job."""
    client.post("/v1/jobs", {"id": job, "name": "A pit", "units": units, **more})
    return JobDoer(client, job, units)


def metres(length: Json | None) -> float:
    """The metres of a length in an answer; it must be there and finite."""
    assert length is not None
    value = length["m"]
    assert isinstance(value, int | float)
    assert math.isfinite(value)
    return float(value)
