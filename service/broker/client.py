"""One connection to a broker for an event loop, made again whenever it is lost: MQTT 5 by paho-mqtt, known here alone.

Nothing is queued for a broker that is away: whoever publishes says it again once it is back (`came`).
"""

import asyncio
import logging
import socket
import ssl
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused

from .address import Address
from .topics import KEEP_ALIVE_S

try:
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode
    from paho.mqtt.subscribeoptions import SubscribeOptions
except ImportError:  # an extra: one service on one machine does without a broker
    mqtt = None  # type: ignore[assignment]

CONNECT_S, ANSWER_S = 5.0, 5.0
AGAIN_FIRST_S, AGAIN_LAST_S = 0.25, 3.0
MOST_BYTES = 4 * 1_048_576
"""Of a message that is let in at all: what is too long for its topic is to be seen and counted, not to be hidden."""
_CHUNK = 65_536
_TURN = 200
_log = logging.getLogger("tipdatum")

Reply = tuple[str, bytes]
"""Of a question: where its answer is wanted, and what that is to be marked with. Of an answer: "" and that mark."""
Heard = Callable[[str, bytes, Reply | None], None]
"""Topic, payload, and of a question or answer its mark."""


class Away(Exception):
    """The broker is not there, or does not let us do this."""


def driver_for(where: str) -> None:
    """Raise `Refused` "bad-setting" where the driver is not installed."""
    if mqtt is None:
        raise Refused([
            Fault("bad-setting", where, "no driver for MQTT", "the package paho-mqtt",
                  "install tipdatum with its extra: tipdatum[fleet]")
        ])  # fmt: skip


