"""The address of a running service, as options give it."""

from collections.abc import Iterator
from urllib.parse import urlsplit

from kinematics.errors import Fault
from service.text import shown


def address_faults(address: str) -> Iterator[Fault]:
    """The fault of what is no address of a service: no http or https, no host, port 0."""
    try:
        parts = urlsplit(address)
        good = parts.scheme in {"http", "https"} and bool(parts.hostname) and parts.port != 0
    except ValueError:  # a port that is no number, brackets that do not close
        good = False
    if not good:
        yield Fault("bad-option", "--to", shown(address), "an address such as http://127.0.0.1:8311")
