"""Running the service: bind first, print the address once it answers, stop cleanly."""

import socket
from pathlib import Path
from typing import Any

import uvicorn
from pydantic import ValidationError

from kinematics.errors import Fault, Refused

from .app import create_app, open_store
from .settings import PREFIX, Settings
from .store import StoreError
from .text import shown, wanted

_OPTIONS = {"data_folder": "--data", "host": "--host", "port": "--port"}


def run(data: Path, host: str, port: int) -> None:
    """Serve until stopped. `Refused` for a bind, a port or a database that cannot be used."""
    try:
        settings = Settings(data_folder=data, host=host, port=port)
    except ValidationError as error:
        raise Refused(_setting_faults(error)) from None
    listener = bind(settings.host, settings.port)
    try:
        _try_store(settings)
        application = create_app(settings)
        address = _address(listener)
        config = uvicorn.Config(
            application, log_level="warning", server_header=False, timeout_graceful_shutdown=5, lifespan="on"
        )
        _Server(
            config, f"tipdatum serves at {address} (data in {settings.data_folder}). Stop with Ctrl-C."
        ).run(sockets=[listener])
    except StoreError as error:
        raise Refused([Fault("database", "--data", str(error), "a database of this release")]) from None
    finally:
        listener.close()


def _try_store(settings: Settings) -> None:
    """Say what is wrong with folder or database before a server is started around them."""
    try:
        open_store(settings).close()
    except OSError as error:
        found = f"{settings.data_folder}: {error.strerror or error}"
        raise Refused([
            Fault("bad-setting", "--data", found, "a folder that can be made and written")
        ]) from None  # fmt: skip


class _Server(uvicorn.Server):
    """Says where it is once it is ready to answer."""

    def __init__(self, config: uvicorn.Config, ready: str) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        if self.started and not self.should_exit:
            print(self._ready, flush=True)


def bind(host: str, port: int) -> socket.socket:
    """A socket on a free port, or `Refused` "port-taken"."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Named TCP: the event loop switches Nagle off only then, else every answer waits some 40 ms for an acknowledgement.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen()  # now, not when the server is ready: two starts at once must not both have the port
    except OSError as error:
        listener.close()
        raise Refused([
            Fault("port-taken", "--port", f"{host} port {port}: {error.strerror}", "a free port",
                  "stop what uses it, or choose another")
        ]) from None  # fmt: skip
    return listener


def _address(listener: socket.socket) -> str:
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


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
    found = str(value) if isinstance(value, Path) else shown(value)
    return Fault("bad-setting", where, found, wanted(kind, limits, message)[1])