class Connection:
    """A connection that lasts: `came` is awaited each time it stands, `heard` is called with every message.

    `will`: a topic that the broker empties (retained) once this connection is gone. For one event loop.
    """

    def __init__(
        self, address: Address, name: str, *, heard: Heard, came: Callable[[], Awaitable[None]],
        went: Callable[[], None] = lambda: None, will: str | None = None, ca: Path | None = None,
    ) -> None:  # fmt: skip
        self._address, self._name, self._will, self._ca = address, name, will, ca
        self._heard, self._came, self._went = heard, came, went
        self._client: _Client | None = None
        self._lost: asyncio.Future[str] | None = None
        self._let_in: asyncio.Future[None] | None = None
        self._subscribing: dict[int, asyncio.Future[None]] = {}
        self._writing = False
        self.why = "not asked yet"
        """Why the broker is away; empty while it is here."""

    @property
    def here(self) -> bool:
        """Whether the broker has let us in and the connection stands."""
        return not self.why

    async def run(self) -> None:
        """Until cancelled: connect, and again after a while whenever that fails or ends."""
        wait = AGAIN_FIRST_S
        told = ""
        while True:
            try:
                await self._once()
            except Away as away:
                if self.here:
                    wait, told = AGAIN_FIRST_S, ""
                    self.why = str(away)
                    self._went()
                self.why = str(away)
            finally:
                self._drop()
            if self.why != told:  # once, not at every try until it is back
                told = self.why
                _log.warning("the broker %s is away: %s", self._address, told)
            await asyncio.sleep(wait)
            wait = min(2.0 * wait, AGAIN_LAST_S)

    async def _once(self) -> None:
        """One connection from its beginning to its end, which is told as `Away`."""
        loop = asyncio.get_running_loop()
        self._lost, self._let_in = loop.create_future(), loop.create_future()
        client = self._client = self._made()
        connecting = asyncio.ensure_future(
            asyncio.to_thread(client.connect, self._address.host, self._address.port, KEEP_ALIVE_S)
        )
        try:
            await asyncio.shield(connecting)
        except (OSError, ValueError) as error:
            raise Away(_words(error)) from None
        except asyncio.CancelledError:  # the thread cannot be: what it opens is closed
            connecting.add_done_callback(lambda _: client.end())
            raise
        client.begun(loop)
        beats = asyncio.ensure_future(self._beat(client))
        try:
            await self._first(self._let_in, CONNECT_S, "no answer from a broker")
            self.why = ""
            _log.warning("the broker %s is here", self._address)
            await self._came()
            raise Away(await self._lost)
        finally:
            beats.cancel()

    async def _beat(self, client: "_Client") -> None:
        while True:
            client.loop_misc()
            await asyncio.sleep(0.5)

    async def _first(self, wanted: "asyncio.Future[None]", within: float, late: str) -> None:
        """Until something wanted has come; `Away` where the connection is lost before or it takes too long."""
        assert self._lost is not None  # noqa: S101
        either: set[asyncio.Future[Any]] = {wanted, self._lost}
        done, _ = await asyncio.wait(either, timeout=within, return_when=asyncio.FIRST_COMPLETED)
        if wanted in done:
            wanted.result()
        else:
            raise Away(self._lost.result() if done else late)

    def _made(self) -> "_Client":
        client = _Client(self._name)
        address = self._address
        if address.user is not None:
            client.username_pw_set(address.user, address.password)
        if address.secure:
            try:
                client.tls_set_context(ssl.create_default_context(cafile=self._ca))
            except OSError as error:
                raise Away(f"the certificates cannot be read: {_words(error)}") from None
        if self._will is not None:
            client.will_set(self._will, None, qos=1, retain=True)
        client.connect_timeout = CONNECT_S
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        client.on_subscribe = self._subscribed
        client.on_message = self._message
        client.plainly = self._plainly
        return client

    def _connected(self, _client: Any, _data: Any, _flags: Any, code: "ReasonCode", _more: Any) -> None:
        let_in = self._let_in
        if let_in is None or let_in.done():
            return
        if code.is_failure:
            let_in.set_exception(Away(f"it does not let us in: {code}"))
        else:
            let_in.set_result(None)

    def _disconnected(self, _client: Any, _data: Any, _flags: Any, code: "ReasonCode", _more: Any) -> None:
        if self._lost is not None and not self._lost.done():
            self._lost.set_result(f"the connection has ended: {code}")

    def _subscribed(
        self, _client: Any, _data: Any, number: int, codes: "list[ReasonCode]", _more: Any
    ) -> None:
        waiting = self._subscribing.pop(number, None)
        if waiting is None or waiting.done():
            return
        refused = [code for code in codes if code.is_failure]
        if refused:
            waiting.set_exception(Away(f"it does not let us listen: {refused[0]}"))
        else:
            waiting.set_result(None)

    def _plainly(self, topic: str, payload: bytes) -> None:
        self._heard(topic, payload, None)

    def _message(self, _client: Any, _data: Any, message: "mqtt.MQTTMessage") -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return
        more, reply = message.properties, None
        if more is not None and (mark := getattr(more, "CorrelationData", None)) is not None:
            reply = getattr(more, "ResponseTopic", ""), mark
        self._heard(topic, message.payload, reply)

    def publish(
        self, topic: str, payload: str | bytes, *, qos: int = 0, retain: bool = False, reply: Reply | None = None,
        expires_s: int | None = None,
    ) -> None:  # fmt: skip
        """Send, if the broker is here, which forgets it after `expires_s`."""
        client = self._client
        if client is None or self.why:
            return
        more = None
        if reply is not None or expires_s is not None:
            more = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        if more is not None and expires_s is not None:
            more.MessageExpiryInterval = expires_s
        if more is not None and reply is not None:
            if reply[0]:
                more.ResponseTopic = reply[0]
            more.CorrelationData = reply[1]
        client.publish(topic, payload, qos, retain, more)

    async def subscribe(self, topics: Sequence[tuple[str, int]]) -> None:
        """Listen to topics, each with the most QoS; returns once the broker has said so. Raises `Away`."""
        client = self._client
        if client is None or self.why:
            raise Away(self.why)
        waiting: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        code, number = client.subscribe([(topic, SubscribeOptions(qos)) for topic, qos in topics])
        if code != mqtt.MQTT_ERR_SUCCESS or number is None:
            raise Away("the connection has ended")
        self._subscribing[number] = waiting
        await self._first(waiting, ANSWER_S, "no answer to a subscription")

    def unsubscribe(self, topics: Sequence[str]) -> None:
        """Listen to topics no more."""
        if self._client is not None and not self.why:
            self._client.unsubscribe(list(topics))

    def _drop(self) -> None:
        client, self._client = self._client, None
        self._subscribing.clear()
        if client is not None:
            client.end()

    async def close(self) -> None:
        """Say that we go (the will is then not told); `run` is to be cancelled after it."""
        client = self._client
        if client is not None and self.here:
            client.disconnect()
            client.flush()


