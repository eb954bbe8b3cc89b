"""Guessing is slowed by address, and a flood by address and by holder. The clock is the test's own."""

import asyncio
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from service.access import pace
from service.access.admission import Access
from service.secret import mint

from .making import UNHURRIED, VIEWER, Site, forged, outcome
from .test_pace import Ticks

WHO = "/v1/sessions/current"
HERE, THERE = "192.0.2.1", "192.0.2.2"  # of the documentation block (RFC 5737)
FORGIVEN, PER_S = 20, 1 / 3


@pytest.fixture
def ticks() -> Ticks:
    return Ticks()


def hurried(site: Site, ticks: Ticks, per_s: float = 1e6, at_once: float = 1e6) -> Site:
    """The site with buckets that are full and fill by these ticks."""
    access = Access(
        site.app.state.database,
        site.now,
        per_s=per_s,
        at_once=at_once,
        session_hours=12.0,
        steady=site.steady,
    )
    for bucket in (access._senders, access._holders, access._failures):
        bucket._clock = ticks
    site.app.state.access = access
    return site


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with Site(tmp_path_factory.mktemp("data")) as opened:
        yield opened


@pytest.fixture(scope="module")
def good(one: Site) -> str:
    return one.create("vera", VIEWER)


def retry_after(answer: httpx.Response) -> int:
    assert outcome(answer) == (429, "too-many-requests")
    text = answer.headers["retry-after"]
    assert text.isdigit()
    assert int(text) >= 1
    [fault] = answer.json()["errors"]
    assert fault["code"] == "too-many-requests"
    assert int(text) - 1 < fault["numbers"]["wait_s"] <= int(text)
    return int(text)


@pytest.mark.parametrize("kind", ["forged", "unknown", "cut off", "as a session", "to sign in"])
def test_the_twenty_first_wrong_token_is_told_to_wait(one: Site, good: str, ticks: Ticks, kind: str) -> None:
    site = hurried(one, ticks)

    def guess() -> httpx.Response:
        match kind:
            case "as a session":
                return site.ask("GET", WHO, cookie=forged(good), sender=HERE)
            case "to sign in":
                return site.ask("POST", "/v1/sessions", {"token": forged(good)}, sender=HERE)
            case "forged":
                return site.ask("GET", WHO, token=forged(good), sender=HERE)
            case "unknown":
                return site.ask("GET", WHO, token=mint().text, sender=HERE)
        return site.ask("GET", WHO, token=good[:-1], sender=HERE)

    assert [guess().status_code for _ in range(FORGIVEN)] == [401] * FORGIVEN
    assert retry_after(guess()) == 3
    # A right one from there goes through: whoever guesses behind the same address must not lock the cab out.
    for place in (HERE, THERE):
        assert site.ask("GET", WHO, token=good, sender=place).status_code == 200
    assert site.ask("POST", "/v1/sessions", {"token": good}, sender=HERE).status_code == 201
    assert site.ask("GET", "/v1/health", sender=HERE).status_code == 200
    ticks.s += 2.999
    assert retry_after(guess()) == 1
    ticks.s += 0.002
    assert site.ask("GET", WHO, token=good, sender=HERE).status_code == 200
    assert guess().status_code == 401
    assert guess().status_code == 429


def test_over_time_one_guess_in_three_seconds(one: Site, good: str, ticks: Ticks) -> None:
    site = hurried(one, ticks)
    looked_at = 0
    seconds = 90
    for _ in range(seconds):
        looked_at += site.ask("GET", WHO, token=forged(good), sender=HERE).status_code == 401
        ticks.s += 1.0
    assert FORGIVEN < looked_at <= FORGIVEN + seconds * PER_S


def test_guesses_sent_all_at_once(one: Site, good: str, ticks: Ticks) -> None:
    """All are asked before any has failed; those beyond the limit are told nothing all the same."""
    site = hurried(one, ticks)
    wrong = [forged(good) for _ in range(119)]

    async def flood() -> list[httpx.Response]:
        sent = [site.asking("GET", WHO, token=token, sender=HERE) for token in [*wrong, good]]
        return await asyncio.gather(*sent)

    statuses = [answer.status_code for answer in site.run(flood())]
    assert statuses.count(401) == FORGIVEN
    assert statuses.count(429) == 99
    assert statuses[-1] == 200


@pytest.mark.parametrize("address", ["2001:db8::{}", "2001:db8:0:0:{}::1"])
def test_addresses_of_one_ipv6_network_guess_together(
    one: Site, good: str, ticks: Ticks, address: str
) -> None:
    site = hurried(one, ticks)
    statuses = [
        site.ask("GET", WHO, token=forged(good), sender=address.format(f"{number:x}")).status_code
        for number in range(1, 30)
    ]
    assert statuses == [401] * FORGIVEN + [429] * 9


