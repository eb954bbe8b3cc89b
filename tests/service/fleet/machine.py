"""A machine behind a broker, as /guide/broker says: a client of its own, that keeps what was not taken."""

import json
import secrets
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from itertools import count
from types import TracebackType
from typing import Any, Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from service.broker.topics import Topics
from service.clock import seconds
from tests.service.live.making import Json, Said, dated
from tests.service.live.passing import BAND_M, HZ

PATIENCE_S = 15.0


class Anybody:
    """A client of the broker. What it hears is kept, payloads by topic, and can be waited for."""

    def __init__(self, port: int, user: str = "", password: str = "", prefix: str = "") -> None:
        self.topics = Topics(prefix)
        self._port = port
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        if user:
            self._client.username_pw_set(user, password)
        self._client.on_connect = self._connected
        self._client.on_message = self._message
        self._client.on_subscribe = self._subscribed
        self._client.reconnect_delay_set(1, 1)
        self._news = threading.Condition()
        self.here = threading.Event()
        self._ready = threading.Event()
        self.listens: list[str] = []
        self.heard: list[tuple[str, bytes]] = []

    def __enter__(self) -> Self:
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()
        assert self._ready.wait(PATIENCE_S), "the broker does not let us in"
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _connected(self, client: mqtt.Client, *_: Any) -> None:
        self.here.set()
        if self.listens:
            client.subscribe([(topic, 1) for topic in self.listens])
        else:
            self._ready.set()

    def _subscribed(self, *_: Any) -> None:
        self._ready.set()
        self.came()

    def came(self) -> None:
        """Connected, and listening."""

    def listen(self, *topics: str) -> None:
        """Listen to topics from now on."""
        self._ready.clear()
        self.listens += topics
        self._client.subscribe([(topic, 1) for topic in topics])
        assert self._ready.wait(PATIENCE_S)

    def _message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        with self._news:
            self.heard.append((message.topic, message.payload))
            self.hears(message.topic, message.payload)
            self._news.notify_all()

    def hears(self, topic: str, payload: bytes) -> None:
        """Something was told."""

    def put(self, topic: str, what: object, *, retain: bool = False) -> None:
        """Publish; returns once the broker has it."""
        payload = what if isinstance(what, bytes) else json.dumps(what).encode()
        info = self._client.publish(topic, payload, 1, retain)
        info.wait_for_publish(PATIENCE_S)

    def first(
        self, wanted: Callable[[str, bytes], object], since: int = 0, within: float = PATIENCE_S
    ) -> bytes:
        """The payload of the first message from number `since` on that is wanted."""
        seen = since
        until = time.monotonic() + within
        with self._news:
            while True:
                while seen < len(self.heard):
                    topic, payload = self.heard[seen]
                    seen += 1
                    if wanted(topic, payload):
                        return payload
                left = until - time.monotonic()
                assert left > 0.0, f"not heard within {within} s; last: {self.heard[-3:]}"
                self._news.wait(left)