def _words(error: Exception) -> str:
    """What went wrong, without anything that an address may hold."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not believed: {error.verify_message}"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return type(error).__name__


class _Socket:
    """A socket that reads ahead: paho asks for single bytes."""

    def __init__(self, plain: Any) -> None:
        self._socket, self._ahead, self._at = plain, b"", 0

    @property
    def more(self) -> bool:
        """Whether something was read ahead."""
        return self._at < len(self._ahead)

    def recv(self, most: int) -> bytes:
        if not self.more:
            self._ahead, self._at = self._socket.recv(_CHUNK), 0
        found = self._ahead[self._at : self._at + most]
        self._at += len(found)
        return found

    def __getattr__(self, name: str) -> Any:
        return getattr(self._socket, name)


if mqtt is not None:

    class _Client(mqtt.Client):
        """paho's client on an event loop: reads all that has come in one turn, writes in the next what a turn left."""

        def __init__(self, name: str) -> None:
            super().__init__(CallbackAPIVersion.VERSION2, name, protocol=mqtt.MQTTv5)
            self._events: asyncio.AbstractEventLoop | None = None
            self._file = -1
            self._due = self._waits = False
            self.plainly: Callable[[str, bytes], None] | None = None
            self.on_socket_register_write = self._wants
            self.on_socket_close = self._closes

        def _create_socket(self) -> Any:
            made: Any = super()._create_socket()
            made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._ahead = _Socket(made)
            return self._ahead

        def _ssl_wrap_socket(self, tcp_sock: Any) -> Any:
            """As paho does it, but for closing what is not believed."""
            context: Any = self._ssl_context
            wrapped = context.wrap_socket(tcp_sock, server_hostname=self._host, do_handshake_on_connect=False)
            try:
                wrapped.settimeout(CONNECT_S)
                wrapped.do_handshake()
            except BaseException:
                wrapped.close()
                raise
            return wrapped

        def connect(self, host: str, port: int, keepalive: int) -> Any:  # type: ignore[override]
            more = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            more.MaximumPacketSize = MOST_BYTES
            return super().connect(host, port, keepalive, clean_start=True, properties=more)

        def _handle_publish(self) -> Any:
            """A message of QoS 0 without properties, as frames of readings are: without all that paho makes of it, which
            costs more than reading the frame."""
            packet = self._in_packet["packet"]
            if self.plainly is not None and not self._in_packet["command"] & 0b110 and len(packet) > 2:
                end = 2 + (packet[0] << 8 | packet[1])
                if end < len(packet) and not packet[end]:
                    try:
                        topic = packet[2:end].decode()
                    except UnicodeDecodeError:
                        return mqtt.MQTT_ERR_PROTOCOL
                    self.plainly(topic, bytes(packet[end + 1 :]))
                    return mqtt.MQTT_ERR_SUCCESS
            return super()._handle_publish()

        def begun(self, loop: asyncio.AbstractEventLoop) -> None:
            """Connected, in a thread: from now on the loop reads and writes."""
            self._events, self._file = loop, self._ahead.fileno()
            loop.add_reader(self._file, self._reads)
            self._writes()

        def _reads(self) -> None:
            self.loop_read()
            for _ in range(_TURN):  # then others have their turn
                if self._file < 0 or not self._ahead.more:
                    return
                self.loop_read()
            if self._events is not None and self._ahead.more:
                self._events.call_soon(self._reads_on)

        def _reads_on(self) -> None:
            if self._file >= 0 and self._ahead.more:
                self._reads()

        def _wants(self, *_: Any) -> None:
            if self._events is not None and not self._due and not self._waits:
                self._due = True
                self._events.call_soon(self._writes)

        def _writes(self) -> None:
            self._due = False
            if self._file < 0:
                return
            self.loop_write()
            wants = self._file >= 0 and self.want_write()
            if self._events is None or wants == self._waits:
                return
            self._waits = wants
            if wants:
                self._events.add_writer(self._file, self._writes)
            elif self._file >= 0:
                self._events.remove_writer(self._file)

        def flush(self) -> None:
            """Write what can be written now."""
            self.loop_write()

        def _closes(self, *_: Any) -> None:
            if self._events is not None and self._file >= 0:
                self._events.remove_reader(self._file)
                self._events.remove_writer(self._file)
            self._file = -1

        def end(self) -> None:
            """Nothing more of it, wherever it stands."""
            self.on_connect = self.on_disconnect = self.on_message = self.on_subscribe = self.plainly = None
            self.disconnect()
            self.loop_write()
            self._sock_close()
