"""A small service's side of a broker, as /guide/broker has it: it keeps a job, takes frames in order, and is replaced."""

import json
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from service.broker.address import Address, parse
from service.broker.topics import Topics
from tests.service.mosquitto import Broker

from .units import WAIT_S

Json = dict[str, Any]
WELCOME: Json = {
    "job": "pit",
    "machine": {"id": "m"},
    "attachment": {"id": "a"},
    "sensors": {"boom": {"unit": "deg"}},
}


def at(broker: Broker, user: str = "", password: str = "") -> Address:
    """Where a broker is, and who asks there."""
    return parse(broker.url(user, password), "a test")


class Log:
    """Every frame that was taken, over all keepers: what the record would have of it."""

    def __init__(self) -> None:
        self.frames: list[tuple[str, int, list[Json]]] = []
        self.repeated = 0

    @property
    def degrees(self) -> list[float]:
        return [one["deg"] for _, _, readings in self.frames for one in readings]


class Keeper:
    """Keeps the job "pit". `lag`: it acknowledges only what is so many frames old. `deaf`: it takes nothing."""

    def __init__(
        self,
        address: Address,
        log: Log,
        name: str = "0000000a",
        *,
        lag: int = 0,
        ca: Path | None = None,
        problem: Json | None = None,
    ) -> None:
        self._topics, self._log, self._name, self._lag, self._problem = Topics(), log, name, lag, problem
        self.welcome = WELCOME
        self.heard: list[Json] = []
        self.answers: list[Json] = []
        self.last: dict[str, int] = {}
        self.deaf = False
        self.changed = threading.Condition()
        self._there = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.reconnect_delay_set(1, 1)
        if ca is not None:
            self._client.tls_set(str(ca))
        if address.user is not None:
            self._client.username_pw_set(address.user, address.password)
        self._client.on_connect, self._client.on_subscribe = self._connected, self._subscribed
        self._client.on_message = self._message
        self._client.connect(address.host, address.port, keepalive=5)
        self._client.loop_start()
        assert self._there.wait(WAIT_S)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def wait_for(self, enough: Callable[[], bool]) -> None:
        with self.changed:
            assert self.changed.wait_for(enough, timeout=2.0 * WAIT_S), (
                self.heard[-3:],
                self._log.frames[-3:],
            )

    def tell(self, what: Json, feeder: str = "cab") -> None:
        self._client.publish(self._topics.told("pit", feeder), json.dumps({"of": self._name} | what), qos=1)

    def tell_bytes(self, what: bytes) -> None:
        self._client.publish(self._topics.told("pit", "cab"), what, qos=1)

    def _connected(self, client: mqtt.Client, *_: Any) -> None:
        client.subscribe([(self._topics.shared_here, 1), (self._topics.readings("pit"), 0)])

    def _subscribed(self, *_: Any) -> None:
        self._there.set()

    def _message(self, _: Any, __: Any, message: mqtt.MQTTMessage) -> None:
        if self.deaf:
            return
        said = json.loads(message.payload)
        with self.changed:
            if message.topic.split("/")[-2] == "here":
                self._here(said)
            elif "clock" in said:
                self.answers.append(said)
            else:
                self._frame(said)
            self.changed.notify_all()

    def _here(self, said: Json) -> None:
        self.heard.append(said)
        if self._problem is not None:
            self.tell({"problem": self._problem})
            return
        stream, last = said["stream"], said["next"] - 1
        new = stream not in self.last
        self.last[stream] = max(self.last.get(stream, last), last)
        if new or said.get("welcome"):
            begin = {"stream": stream, "n": self.last[stream] + 1}
            self.tell({"welcome": self.welcome, "clock": len(self.answers) + 1, "from": begin})
        self._taken(stream)

    def _frame(self, said: Json) -> None:
        stream, n = said["stream"], said["n"]
        last = self.last.get(stream)
        if last is None:
            return
        if n <= last:
            self._log.repeated += 1
        elif n > last + 1:
            self.tell({"from": {"stream": stream, "n": last + 1}})
            return
        else:
            self.last[stream] = n
            self._log.frames.append((stream, n, said["readings"]))
        self._taken(stream)

    def _taken(self, stream: str) -> None:
        self.tell({"taken": {"stream": stream, "n": max(self.last[stream] - self._lag, 0)}})
