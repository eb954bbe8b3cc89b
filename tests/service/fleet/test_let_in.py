"""With access control: a token in `here`, looked at again for as long as it feeds."""

from collections.abc import Iterator

import pytest

from service.access.caller import Role
from service.access.holders import Holders
from service.live import feeding
from service.store import utc_now
from tests.service.live.making import Door, at_rest, said, serving
from tests.service.live.passing import readings, through
from tests.service.mosquitto import Broker

from .conftest import at_broker
from .machine import Machine, playing
from .waiting import until

VIEWER, OPERATOR, BUILDER, ADMINISTRATOR = Role
REST = said(at_rest())


def holders(door: Door) -> Holders:
    return Holders(door.app.state.database, utc_now)


def create(door: Door, name: str, role: Role, machines: list[str] | None = None) -> str:
    return holders(door).create(name, [role], [] if role is not OPERATOR else machines, None).credential.text


@pytest.fixture(scope="module")
def guarded(broker: Broker, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Door]:
    """A service with access control that looks at rights five times a second; asked by an administrator."""
    with pytest.MonkeyPatch.context() as patch, serving(
        tmp_path_factory.mktemp("guarded"), access=True, requests_per_s=1e6, requests_at_once=1_000_000,
        mqtt=broker.url(prefix="guarded"),
    ) as opened:  # fmt: skip
        patch.setattr(feeding, "CHECK_EVERY_S", 0.2)
        until(lambda: at_broker(opened) == "here")
        opened.http.http.headers["authorization"] = f"Bearer {create(opened, 'ada', ADMINISTRATOR)}"
        yield opened


def machine_of(broker: Broker, job: str, token: str | None, here_every_s: float = 60.0) -> Machine:
    return Machine(broker.port, job, token=token, prefix="guarded", here_every_s=here_every_s)


@pytest.mark.parametrize(
    ("who", "status", "code"),
    [
        ("nobody", 401, "no-token"), ("wrong", 401, "bad-token"), ("viewer", 403, "not-allowed"),
        ("builder", 403, "not-allowed"), ("elsewhere", 403, "not-assigned"),
    ],
)  # fmt: skip
def test_who_is_not_let_in(guarded: Door, broker: Broker, who: str, status: int, code: str) -> None:
    job = guarded.dug()
    tokens = {
        "nobody": None, "wrong": "tipdatum-wrong", "viewer": create(guarded, f"v-{who}", VIEWER),
        "builder": create(guarded, f"b-{who}", BUILDER), "elsewhere": create(guarded, f"e-{who}", OPERATOR, ["midi-8t"]),
    }  # fmt: skip
    token = tokens[who]
    with machine_of(broker, job.id, token) as machine:
        told = machine.wait(lambda told: "problem" in told)["problem"]
        assert told["status"] == status
        assert told["errors"][0]["code"] == code
        machine.say(REST)
        health = guarded.health(job)
        assert health["feeders"] == 0
        assert health["sensors"]["boom"]["taken"] == 0
        assert not guarded.app.state.fleet.keeping.kept.get(job.id)


def test_a_revoked_token_ends_it(guarded: Door, broker: Broker) -> None:
    """And a new one of the same machine lets it in again."""
    job = guarded.dug()
    token = create(guarded, "rolf", OPERATOR)
    with machine_of(broker, job.id, token) as machine:
        machine.welcomed()
        machine.say(REST)
        until(lambda: guarded.health(job)["sensors"]["boom"]["taken"] == 1)
        since = len(machine.told)
        holders(guarded).revoke("rolf")
        told = machine.wait(lambda told: "problem" in told, since)["problem"]
        assert told["errors"][0]["code"] == "revoked-token"
        assert guarded.health(job)["feeders"] == 0
        machine.say(REST)
        since = len(machine.told)
        machine.say_here()
        assert machine.wait(lambda told: "problem" in told, since)["problem"]["status"] == 401
        assert guarded.health(job)["sensors"]["boom"]["taken"] == 1
        machine.token = create(guarded, "rita", OPERATOR)
        machine.say_here()
        machine.welcomed(since)
        machine.say(REST)
        # From the first that was not told as taken on: the laser holds all of them back.
        until(lambda: guarded.health(job)["sensors"]["boom"]["taken"] == 3)


def test_a_machine_no_longer_assigned(guarded: Door, broker: Broker) -> None:
    job = guarded.dug()
    with machine_of(broker, job.id, create(guarded, "olga", OPERATOR, ["crawler-14t"])) as machine:
        machine.welcomed()
        since = len(machine.told)
        holders(guarded).assign("olga", [OPERATOR], ["midi-8t"])
        told = machine.wait(lambda told: "problem" in told, since)["problem"]
        assert told["errors"][0]["code"] == "not-assigned"


def test_strikes_are_in_the_name_of_whoever_feeds(guarded: Door, broker: Broker) -> None:
    job = guarded.dug()
    motion, seconds = through(0.022)
    with machine_of(broker, job.id, create(guarded, "otto", OPERATOR)) as machine:
        machine.welcomed()
        with playing(machine, readings(motion, seconds)):
            told = machine.wait(lambda told: told.get("strike", {}).get("seq"), within=30.0)["strike"]
    assert told["verdict"] == "taken"
    [entry] = [each for each in job.events() if each["type"] == "struck"]
    assert entry["actor"] == "otto"
    assert entry["seq"] == told["seq"]


def test_no_token_is_told(guarded: Door, broker: Broker, caplog: pytest.LogCaptureFixture) -> None:
    job = guarded.dug()
    token = create(guarded, "tom", OPERATOR)
    with machine_of(broker, job.id, token) as machine:
        machine.welcomed()
        machine.put(machine.topics.here(job.id, "x"), {"stream": "abcd", "next": 0, "token": token})
        machine.put(machine.topics.here(job.id, "x"), f'{{"stream": "abcd", "next": {token}'.encode())
        machine.say(REST)
        until(lambda: guarded.health(job)["sensors"]["boom"]["taken"] == 1)
        assert token not in caplog.text
        assert not [topic for topic, payload in machine.heard if token.encode() in payload]
