"""How fast somebody may ask: a token bucket for each name or address, in the memory of this process."""

import math
from collections import OrderedDict
from collections.abc import Callable
from ipaddress import IPv6Address, ip_address
from time import monotonic

_MOST_KEYS = 10_000


class Pace:
    """`at_once` requests, then `per_s` a second, for each key apart. For one thread: the event loop's.

    A bucket of 3 that fills with 1 a second lets 3 requests through at once and tells the fourth to wait 1 s.
    Keys beyond 10 000 push out the one not seen for longest, so that a flood of addresses cannot grow it.
    """

    def __init__(self, per_s: float, at_once: float, clock: Callable[[], float] = monotonic) -> None:
        self._per_s, self._most, self._clock = per_s, at_once, clock
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, key: str) -> float:
        """Take one; 0 if it was there, else the seconds until it will be (and nothing is taken)."""
        wait = self.wait(key)
        if wait == 0.0:
            left, when = self._left[key]
            self._left[key] = left - 1.0, when
        return wait

    def wait(self, key: str) -> float:
        """The seconds until there is one to take; 0 for now."""
        now = self._clock()
        left, when = self._left.get(key, (self._most, now))
        left = min(self._most, left + (now - when) * self._per_s)
        self._left[key] = left, now
        self._left.move_to_end(key)
        if len(self._left) > _MOST_KEYS:
            self._left.popitem(last=False)
        return 0.0 if left >= 1.0 else (1.0 - left) / self._per_s


def whole_seconds(wait: float) -> str:
    """A Retry-After header: whole seconds, at least one."""
    return str(max(1, math.ceil(wait)))


def sender(client: tuple[str, int] | None) -> str:
    """The key of an address: of IPv6 the /64, of this machine all, within which a sender chooses addresses freely."""
    if client is None:
        return "unknown"
    try:
        address = ip_address(client[0])
    except ValueError:
        return client[0]
    mapped = address.ipv4_mapped if isinstance(address, IPv6Address) else None
    known = mapped or address
    if known.is_loopback:
        return "loopback"
    return f"{IPv6Address(int(known) >> 64 << 64)}/64" if isinstance(known, IPv6Address) else str(known)
