"""The way to a service: its address, for a WebSocket, or a broker's, with a spool."""

import os
import re
import socket
import ssl
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from kinematics.errors import Fault, Refused
from service.broker import address as broker_address
from service.broker.address import Address

from .any_feeder import AnyFeeder, Say
from .feeder import Feeder
from .spool import Spool

PACK_S = 0.04
"""At most 25 frames a second: so the 300 that a keeper may hold back are the 12 s that a crossing hangs on."""
MQTT, MQTT_CA = "TIPDATUM_MQTT", "TIPDATUM_MQTT_CA"
_NAME = re.compile(r"[a-z0-9-]{1,40}")


@dataclass(frozen=True, slots=True)
class Through:
    """A broker, what this machine side is called there, and the spool; `spool` None: in `folder`."""

    address: Address
    name: str
    folder: Path
    spool: Path | None = None
    ca: Path | None = None


def through(
    broker: str | None, spool: Path | None, name: str | None, folder: Path, *, unencrypted: bool = False
) -> Through | None:  # fmt: skip
    """The broker that options or TIPDATUM_MQTT name; None where neither does. Raises `Refused` with all faults."""
    text = os.environ.get(MQTT) or None
    faults: list[Fault] = []
    if broker is not None and text is not None:
        faults.append(
            Fault("bad-option", "--broker", f"an address beside {MQTT}", "one of the two", f"unset {MQTT}")
        )
    address = None
    try:
        if broker is not None:
            address = broker_address.parse(broker, "--broker")
        elif text is not None:
            address = broker_address.parse(text, MQTT)
    except Refused as refused:
        faults += refused.faults
    faults += _faults(address, broker, spool, name, unencrypted=unencrypted)
    faults += _authority_faults(address)
    if faults:
        raise Refused(faults)
    if address is None:
        return None
    return Through(address, name or _host(), folder, spool, _authority())


def feeder_to(to: str, job: str, token: str | None, say: Say, by: Through | None) -> AnyFeeder:
    """A feeder of the job: `by` a broker, else by a WebSocket to the service at `to`. Raises `Refused` as both do."""
    if by is None:
        return Feeder(to, job, token, say)
    from .broker_feeder import BrokerFeeder  # noqa: PLC0415 - its library is an extra
    from .line import mqtt  # noqa: PLC0415

    mqtt()
    file = by.folder / f"spool-{job}-{by.name}.sqlite" if by.spool is None else by.spool
    spool = Spool(file, f"{job} by {by.name}", pack_s=PACK_S)
    say(f"By the broker at {by.address}, as {by.name}; what waits is kept in {file}.")
    return BrokerFeeder(by.address, job, by.name, spool, token, say, ca=by.ca)


def _faults(
    address: Address | None, broker: str | None, spool: Path | None, name: str | None, *, unencrypted: bool
) -> Iterator[Fault]:  # fmt: skip
    if broker is not None and address is not None and address.password is not None:
        yield Fault("bad-option", "--broker", "a password on the command line, which others see",
                    "an address without one", f"put the whole address into {MQTT}")  # fmt: skip
    if address is not None and not (address.secure or address.loopback or unencrypted):
        yield Fault("bad-option", "--broker", f"{address} without TLS", "mqtts:// beyond this computer",
                    "or knowingly --unencrypted: whoever listens on the network has password and token")  # fmt: skip
    if name is not None and not _NAME.fullmatch(name):
        yield Fault("bad-option", "--as", name[:50], "1 to 40 of a-z, 0-9 and -")
    if broker is None and not os.environ.get(MQTT):
        for option, given in (("--spool", spool), ("--as", name)):
            if given is not None:
                yield Fault("bad-option", option, str(given), f"a broker with it: --broker, or {MQTT}")


def _authority() -> Path | None:
    ca = os.environ.get(MQTT_CA)
    return Path(ca) if ca else None


def _authority_faults(address: Address | None) -> Iterator[Fault]:
    ca = _authority()
    if ca is None or address is None:
        return
    if not address.secure:
        yield Fault("bad-setting", MQTT_CA, f"{ca} beside {address}", "an authority only with mqtts://")
        return
    try:
        ssl.create_default_context(cafile=str(ca))
    except OSError as error:  # ssl.SSLError is one
        yield Fault("bad-setting", MQTT_CA, f"{ca}: {error.strerror or error}", "a certificate in PEM")


def _host() -> str:
    """This computer's name, as far as a topic takes it."""
    name = re.sub(r"[^a-z0-9-]+", "-", socket.gethostname().partition(".")[0].lower()).strip("-")
    return name[:40] or "machine"
