"""The invented shift that `tipdatum demo` plays: a pump house dug off an existing slab, with the 14 t crawler.

A client like any other: it knows the service only by HTTP. The machine it pretends to be has a boom sensor that
reads a little high and a bucket that never rests on a point quite exactly, so that the book does not close to zero.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import httpx
from scipy.optimize import brentq

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.machine import Attachment, Machine
from machine_profiles import shipped

JOB = "pump-house"
MACHINE = "crawler-14t"
ATTACHMENT = "tilting-1800"
SLAB_M = 100.0
BOOM_SENSOR_ERROR_DEG = 0.02
PITCH_DEG, ROLL_DEG = 0.6, -0.4
# Heights of the body origin over the slab in the two places the machine stands (m).
ORIGINS_M = (1.62, 1.48)
PLANE_M = SLAB_M + 2.75

Say = Callable[[str], None]


class DemoFailedError(RuntimeError):
    """The service answered otherwise than the shift expects."""


@dataclass(frozen=True, slots=True)
class Shift:
    """What the shift brought: the readouts in order, the level book, the depth sheet, the job."""

    readouts: list[dict[str, Any]]
    level_book: dict[str, Any]
    targets: list[dict[str, Any]]
    job: dict[str, Any]
    strikes: list[dict[str, Any]]


def arm_of_demo() -> Assembly:
    """The machine the shift pretends to be."""
    profiles = shipped()
    machine = profiles["machine", MACHINE].geometry
    attachment = profiles["attachment", ATTACHMENT].geometry
    if not (isinstance(machine, Machine) and isinstance(attachment, Attachment)):
        raise TypeError("the shipped profiles are swapped")
    return assemble(machine, attachment)


def place_edge(fitted: Assembly, height: float, stick_deg: float, tilt_deg: float = 0.0) -> Pose:
    """A pose with the floor flat and the edge centre `height` (m) over the origin, the stick as given.

    The floor hangs on the sum of boom, stick and bucket alone: one pose tells the sum at which it is flat, then the boom
    is turned until the height is right.
    """
    stick = math.radians(stick_deg)

    def at(boom: float, bucket: float) -> Pose:
        return pose(
            fitted, pitch=math.radians(PITCH_DEG), roll=math.radians(ROLL_DEG), boom=boom, stick=stick, bucket=bucket,
            tilt=math.radians(tilt_deg),
        )  # fmt: skip

    boom, curl = fitted.ranges["boom"], fitted.ranges["bucket"]
    flat = brentq(
        lambda b: math.sin(0.5 * at(0.0, b).floor_angle), curl.low + 1e-6, curl.high - 1e-6, xtol=1e-13
    )
    low, high = max(boom.low, flat - curl.high) + 1e-6, min(boom.high, flat - curl.low) - 1e-6
    found = brentq(lambda b: at(b, flat - b).height("centre") - height, low, high, xtol=1e-13)
    return at(found, flat - found)


def place_receiver(fitted: Assembly, height: float, stick_inclination_deg: float) -> Pose:
    """A pose with the receiver `height` (m) over the origin and the stick inclined as given."""

    def at(boom: float) -> Pose:
        stick = math.radians(stick_inclination_deg - PITCH_DEG) - boom
        bucket = fitted.ranges["bucket"]
        return pose(
            fitted, pitch=math.radians(PITCH_DEG), roll=math.radians(ROLL_DEG), boom=boom, stick=stick,
            bucket=0.5 * (bucket.low + bucket.high), tilt=0.0,
        )  # fmt: skip

    boom, stick = fitted.ranges["boom"], fitted.ranges["stick"]
    inclined = math.radians(stick_inclination_deg - PITCH_DEG)
    low = max(boom.low, inclined - stick.high) + 1e-6
    high = min(boom.high, inclined - stick.low) - 1e-6
    return at(brentq(lambda b: at(b).height("receiver") - height, low, high, xtol=1e-13))


def as_read(true: Pose) -> dict[str, Any]:
    """A pose as the sensors report it: the boom sensor reads high, everything rounded to 0.001 deg."""
    names = ("boom", "stick", "bucket", "tilt")
    index = {"boom": 3, "stick": 5, "bucket": 6, "tilt": 7}
    angles = {name: round(math.degrees(float(true.q[index[name]])), 3) for name in names}
    angles["boom"] = round(angles["boom"] + BOOM_SENSOR_ERROR_DEG, 3)
    return {"angles_deg": angles, "attitude_deg": {"pitch": PITCH_DEG, "roll": ROLL_DEG}}


class Player:
    """Plays the shift over HTTP, one request a line of the book."""

    def __init__(self, client: httpx.Client, say: Say) -> None:
        self._client = client
        self._say = say
        self._count = 0
        self.readouts: list[dict[str, Any]] = []
        self.strikes: list[dict[str, Any]] = []
        self._fitted = arm_of_demo()

    def play(self) -> Shift:
        """The whole shift, strike first, closing on the slab."""
        self._begin()
        self._first_stand()
        self._second_stand()
        return Shift(
            self.readouts, self._get("level-book"), self._get("targets"), self._get(""), self.strikes
        )

    def _begin(self) -> None:
        self._say("Opening the job: the slab's top is 100.000; machine, laser.")
        self._post(
            "/v1/jobs", {"id": JOB, "name": "Village pump house", "units": "m", "datum": "slab top 100.000"}
        )
        self._record("benchmarks", {"name": "slab", "elevation": SLAB_M, "units": "m"})
        self._record("setups", {"machine": MACHINE, "attachment": ATTACHMENT})
        self._record("laser-setups", {"revolutions_per_s": 10.0, "fall_percent": 0.0})

    def _first_stand(self) -> None:
        self._say("First stand: strike the laser, then touch the slab.")
        self._strike(0, -92.0, 18.0)
        touched = place_edge(self._fitted, -ORIGINS_M[0] + 0.001, -70.0)
        self._touch("reference", touched)
        self._say("A strike made in haste, with the stick leaning: it should be turned down.")
        self._strike(0, -76.0, 85.0)
        self._first_targets()
        self._say("Digging to the footing, then the sump.")
        for name, over in (("bottom of footing", 0.35), ("bottom of footing", 0.008), ("sump", -0.012)):
            self._dig(0, name, over, -85.0)
        self._say("A turning point on a firm stone, then the tracks move.")
        stone = place_edge(self._fitted, -ORIGINS_M[0] - 0.24, -75.0)
        self._record("turning-points", {"name": "stone", "edge_point": "centre", "pose": as_read(stone)})
        self._record("moves", {})

    def _second_stand(self) -> None:
        self._say("Second stand: strike again; the height comes back from the laser.")
        self._strike(1, -94.0, 22.0)
        self._say("The apron falls 2 % to the right: touch its zero point, tilt the bucket.")
        layers = [{"name": "apron and bedding", "thickness": 0.60}]
        self._target("apron", layers, across_percent=-2.0)
        zero = place_edge(self._fitted, self._over(1, "apron", 0.15), -80.0)
        self._record(
            "stations",
            {"target": "apron", "station": 0.0, "edge_point": "centre", "pose": as_read(zero), "units": "m"},
        )
        self._dig(1, "apron", 0.004, -80.0, tilt_deg=1.55)
        self._say("Closing on the slab.")
        self._touch("check", place_edge(self._fitted, -ORIGINS_M[1] - 0.002, -78.0))

    def _first_targets(self) -> None:
        layers = [
            {"name": "floor build-up", "thickness": 0.32},
            {"name": "wall and footing", "thickness": 1.10},
        ]
        self._target("bottom of footing", layers, overdig=0.10)
        self._target("sump", [*layers, {"name": "sump", "thickness": 0.45}], floor_limit_below=2.05)

    def _target(self, name: str, layers: list[dict[str, Any]], overdig: float = 0.0, **more: float) -> None:
        fixed = {"name": name, "benchmark": "slab", "units": "m", "tolerance": 0.03}
        self._record("targets", {**fixed, "layers": layers, "overdig": overdig, **more})

    def _over(self, stand: int, target: str, over: float) -> float:
        """Height over the origin of an edge `over` (m) the target's elevation at station 0."""
        sheet = {line["name"]: line["elevation"]["m"] for line in self._get("targets")}
        return float(sheet[target]) - SLAB_M - ORIGINS_M[stand] + over

    def _dig(self, stand: int, target: str, over: float, stick_deg: float, tilt_deg: float = 0.0) -> None:
        true = place_edge(self._fitted, self._over(stand, target, over), stick_deg, tilt_deg)
        body = {"pose": as_read(true), "target": target, "units": "m"}
        self.readouts.append(self._post(f"/v1/jobs/{JOB}/readouts", body, 200))

    def _strike(self, stand: int, stick_inclination_deg: float, speed_mm_s: float) -> None:
        height = PLANE_M - SLAB_M - ORIGINS_M[stand]
        ways = (("up", 0.001), ("down", -0.001))
        crossings = [
            {
                "direction": way,
                "pose": as_read(place_receiver(self._fitted, height + lag, stick_inclination_deg)),
            }
            for way, lag in ways
        ]
        body = {
            "crossings": crossings, "vertical_speed_mm_s": speed_mm_s, "tilt_spread_deg": 0.02, "steady_s": 1.5,
            "units": "m",
        }  # fmt: skip
        self.strikes.append(self._record("strikes", body))

    def _touch(self, purpose: str, true: Pose) -> None:
        body = {"point": "slab", "purpose": purpose, "edge_point": "centre", "pose": as_read(true)}
        self._record("touches", body)

    def _record(self, what: str, body: dict[str, Any]) -> dict[str, Any]:
        return self._post(f"/v1/jobs/{JOB}/{what}", body)

    def _post(self, path: str, body: dict[str, Any], expected: int = 201) -> dict[str, Any]:
        self._count += 1
        headers = {"Idempotency-Key": f"demo-{self._count}"}
        answer: dict[str, Any] = self._answer(self._client.post(path, json=body, headers=headers), expected)
        return answer

    def _get(self, what: str) -> Any:
        path = f"/v1/jobs/{JOB}/{what}" if what else f"/v1/jobs/{JOB}"
        return self._answer(self._client.get(path), 200)

    @staticmethod
    def _answer(response: httpx.Response, expected: int) -> Any:
        if response.status_code != expected:
            raise DemoFailedError(f"{response.request.method} {response.request.url}: {response.text}")
        return response.json()
