"""The bucket that slows: never more than it says, and the wait it tells is the right one. The clock is the test's own."""

import math
from ipaddress import IPv4Address

from hypothesis import assume, given
from hypothesis import strategies as st

from service.access import pace
from service.access.pace import Pace, sender, whole_seconds

# The clock of a request is read to some microseconds.
CLOCK_S = 1e-6
RATES = st.floats(0.01, 1000.0)
SIZES = st.integers(1, 500)
STEPS = st.lists(st.floats(0.0, 30.0), min_size=1, max_size=80)


class Ticks:
    """Seconds, put forward by hand."""

    def __init__(self) -> None:
        self.s = 0.0

    def __call__(self) -> float:
        return self.s


@given(per_s=RATES, at_once=SIZES, steps=STEPS, tries=st.integers(1, 40))
def test_never_more_than_it_says_in_any_window(
    per_s: float, at_once: int, steps: list[float], tries: int
) -> None:
    clock = Ticks()
    bucket = Pace(per_s, at_once, clock)
    let_through: list[float] = []
    for step in steps:
        clock.s += step
        let_through += [clock.s for _ in range(tries) if bucket.take("a") == 0.0]
    assert len(let_through) >= 1
    for first in range(len(let_through)):
        for last in range(first, len(let_through), 7):
            window = let_through[last] - let_through[first]
            assert last - first + 1 <= at_once + per_s * window + 1e-6


@given(per_s=RATES, at_once=SIZES)
def test_so_many_at_once_and_not_one_more(per_s: float, at_once: int) -> None:
    bucket = Pace(per_s, at_once, Ticks())
    assert [bucket.take("a") for _ in range(at_once)] == [0.0] * at_once
    assert bucket.take("a") > 0.0


@given(per_s=RATES, at_once=SIZES, steps=STEPS)
def test_the_wait_is_exact(per_s: float, at_once: int, steps: list[float]) -> None:
    clock = Ticks()
    bucket = Pace(per_s, at_once, clock)
    for step in steps:
        clock.s += step
        while (wait := bucket.take("a")) == 0.0:
            pass
        assert math.isfinite(wait)
        assert 0.0 < wait <= 1.0 / per_s
        asked = clock.s
        if wait > 3 * CLOCK_S:
            clock.s = asked + wait - 2 * CLOCK_S
            assert bucket.wait("a") > 0.0, "it went through a moment too early"
        clock.s = asked + wait + CLOCK_S
        assert bucket.take("a") == 0.0, "it did not go through after the wait"


@given(per_s=RATES, at_once=SIZES, tries=st.integers(1, 50))
def test_asking_in_vain_costs_nothing(per_s: float, at_once: int, tries: int) -> None:
    bucket = Pace(per_s, at_once, Ticks())
    while bucket.take("a") == 0.0:
        pass
    waits = {bucket.take("a") for _ in range(tries)} | {bucket.wait("a") for _ in range(tries)}
    assert len(waits) == 1


@given(keys=st.sets(st.sampled_from("abcdefghij"), min_size=2), at_once=st.integers(1, 9))
def test_each_key_apart(keys: set[str], at_once: int) -> None:
    bucket = Pace(1.0, at_once, Ticks())
    for key in keys:
        assert [bucket.take(key) == 0.0 for _ in range(at_once + 1)] == [True] * at_once + [False]


@given(wait=st.floats(1e-9, 1e6))
def test_told_in_whole_seconds(wait: float) -> None:
    told = whole_seconds(wait)
    assert told.isdigit()
    assert int(told) >= 1
    assert wait <= int(told) < wait + 1 or told == "1"


def test_a_bucket_is_never_fuller_than_full() -> None:
    clock = Ticks()
    bucket = Pace(10.0, 3, clock)
    assert bucket.wait("a") == 0.0
    clock.s = 1e9
    assert [bucket.take("a") == 0.0 for _ in range(4)] == [True, True, True, False]


def test_a_flood_of_addresses_takes_bounded_memory() -> None:
    clock = Ticks()
    bucket = Pace(1.0, 1, clock)
    for number in range(20_000):
        bucket.take(str(number))
        assert len(bucket._left) <= pace._MOST_KEYS
    assert len(bucket._left) == 10_000
    assert bucket.take("19999") > 0.0, "the last is still known"
    assert bucket.take("10000") > 0.0
    assert bucket.take("9999") == 0.0, "the first were pushed out"


def test_one_that_goes_on_asking_is_not_pushed_out() -> None:
    bucket = Pace(1.0, 1, Ticks())
    for number in range(20_000):
        bucket.take(str(number))
        assert (bucket.take("guesser") > 0.0) == (number > 0)


# Addresses


@given(st.ip_addresses(v=4))
def test_of_ipv4_the_address(address: IPv4Address) -> None:
    """Of this machine all: whoever is on it chooses among sixteen million."""
    key = "loopback" if address.is_loopback else str(address)
    assert sender((str(address), 1)) == key
    # As a listener on both tells of it.
    assert sender((f"::ffff:{address}", 1)) == key


def test_of_this_machine() -> None:
    assert {sender((text, 1)) for text in ("127.0.0.1", "127.9.9.9", "::1", "::ffff:127.0.0.1")} == {
        "loopback"
    }


@given(network=st.integers(0, 2**64 - 1), one=st.integers(0, 2**64 - 1), other=st.integers(0, 2**64 - 1))
def test_of_ipv6_the_64(network: int, one: int, other: int) -> None:
    from ipaddress import IPv6Address  # noqa: PLC0415

    assume(network not in {0, 1})
    low, high = (str(IPv6Address(network << 64 | host)) for host in (one, other))
    assert sender((low, 1)) == sender((high, 2))
    assert sender((low, 1)).endswith("/64")
    assert sender((low, 1)) != sender((str(IPv6Address((network ^ 1) << 64 | one)), 1))


def test_addresses_of_another_kind() -> None:
    assert sender(None) == "unknown"
    assert sender(("a-pipe", 0)) == "a-pipe"
    assert sender(("fe80::1%eth0", 0)) == sender(("fe80::2", 0)) == "fe80::/64"
