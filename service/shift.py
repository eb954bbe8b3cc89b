"""The shift that `tipdatum demo` plays: a simulated machine feeds a service, and somebody watches the readouts.

A client like any other: it knows the service only by HTTP and WebSockets.
"""

import json
import statistics
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import httpx

from kinematics.errors import Fault, Refused

from .bus.feeder import Feeder
from .bus.pacing import Pacer
from .simulation.course import Course
from .simulation.dig import DEMO, Dig, shipped_dig
from .simulation.play import Played, play
from .simulation.tables import Pass, Place
from .simulation.truth import Score, Truth, score, true_lines

JOB = "pump-house"
RATE_HZ = 10.0
_PATIENCE_S = 30.0
Message = dict[str, Any]
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Shift:
    """What the shift brought: readouts where the edge had come to a target, the book, the depth sheet, the job, strikes.

    Of all that was `watched`: `age_s` of the oldest reading, the median; how far off the truth of the moment it was read
    and of the moment it was told.
    """

    readouts: list[Message]
    level_book: Message
    targets: list[Message]
    job: Message
    strikes: list[Message]
    watched: int
    age_s: float
    at_reading: Score
    when_told: Score


@dataclass(slots=True)
class Watcher:
    """Watches one target live until it is told to stop, and keeps what it is told."""

    address: str
    target: str
    seen: list[Message] = field(default_factory=list)
    fault: str = ""
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def begin(self) -> None:
        """Begin to watch, on a thread of its own."""
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def end(self) -> list[Message]:
        """What was told. `Refused` "demo-failed" where the stream was not what the shift expects."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(_PATIENCE_S)
        if self.fault or not self.seen:
            raise failed(self.fault or f"no live readout of {self.target!r}")
        return self.seen

    def _watch(self) -> None:
        try:
            params: dict[str, str | float] = {"target": self.target, "rate_hz": RATE_HZ}
            path = f"{self.address}/v1/jobs/{JOB}/readouts/live"
            with httpx.stream("GET", path, params=params, timeout=_PATIENCE_S) as stream:
                if stream.status_code != 200:
                    self.fault = f"status {stream.status_code}: {stream.read().decode()}"
                    return
                for line in stream.iter_lines():  # something comes once a second at least
                    if line.startswith("data: "):
                        self.seen.append(json.loads(line.removeprefix("data: ")))
                    if self._stop.is_set():
                        return
        except (httpx.HTTPError, ValueError) as error:
            self.fault = f"{type(error).__name__}: {error}"


def failed(found: str) -> Refused:
    """The refusal of a demo whose service did not answer as it should."""
    return Refused([Fault("demo-failed", "", found, "the answer that the shift expects")])


def play_shift(address: str, say: Say) -> Shift:
    """The whole shift at its own pace, some three quarters of a minute. Raises `Refused`."""
    dig = shipped_dig(DEMO)
    watchers = {target.name: Watcher(address, target.name) for target in dig.document.targets}

    def begun() -> None:
        for watcher in watchers.values():
            watcher.begin()

    with (
        httpx.Client(base_url=address, timeout=_PATIENCE_S) as client,
        Feeder(address, JOB, say=say) as feeder,
    ):
        played = play(dig, client, feeder, JOB, say, begun=begun)
        seen = {name: watcher.end() for name, watcher in watchers.items()}
        if played.refused:
            raise failed("; ".join(map(str, played.refused)))
        strikes = [each for each in feeder.strikes if each["seq"] is not None]
        book, targets, job = (_get(client, what) for what in ("/level-book", "/targets", ""))
    told = [message for messages in seen.values() for message in messages if message["readout"] is not None]
    return Shift(
        list(at_targets(dig, played, seen)), book, targets, job, strikes, len(told),
        statistics.median(message["age_s"] for message in told), *scored(dig, played, told),
    )  # fmt: skip


def _get(client: httpx.Client, what: str) -> Any:
    answer = client.get(f"/v1/jobs/{JOB}{what}")
    if answer.status_code != 200:
        raise failed(f"GET {answer.request.url}: {answer.text}")
    return answer.json()


def at_targets(dig: Dig, played: Played, seen: dict[str, list[Message]]) -> Iterator[Message]:
    """The last readout of each rest after the edge was brought to a target. `Refused` "demo-failed" without one."""
    steps = dig.document.steps
    for number, step in enumerate(steps, 1):
        if isinstance(step, Place | Pass) and step.over in seen:
            end = _end_of(played.course, number + 1)
            told = [
                message["readout"] for message in seen[step.over]
                if message["readout"] is not None and second_of(played.pacer, message) <= end
            ]  # fmt: skip
            if not told:
                raise failed(f"no readout of {step.over!r} by step {number}")
            yield told[-1]


def _end_of(course: Course, number: int) -> float:
    return max(leg.start_s + leg.seconds for leg in course.legs if leg.step == number)


def second_of(pacer: Pacer, message: Message) -> float:
    """The second of the course at which a readout was made."""
    return pacer.t_at(datetime.fromisoformat(message["at"]).timestamp())


def scored(dig: Dig, played: Played, told: list[Message]) -> tuple[Score, Score]:
    """Against the truth of the oldest reading's moment, and of the moment at which each was told."""
    truth = [Truth(line["t_s"], line["elevations_m"]) for line in true_lines(dig, played.course)]
    known = [each for each in told if each["readout"]["points"]["centre"]["elevation"] is not None]
    shown = [
        {point: edge["elevation"]["m"] for point, edge in each["readout"]["points"].items()} for each in known
    ]
    when = [second_of(played.pacer, each) for each in known]
    then = [t - each["age_s"] for t, each in zip(when, known, strict=True)]
    return score(truth, zip(then, shown, strict=True)), score(truth, zip(when, shown, strict=True))
