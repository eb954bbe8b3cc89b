"""Behind a proxy that ends TLS: what it says of the sender is believed, and nothing that did not come through it."""

from collections.abc import Mapping
from ipaddress import IPv6Address, ip_address

from starlette.types import Scope

from service.text import FaultOut, fault

_THROUGH = "a request through the proxy that tipdatum serve --proxy names, which sets {header} itself"


def through(scope: Scope, headers: Mapping[str, list[str]], proxy: str) -> FaultOut | None:
    """Put sender and scheme, as the proxy tells them, into the scope; the fault of what did not come so.

    The last of X-Forwarded-For is what the proxy saw; what stands before it was sent by others. X-Forwarded-Proto must
    be https: a proxy that lets plain requests in gives tokens away.
    """
    peer = scope.get("client")
    if peer is None or _address(peer[0]) != _address(proxy):
        return fault(
            "not-by-proxy",
            f"a request from {None if peer is None else peer[0]}",
            _THROUGH.format(header="Host"),
        )
    said = [part.strip() for each in headers.get("x-forwarded-for", []) for part in each.split(",")]
    if not said or _address(said[-1]) is None:
        return fault(
            "not-by-proxy", "no address in X-Forwarded-For", _THROUGH.format(header="X-Forwarded-For")
        )
    if headers.get("x-forwarded-proto", []) != ["https"]:
        found = ", ".join(headers.get("x-forwarded-proto", [])) or "none"
        return fault(
            "not-by-proxy", f"X-Forwarded-Proto {found!r}", "https: TLS ends at the proxy, and nowhere else"
        )
    scope["client"] = (said[-1], 0)
    scope["scheme"] = "wss" if scope["type"] == "websocket" else "https"
    return None


def _address(text: str) -> str | None:
    try:
        address = ip_address(text)
    except ValueError:
        return None
    mapped = address.ipv4_mapped if isinstance(address, IPv6Address) else None
    return str(mapped or address)