class Machine(Anybody):
    """A machine with its sensors. It numbers its frames, keeps them until they are taken, answers the clock.

    `zero`: what its clock shows more than ours, in seconds. `answers`: whether it answers clock questions.
    """

    def __init__(
        self, port: int, job: str, name: str = "cab", *, token: str | None = None, zero: float = -5e6,
        answers: bool = True, here_every_s: float = 0.5, user: str = "", password: str = "", prefix: str = "",
    ) -> None:  # fmt: skip
        super().__init__(port, user, password, prefix)
        self.job, self.name, self.token, self.zero, self.answers = job, name, token, zero, answers
        self.stream = secrets.token_hex(4)
        self.last = 0
        self.kept: dict[int, bytes] = {}
        self.told: list[Json] = []
        self.listens = [self.topics.told(job, name)]
        self._every_s = here_every_s
        self._ended = threading.Event()
        self._saying = threading.Thread(target=self._says)

    def __enter__(self) -> Self:
        super().__enter__()
        self._saying.start()
        return self

    def __exit__(self, *error: Any) -> None:
        self._ended.set()
        self._saying.join()
        super().__exit__(*error)

    def clock(self) -> float:
        """Its own seconds."""
        return time.monotonic() + self.zero

    def came(self) -> None:
        """Say that it is there."""
        self.say_here()

    def _says(self) -> None:
        while not self._ended.wait(self._every_s):
            self.say_here()

    def say_here(self) -> None:
        """With the first frame that was not taken."""
        with self._news:
            here: Json = {"stream": self.stream, "next": min(self.kept, default=self.last + 1)}
            if self.last:
                here["last"] = self.last
        if self.token is not None:
            here["token"] = self.token
        self._client.publish(self.topics.here(self.job, self.name), json.dumps(here), 1)

    def hears(self, topic: str, payload: bytes) -> None:  # noqa: ARG002  # one alone
        """Clock questions are answered, what is taken is dropped, from where it is asked all is sent again."""
        said = json.loads(payload)
        self.told.append(said)
        if "clock" in said and self.answers:
            self.frame({"clock": said["clock"], "of": said["of"], "at_s": self.clock()})
        if "taken" in said and said["taken"]["stream"] == self.stream:
            for n in [n for n in self.kept if n <= said["taken"]["n"]]:
                del self.kept[n]
        if "from" in said and said["from"]["stream"] == self.stream:
            for n in sorted(self.kept):
                if n >= said["from"]["n"]:
                    self._client.publish(self.topics.readings(self.job, self.name), self.kept[n], 1)

    def frame(self, what: Mapping[str, Any]) -> None:
        """Send one payload of this stream."""
        self._client.publish(
            self.topics.readings(self.job, self.name), json.dumps({"stream": self.stream, **what}), 1
        )

    def say(self, what: Mapping[str, Json], at_s: float | None = None, more: list[Json] | None = None) -> int:
        """Readings of these sensors, all of one moment, in the next frame; its number."""
        readings = dated(what, self.clock() if at_s is None else at_s) + (more or [])
        return self.send(readings)

    def send(self, readings: list[Json], *, lost: bool = False) -> int:
        """Readings in the next frame; `lost`: it is kept, and does not arrive."""
        with self._news:
            self.last += 1
            frame = {"stream": self.stream, "n": self.last, "readings": readings}
            self.kept[self.last] = json.dumps(frame).encode()
            payload = self.kept[self.last]
        if not lost:
            self._client.publish(self.topics.readings(self.job, self.name), payload, 1)
        return self.last

    def wait(self, wanted: Callable[[Json], object], since: int = 0, within: float = PATIENCE_S) -> Json:
        """The first that it was told from number `since` on that is wanted."""
        seen = since
        until = time.monotonic() + within
        with self._news:
            while True:
                while seen < len(self.told):
                    seen += 1
                    if wanted(self.told[seen - 1]):
                        return self.told[seen - 1]
                left = until - time.monotonic()
                assert left > 0.0, f"not told within {within} s; last: {self.told[-3:]}"
                self._news.wait(left)

    def welcomed(self, since: int = 0) -> Json:
        """Once it is let in."""
        found: Json = self.wait(lambda told: "welcome" in told, since)["welcome"]
        return found

    def taken(self, n: int) -> None:
        """Once all up to a frame is told as taken."""
        self.wait(lambda told: told.get("taken", {}).get("n", 0) >= n)


class Playing(threading.Thread):
    """A machine that moves as a track says and then rests, in real time, until it is stopped. `fed`: when each frame was
    read, by `service.clock.seconds`, and which of the track it was."""

    def __init__(self, machine: Machine, track: list[tuple[float, Said, float]]) -> None:
        super().__init__()
        self._machine, self._track = machine, track
        self._stopped = threading.Event()
        self.fed: list[tuple[float, int]] = []

    def run(self) -> None:
        begun = time.monotonic()
        for k in count():
            t, says, above = self._track[min(k, len(self._track) - 1)]
            t = max(t, k / HZ)
            if self._stopped.wait(max(0.0, begun + t - time.monotonic())):
                return
            at_s = begun + t + self._machine.zero
            self.fed.append((begun + t + seconds() - time.monotonic(), min(k, len(self._track) - 1)))
            hit = [{"receiver_hit": abs(above) <= 0.5 * BAND_M, "at_s": at_s}] if k % 2 == 0 else []
            self._machine.send(dated(says, at_s) + hit)

    def stop(self) -> None:
        """Until it has."""
        self._stopped.set()
        self.join()


@contextmanager
def playing(machine: Machine, track: list[tuple[float, Said, float]]) -> Iterator[Playing]:
    found = Playing(machine, track)
    found.start()
    try:
        yield found
    finally:
        found.stop()
