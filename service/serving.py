"""Running the service: bind first, print the address once it answers, stop cleanly."""

import errno
import gc
import logging
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uvicorn
from pydantic import ValidationError
from starlette.types import ASGIApp
from uvicorn.config import LOGGING_CONFIG

from kinematics.errors import Fault, Refused

from .access.holders import Holders
from .app import create_app, open_store
from .broker.client import driver_for
from .live.frames import MOST_BYTES
from .patience import MOST_HEAD, reader
from .secret import hide
from .settings import DATABASE, LOOPBACK, MQTT, PREFIX, Settings
from .store import StoreError, utc_now
from .text import shown, wanted
from .watching import log_as_objects

MOST_CONNECTIONS = 1000
# A viewer that has gone without a word is noticed after these two.
PING_EVERY_S, PONG_WITHIN_S = 5.0, 10.0
# What was sent and not acknowledged for so long breaks a connection (RFC 5482); else a vanished viewer stays for minutes.
UNACKNOWLEDGED_MS = 20_000
_OPTIONS = {
    "data_folder": "--data", "host": "--host", "port": "--port", "names": "--name", "access": "--access",
    "tls_certificate": "--tls-certificate", "tls_key": "--tls-key", "proxy": "--proxy", "unencrypted": "--unencrypted",
}  # fmt: skip


def run(**given: Any) -> None:
    """Serve until stopped. `Refused` for a bind, a port, a certificate or a database that cannot be used.

    `given`: settings by name; those that are None are left to the environment and the defaults.
    """
    try:
        settings = Settings(**{name: value for name, value in given.items() if value is not None})
    except ValidationError as error:
        raise Refused(_setting_faults(error)) from None
    if settings.mqtt is not None:
        driver_for(MQTT)
    listener = bind(settings.host, settings.port)
    try:
        _try_store(settings)
        app = create_app(settings)
        config = configured(app, settings)
        _load(config, settings)
        logging.getLogger("uvicorn.error").addFilter(_no_refused_socket)
        if settings.logs == "json":
            log_as_objects(hide)

        def closing() -> None:
            app.state.hub.close()  # there once it has started

        _Server(config, _ready(listener, settings), closing).run(sockets=[listener])
    except StoreError as error:
        raise Refused(
            [Fault("database", _where(settings), str(error), "a database of this release")]
        ) from None
    finally:
        listener.close()


def configured(app: ASGIApp, settings: Settings) -> uvicorn.Config:
    """How an application is served."""
    return uvicorn.Config(
        app, log_level="warning", server_header=False, timeout_graceful_shutdown=5, lifespan="on",
        proxy_headers=False,  # what a proxy says is read by the guard
        log_config=None if settings.logs == "json" else LOGGING_CONFIG,
        # Strangers may come: the reader of HTTP that keeps to the letter of it, and an end to connections.
        http=reader(strict=settings.access), h11_max_incomplete_event_size=MOST_HEAD,
        limit_concurrency=MOST_CONNECTIONS if settings.access else None,
        # Compression would cost every viewer its memory, for texts that change too much to gain.
        ws_max_size=MOST_BYTES, ws_per_message_deflate=False, ws_ping_interval=PING_EVERY_S,
        ws_ping_timeout=PONG_WITHIN_S, ssl_certfile=settings.tls_certificate, ssl_keyfile=settings.tls_key,
    )  # fmt: skip


def _load(config: uvicorn.Config, settings: Settings) -> None:
    """Read certificate and key now; `Refused` where they cannot be read or do not belong together."""
    try:
        config.load()
    except OSError as error:  # ssl.SSLError is one
        if settings.tls_certificate is None:
            raise
        found = f"{settings.tls_certificate} with {settings.tls_key}: {error.strerror or error}"
        raise Refused([
            Fault("bad-setting", "--tls-certificate", found, "a certificate in PEM and the private key of it")
        ]) from None  # fmt: skip


