"""A round by itself: a machine digs, and meanwhile a service is killed, with viewers at it, and the broker stopped."""

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import httpx

from kinematics.errors import Refused
from service.broker.address import parse
from service.broker.topics import Topics
from service.bus.line import Line
from service.bus.ways import Through, feeder_to
from service.shift import JOB
from service.simulation.course import Course
from service.simulation.dig import FLEET, shipped_dig
from service.simulation.motion import plan
from service.simulation.play import play

from .fleet import Fleet, Say
from .happened import AWAY_S, Happened
from .servers import MACHINE, SERVICE, Replica
from .verdict import verdict
from .viewer import Viewer

KILLED_IN, BROKER_AWAY_IN = 4, 7
"""Steps of the dig in which the machine rests."""
PATIENCE_S, MOST_VIEWERS = 30.0, 12


@dataclass(slots=True)
class Round:
    """A round on a fleet: what is done to it while the machine digs, and what is kept of it."""

    fleet: Fleet
    say: Say
    happened: Happened = field(default_factory=Happened)
    again: threading.Thread | None = None

    def looked_at(self) -> None:
        """Two viewers of each target: the proxy sends one to each service."""
        for target in shipped_dig(FLEET).document.targets:
            self.happened.viewers += [
                Viewer(self.fleet.address, JOB, target.name) for _ in self.fleet.replicas
            ]

    def kill_the_keeper(self) -> None:
        """Kill the service that keeps the job, with a viewer attached to it."""
        happened, keeper = self.happened, self._keeper()
        replica = next((each for each in self.fleet.replicas if _called(each) == keeper), None)
        if replica is None:
            happened.fault = f"a keeper that is none of the services: {keeper!r}"
            return
        viewers = happened.viewers
        while not any(each.attached() == keeper for each in viewers) and len(viewers) < MOST_VIEWERS:
            viewers.append(Viewer(self.fleet.address, JOB, viewers[0].target))
        happened.cut = sum(each.of == keeper for each in viewers)
        self.say(
            f"Killing {replica.name}, which keeps the job; {happened.cut} of {len(viewers)} viewers look at it."
        )
        self.happened.killed_s = time.monotonic()
        replica.kill()

    def stop_the_broker(self) -> None:
        """Stop it, and on a thread start it again, and the service that was killed: the machine goes on meanwhile."""
        self.say(f"Stopping the broker for {AWAY_S:g} s.")
        self.happened.away_s = time.monotonic()
        self.fleet.broker.kill()
        self.again = threading.Thread(target=self._bring_back)
        self.again.start()

    def heard(self, answer: httpx.Response) -> None:
        """Keep what is acknowledged."""
        if answer.status_code == 201 and answer.request.method == "POST":
            answer.read()
            entry = answer.json()
            self.happened.acknowledged.append((entry["seq"], entry.get("uuid")))

    def _bring_back(self) -> None:
        time.sleep(AWAY_S)
        try:
            self.fleet.broker.start()
            for replica in self.fleet.replicas:
                if not replica.running:
                    replica.start()
                    self.say(f"Started {replica.name} again.")
        except Refused as refused:
            self.happened.fault = str(refused)

    def _keeper(self) -> str:
        """The service that keeps the job, as the broker has it."""
        told: list[str] = []
        came = threading.Event()

        def hear(_: Line, payload: bytes) -> None:
            told.append(json.loads(payload)["service"])
            came.set()

        address = parse(self.fleet.broker.address(SERVICE), "the broker")
        line = Line(address, None, Topics().keeper(JOB), "round", hear, lambda: None)
        why = line.open()
        came.wait(PATIENCE_S)
        line.close()
        return told[-1] if told else f"none ({why or 'nothing is told'})"


@dataclass(frozen=True, slots=True)
class _Happening:
    at_s: float
    what: Callable[[], None]

    def do(self) -> None:
        """Let it happen."""
        self.what()


def play_round(fleet: Fleet, say: Say) -> dict[str, Any]:
    """The whole round, some minute and a half; what came of it, for programs, `ok` where every check holds."""
    dig = shipped_dig(FLEET)
    course = plan(dig)
    running = Round(fleet, say)
    by = Through(parse(fleet.machines_broker, "the broker"), MACHINE, fleet.folder / "machine")
    happenings = [
        _Happening(_begin(course, KILLED_IN) + 0.5, running.kill_the_keeper),
        _Happening(_begin(course, BROKER_AWAY_IN), running.stop_the_broker),
    ]
    hooks: dict[str, list[Callable[..., Any]]] = {"response": [running.heard]}
    try:
        with (
            httpx.Client(
                base_url=fleet.address, timeout=PATIENCE_S, event_hooks=hooks, trust_env=False
            ) as client,
            feeder_to(fleet.address, JOB, None, say, by) as feeder,
        ):
            played = play(
                dig, client, feeder, JOB, say, course=course, begun=running.looked_at, besides=happenings
            )
            ended = time.monotonic()
            feeder.settle()
    finally:
        for viewer in running.happened.viewers:
            viewer.end()
        if running.again is not None:
            running.again.join()
    return verdict(fleet, running.happened, dig, played, feeder, ended)


def _begin(course: Course, step: int) -> float:
    return next(leg.start_s for leg in course.legs if leg.step == step)


def _called(replica: Replica) -> str:
    """What a service calls itself; "" where it does not answer."""
    viewer = Viewer(replica.address, JOB)
    try:
        return viewer.attached()
    finally:
        viewer.end()
