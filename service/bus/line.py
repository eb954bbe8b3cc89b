"""One connection to an MQTT broker, by paho-mqtt's threads. Made anew after each break: what is sent again is our own
numbers' affair, and the library keeps nothing from before."""

import secrets
import socket
import ssl
import threading
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kinematics.errors import Fault, Refused
from service.broker.address import Address

if TYPE_CHECKING:
    from paho.mqtt.client import Client

_BROKEN = 128
"""The library's own word for a connection that ended without one of the broker's."""
KEEP_ALIVE_S, CONNECTED_WITHIN_S = 10, 10.0
_FOR_GOOD = frozenset({132, 133, 134, 135, 138, 140})
"""CONNACK: protocol version, client id, user or password, not authorised, banned, method (MQTT 5, 3.2.2.2)."""


def mqtt() -> Any:
    """The library's module. Raises `Refused` "not-installed"."""
    try:
        return import_module("paho.mqtt.client")  # an extra: without a broker it is not needed
    except ImportError as error:
        raise Refused([
            Fault("not-installed", "--broker", str(error), "the MQTT library",
                  "install tipdatum with its extra: tipdatum[fleet]")
        ]) from None  # fmt: skip


class Line:
    """A connection that hears one topic. `hear` gets each payload, `broke` is called once at a break, both on a thread of
    the library's; where `hear` raises, the connection breaks."""

    def __init__(
        self, address: Address, ca: Path | None, topic: str, name: str, hear: Callable[["Line", bytes], None],
        broke: Callable[[], None],
    ) -> None:  # fmt: skip
        self.address, self._ca, self._topic = address, ca, topic
        self._hear, self._broke = hear, broke
        self._library = mqtt()
        self._client: Client | None = None
        self._name = f"tipdatum-{name}-{secrets.token_hex(4)}"
        self._settled = threading.Event()
        self._why = ""
        self.for_good = self.alive = False

    def open(self) -> str:
        """Connect and subscribe; why it failed, "" where it did not. `for_good`: the broker turned us down."""
        library = self._library
        client: Client = library.Client(
            library.CallbackAPIVersion.VERSION2,
            self._name,
            protocol=library.MQTTv5,
            reconnect_on_failure=False,
        )
        client.connect_timeout = CONNECTED_WITHIN_S
        client.on_socket_open = _at_once
        client.on_connect, client.on_subscribe = self._connected, self._subscribed
        client.on_message, client.on_disconnect = self._message, self._disconnected
        address = self.address
        if address.user is not None:
            client.username_pw_set(address.user, address.password)
        try:
            if address.secure:
                client.tls_set_context(_trusting(self._ca))
            client.connect(address.host, address.port, keepalive=KEEP_ALIVE_S, clean_start=True)
        except (OSError, ValueError) as error:
            return str(error) or type(error).__name__
        self._client = client
        client.loop_start()
        if not self._settled.wait(CONNECTED_WITHIN_S):
            self._why = "the broker does not answer"
        if self._why:
            self.close()
        return self._why

    def publish(self, topic: str, payload: str, *, qos: int) -> None:
        """Send once; nothing where the connection has gone."""
        if self.alive and self._client is not None:
            self._client.publish(topic, payload, qos=qos)

    def close(self) -> None:
        """Leave the broker."""
        client, self._client = self._client, None
        if client is not None:
            client.disconnect()
            client.loop_stop()
        self.alive = False

    # On the library's thread.

    def _connected(self, client: "Client", _: Any, __: Any, code: Any, ___: Any) -> None:
        if code.is_failure:
            self._why, self.for_good = f"the broker says: {code}", code.value in _FOR_GOOD
            self._settled.set()
        else:
            client.subscribe(self._topic, qos=1)

    def _subscribed(self, _: "Client", __: Any, ___: int, codes: list[Any], ____: Any) -> None:
        if any(code.is_failure for code in codes):
            self._why, self.for_good = f"the broker does not let us hear {self._topic}: {codes[0]}", True
        else:
            self.alive = True
        self._settled.set()

    def _message(self, _: "Client", __: Any, message: Any) -> None:
        self._hear(self, message.payload)

    def _disconnected(self, _: "Client", __: Any, ___: Any, code: Any, ____: Any) -> None:
        if not self._settled.is_set():
            self._why = f"the broker ended the connection: {code}"
            self._settled.set()
        elif self.alive:
            self.alive = False
            self._why = str(code) if code.value != _BROKEN else "the connection broke"
            self._broke()

    @property
    def why(self) -> str:
        """Why it is not connected any more."""
        return self._why


def _at_once(_: "Client", __: Any, made: Any) -> None:
    """Small frames go on their way without waiting for the acknowledgement of those before."""
    made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


class _Secured(ssl.SSLSocket):
    """Closed where no handshake comes about: the library lets go of it."""

    def do_handshake(self, block: bool = False) -> None:  # noqa: FBT001, FBT002 - as the standard library has it
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def _trusting(ca: Path | None) -> ssl.SSLContext:
    context = ssl.create_default_context(cafile=None if ca is None else str(ca))
    context.sslsocket_class = _Secured
    return context