def _ready(listener: socket.socket, settings: Settings) -> str:
    host, port = listener.getsockname()[:2]
    secure = settings.tls_certificate is not None
    address = f"http{'s' if secure else ''}://{f'[{host}]' if ':' in host else host}:{port}"
    who = ""
    if settings.access:
        who = f" to holders of a token, asked by {', '.join(settings.hosts)}"
        if settings.host not in LOOPBACK and not secure and settings.proxy is None:
            who += ", WITHOUT TLS: whoever listens on the network has the tokens"
    return f"tipdatum serves at {address}{who} (data in {_kept(settings)}). Stop with Ctrl-C."


def _where(settings: Settings) -> str:
    return "--data" if settings.database is None else DATABASE


def _kept(settings: Settings) -> str:
    folder = str(settings.data_folder)
    return folder if settings.database is None else f"the database of {DATABASE}, studies in {folder}"


def _try_store(settings: Settings) -> None:
    """Say what is wrong with folder or database before a server is started around them."""
    try:
        with open_store(settings) as database:
            if settings.access and not Holders(database, utc_now).any_good():
                there = f" --data {settings.data_folder}" if settings.database is None else ""
                raise Refused([
                    Fault("no-holder", "--access", "nobody who could be let in", "a holder of a token",
                          f"tipdatum access create NAME --role administrator{there}")
                ])  # fmt: skip
    except OSError as error:
        found = f"{settings.data_folder}: {error.strerror or error}"
        raise Refused([
            Fault("bad-setting", "--data", found, "a folder that can be made and written")
        ]) from None  # fmt: skip


class _Server(uvicorn.Server):
    """Says where it is once it is ready to answer."""

    def __init__(self, config: uvicorn.Config, ready: str, closing: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready, self._closing = ready, closing

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        print(
            "Starting; the very first start takes a minute or so longer.",
            file=sys.stderr,
            flush=True,
        )
        await super().startup(sockets=sockets)
        if self.started and not self.should_exit:
            # What is there now stays: the collector, which holds up every stream, need not look through it each time.
            gc.collect()
            gc.freeze()
            print(self._ready, flush=True)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        if self.started:
            self._closing()
        await super().shutdown(sockets=sockets)


def _no_refused_socket(record: logging.LogRecord) -> bool:
    """uvicorn calls it an error that a WebSocket was refused with a document, which is what its extension is for."""
    return record.getMessage() != "ASGI callable returned without completing handshake."


def bind(host: str, port: int) -> socket.socket:
    """A socket on a free port, or `Refused` "port-taken"."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Named TCP: the event loop switches Nagle off only then, else every answer waits some 40 ms for an acknowledgement.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    if hasattr(socket, "TCP_USER_TIMEOUT"):  # Linux; what is accepted has it from here
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, UNACKNOWLEDGED_MS)
    try:
        listener.bind((host, port))
        listener.listen()  # now, not when the server is ready: two starts at once must not both have the port
    except OSError as error:
        listener.close()
        if error.errno == errno.EADDRNOTAVAIL:
            raise Refused([
                Fault("bad-setting", "--host", f"{host}: {error.strerror}", "an address that this machine has")
            ]) from None  # fmt: skip
        raise Refused([
            Fault("port-taken", "--port", f"{host} port {port}: {error.strerror}", "a free port",
                  "stop what uses it, or choose another")
        ]) from None  # fmt: skip
    return listener


def _setting_faults(error: ValidationError) -> list[Fault]:
    return [_setting_fault(each["type"], each["loc"], each["input"], each.get("ctx", {}), each["msg"])
            for each in error.errors()]  # fmt: skip


def _setting_fault(
    kind: str, place: tuple[int | str, ...], value: object, limits: dict[str, Any], message: str
) -> Fault:
    if kind == "unknown-setting":
        return Fault(
            "bad-setting", "the environment", limits["unknown"], "one of " + limits["known"], "unset it"
        )
    name = ".".join(map(str, place))
    where = _OPTIONS.get(name, PREFIX + name.upper())
    found = (
        str(limits["found"]) if "found" in limits else str(value) if isinstance(value, Path) else shown(value)
    )
    if isinstance(value, list | tuple) and all(isinstance(each, str) for each in value):
        found = ", ".join(map(shown, value)) or "none"
    return Fault("bad-setting", where, found, wanted(kind, limits, message)[1])
