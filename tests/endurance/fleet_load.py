"""The same load on the fleet form: PostgreSQL, a broker, two services, viewers at both.

Readings go through the broker. One connection to it sends for all machines, so that the load costs less than what is
measured. Frames are not kept: one that is lost is missed.
"""

import asyncio
import contextlib
import json
import secrets
import socket
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import AsyncExitStack
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from service.broker.address import parse
from service.broker.topics import Topics
from service.rehearsal.fleet import fleet
from service.rehearsal.programs import programs
from tests.benchmarks.live import poses
from tests.benchmarks.live_machine import STAGE_S, Machine, Readings
from tests.benchmarks.started import BenchmarkFailed

from .load import Form, Say
from .processes import process_on

NAME, HERE_EVERY_S = "cab", 2.0


def _at_once(_client: mqtt.Client, _data: object, opened: Any) -> None:
    """Frames go when they are put, not when more have come."""
    opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


class Crowd:
    """The machines' connection to the broker."""

    def __init__(self, address: str) -> None:
        where = parse(address, "the broker")
        self.topics = Topics(where.prefix)
        self._machines: dict[str, BrokerMachine] = {}
        self._heard = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self.client.username_pw_set(where.user, where.password)
        self.client.on_connect = lambda client, *_: client.subscribe(self.topics.told("+", NAME), qos=1)
        self.client.on_subscribe = lambda *_: self._heard.set()
        self.client.on_message = self._message
        self.client.on_socket_open = _at_once
        self.client.connect(where.host, where.port)
        self.client.loop_start()
        if not self._heard.wait(STAGE_S):
            raise BenchmarkFailed("expected the broker to let the machines in, it did not")

    def close(self) -> None:
        """Hang up."""
        self.client.disconnect()
        self.client.loop_stop()

    def joined(self, machine: "BrokerMachine") -> None:
        """From now on what is told to a job's machine goes to this one."""
        self._machines[machine.job] = machine

    def _message(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        place = self.topics.place(message.topic)
        machine = None if place is None else self._machines.get(place.job)
        if machine is not None:
            machine.hear(json.loads(message.payload))


class BrokerMachine(Machine):
    """One that feeds through the broker, and a viewer at one of the services."""

    def __init__(self, crowd: Crowd, port: int, job: str, said: list[Readings]) -> None:
        super().__init__(port, job, said)
        self._crowd, self._stream, self._n = crowd, secrets.token_hex(4), 0
        self._welcomed = threading.Event()
        self._readings = crowd.topics.readings(job, NAME)

    async def feed(self, stack: AsyncExitStack) -> None:
        """Be let in, and say every few seconds that it is there until the stack ends."""
        self._crowd.joined(self)
        saying = asyncio.create_task(self._says())
        stack.callback(saying.cancel)
        async with asyncio.timeout(STAGE_S):
            while not self._welcomed.is_set():
                await asyncio.sleep(0.01)

    async def _says(self) -> None:
        while True:
            self._here()
            await asyncio.sleep(HERE_EVERY_S)

    def _here(self) -> None:
        here = json.dumps({"stream": self._stream, "next": self._n + 1})
        self._crowd.client.publish(self._crowd.topics.here(self.job, NAME), here, qos=1)

    async def put(self, text: str) -> None:
        """Send a frame by its number."""
        self._n += 1
        self._crowd.client.publish(self._readings, f'{{"stream":"{self._stream}","n":{self._n},{text[1:]}')

    def hear(self, told: Mapping[str, object]) -> None:
        """What a service tells it. On the connection's own thread."""
        if "clock" in told:
            answer = {
                "stream": self._stream,
                "clock": told["clock"],
                "of": told["of"],
                "at_s": time.monotonic(),
            }
            self._crowd.client.publish(self._readings, json.dumps(answer))
        if "welcome" in told:
            self._welcomed.set()
        elif "from" in told:
            self._here()
        if "refused" in told or "problem" in told:
            self.missed, self.refusal = self.missed + 1, json.dumps(told)


@contextlib.contextmanager
def through_broker(say: Say) -> Iterator[Form]:
    """PostgreSQL, Mosquitto and two services, all on this machine; every second viewer at the other service."""
    said = poses()
    with fleet(programs(), say) as running:
        crowd = Crowd(running.machines_broker)
        try:
            ports = [each.port for each in running.replicas]
            yield Form(
                running.replicas[0].address,
                lambda job, i: BrokerMachine(crowd, ports[i % 2], job, said),
                {"service": [each.pid for each in running.replicas], "broker": [running.broker.pid],
                 "database": [process_on(running.database.port)]},
            )  # fmt: skip
        finally:
            crowd.close()