def test_what_counts_or_once_did_is_no_guess(one: Site, ticks: Ticks, name: str) -> None:
    site = hurried(one, ticks)
    tokens = [site.create(f"{name} {number}", VIEWER, days=1.0) for number in range(3)]
    site.holders.revoke(f"{name} 0")
    site.holders.expire(f"{name} 1", 0.0)
    statuses = {
        token: {site.ask("GET", WHO, token=token, sender=HERE).status_code for _ in range(25)}
        for token in tokens
    }
    assert list(statuses.values()) == [{401}, {401}, {200}]
    assert site.ask("GET", WHO, sender=HERE).status_code == 401, "no token at all is no guess"
    assert site.ask("GET", WHO, token=tokens[2], sender=HERE).status_code == 200


def test_a_right_token_between_guesses_gives_no_more_of_them(one: Site, good: str, ticks: Ticks) -> None:
    site = hurried(one, ticks)
    statuses = []
    for _ in range(30):
        statuses.append(site.ask("GET", WHO, token=forged(good), sender=HERE).status_code)
        site.ask("GET", WHO, token=good, sender=HERE)
    assert statuses == [401] * FORGIVEN + [429] * 10


def test_the_pace_of_an_address(one: Site, good: str, ticks: Ticks) -> None:
    """Whoever asks, and whatever for; looked at before anything else of the request is."""
    site = hurried(one, ticks, per_s=2.0, at_once=5)
    asked = [
        ("GET", "/v1/health", None),
        ("GET", WHO, good),
        ("GET", "/guide", None),
        ("GET", WHO, None),
        ("GET", "/x", None),
    ]
    statuses = [site.ask(method, path, token=token, sender=HERE).status_code for method, path, token in asked]
    assert statuses == [200, 200, 200, 401, 401]
    for method, path, token in asked:
        assert retry_after(site.ask(method, path, token=token, sender=HERE)) == 1
    assert site.ask("GET", "/v1/health", sender=THERE).status_code == 200
    ticks.s += 0.501
    assert site.ask("GET", "/v1/health", sender=HERE).status_code == 200
    assert retry_after(site.ask("GET", "/v1/health", sender=HERE)) == 1


def test_the_pace_of_a_holder(one: Site, good: str, ticks: Ticks) -> None:
    """From wherever it asks, by token and session together; nobody else is slowed by it."""
    site = hurried(one, ticks, per_s=0.25, at_once=4)
    cookie = site.sign_in(good)
    other = site.create("another", VIEWER)
    for number in range(4):
        how = {"token": good} if number % 2 else {"cookie": cookie}
        assert site.ask("GET", WHO, **how).status_code == 200  # type: ignore[arg-type]
    answer = site.ask("GET", WHO, token=good)
    assert retry_after(answer) == 4
    assert "'vera'" in answer.json()["errors"][0]["found"]
    assert retry_after(site.ask("GET", WHO, cookie=cookie)) == 4
    assert site.ask("GET", WHO, token=other).status_code == 200
    ticks.s += 4.001
    assert site.ask("GET", WHO, token=good).status_code == 200


def test_a_foreign_page_cannot_use_up_anybody_s_pace(one: Site, good: str, ticks: Ticks) -> None:
    site = hurried(one, ticks, per_s=1.0, at_once=3)
    for _ in range(20):
        asked = {"headers": [("origin", "http://evil.example")], "token": forged(good), "sender": HERE}
        assert site.ask("GET", WHO, **asked).status_code == 403  # type: ignore[arg-type]
    assert site.ask("GET", WHO, token=good, sender=HERE).status_code == 200


def test_settings_reach_the_buckets(tmp_path: Path) -> None:
    with Site(tmp_path, **UNHURRIED | {"requests_at_once": 2, "requests_per_s": 0.001}) as site:
        statuses = [site.ask("GET", "/v1/health", sender=HERE).status_code for _ in range(3)]
    assert statuses == [200, 200, 429]


def test_nothing_is_slowed_without_access_control(tmp_path: Path) -> None:
    settings = {"access": False, "requests_at_once": 1, "requests_per_s": 0.001}
    from service.app import create_app  # noqa: PLC0415
    from service.settings import Settings  # noqa: PLC0415
    from tests.service.door.making import Door  # noqa: PLC0415

    with Door(create_app(Settings(data_folder=tmp_path, **settings))) as door:  # type: ignore[arg-type]
        assert {door.ask("GET", "/v1/version").status_code for _ in range(20)} == {200}
    assert pace._MOST_KEYS == 10_000
