"""Giving and taking access: every fault at once, and what holders say of themselves."""

import math
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Barrier, Thread

import pytest

from kinematics.errors import Refused
from service.access.holders import Holders, Issued
from service.store import open_database
from tests.service.postgres import own_schema

from .making import ADMINISTRATOR, BUILDER, OPERATOR, VIEWER, Clock

ON_EVERY_DATABASE = True


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def address(store_kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Of a fresh database."""
    if store_kind == "postgresql":
        return own_schema(request.getfixturevalue("own_postgres"))
    return f"sqlite:///{tmp_path / 'tipdatum.sqlite'}"


@pytest.fixture
def holders(address: str, clock: Clock) -> Iterator[Holders]:
    with open_database(address) as database:
        yield Holders(database, clock)


def codes(work: Callable[[], object]) -> list[str]:
    with pytest.raises(Refused) as caught:
        work()
    for fault in caught.value.faults:
        assert fault.found
        assert fault.expected
    return [fault.code for fault in caught.value.faults]


def test_every_fault_at_once(holders: Holders) -> None:
    found = codes(lambda: holders.create("local", [], ["none", "nor-this"], -1.0))
    assert found == [
        "bad-name",
        "no-role",
        "machines-useless",
        "unknown-machine",
        "unknown-machine",
        "out-of-range",
    ]
    assert holders.all() == []
    assert not holders.any_good()


@pytest.mark.parametrize(
    ("roles", "machines", "code"),
    [
        ([], [], "no-role"), ([OPERATOR], [], "no-machine"), ([OPERATOR, BUILDER], [], "no-machine"),
        ([VIEWER], ["crawler-14t"], "machines-useless"), ([BUILDER], ["crawler-14t"], "machines-useless"),
        ([ADMINISTRATOR], ["crawler-14t"], "machines-useless"), ([OPERATOR], ["crawler-15t"], "unknown-machine"),
        ([OPERATOR, ADMINISTRATOR], ["crawler-14t"], "machines-useless"),
        ([OPERATOR], ["tilting-1800"], "unknown-machine"),
    ],
)  # fmt: skip
def test_trust_that_makes_no_sense(
    holders: Holders, roles: list[object], machines: list[str], code: str
) -> None:
    assert codes(lambda: holders.create("anna", roles, machines, None)) == [code]  # type: ignore[arg-type]
    holders.create("bert", [VIEWER], [], None)
    assert codes(lambda: holders.assign("bert", roles, machines)) == [code]  # type: ignore[arg-type]


@pytest.mark.parametrize("days", [-1.0, -1e-9, 3650.1, math.inf, -math.inf, math.nan])
def test_days_that_are_none(holders: Holders, days: float) -> None:
    holders.create("anna", [VIEWER], [], None)
    for work in (
        lambda: holders.create("bert", [VIEWER], [], days),
        lambda: holders.rotate("anna", days),
        lambda: holders.expire("anna", days),
    ):
        assert codes(work) == ["out-of-range"]


@pytest.mark.parametrize("hours", [-1.0, 168.1, math.inf, math.nan])
def test_hours_that_are_none(holders: Holders, hours: float) -> None:
    holders.create("anna", [VIEWER], [], None)
    assert codes(lambda: holders.rotate("anna", 1.0, hours)) == ["out-of-range"]


def test_a_name_is_given_once(holders: Holders) -> None:
    holders.create("anna", [VIEWER], [], None)
    assert codes(lambda: holders.create("anna", [VIEWER], [], None)) == ["holder-exists"]
    holders.revoke("anna")
    assert codes(lambda: holders.create("anna", [VIEWER], [], None)) == ["holder-exists"]


def test_what_is_revoked_stays_so(holders: Holders, clock: Clock) -> None:
    holders.create("anna", [VIEWER], [], None)
    first = holders.revoke("anna").holder.revoked_utc
    clock.pass_by(days=1)
    assert holders.revoke("anna").holder.revoked_utc == first == Clock().time
    for work in (
        lambda: holders.rotate("anna", 1.0),
        lambda: holders.expire("anna", 1.0),
        lambda: holders.assign("anna", [ADMINISTRATOR], []),
    ):
        assert codes(work) == ["holder-revoked"]


def test_nobody_of_this_name(holders: Holders) -> None:
    for work in (
        lambda: holders.rotate("anna", 1.0),
        lambda: holders.expire("anna", 1.0),
        lambda: holders.revoke("anna"),
        lambda: holders.assign("anna", [VIEWER], []),
    ):
        assert codes(work) == ["unknown-holder"]


def test_states(holders: Holders, clock: Clock) -> None:
    holders.create("anna", [VIEWER], [], 1.0)
    holders.create("bert", [VIEWER], [], None)
    holders.create("carl", [VIEWER], [], 9.0)
    holders.revoke("carl")

    def states() -> list[str]:
        return [each.state(clock()) for each in holders.all()]

    assert states() == ["good", "good", "revoked"]
    assert holders.any_good()
    clock.pass_by(days=1)
    assert states() == ["expired", "good", "revoked"]
    holders.expire("bert", 0.0)
    assert not holders.any_good()
    holders.expire("bert", None)
    assert holders.any_good()
    assert [each.expires_utc for each in holders.all()][1] is None


def test_what_has_ended_does_not_come_back(holders: Holders, clock: Clock) -> None:
    holders.create("anna", [VIEWER], [], 9.0)
    clock.pass_by(hours=1)
    holders.rotate("anna", 9.0)
    holders.expire("anna", None)
    [anna] = holders.all()
    old, new = anna.tokens
    assert old.ended_utc == clock.time
    assert (new.ended_utc, new.expires_utc) == (None, None)


def test_one_of_two_that_take_a_name_at_once(address: str) -> None:
    """Two administrators, each with a process of its own on the same database."""
    start = Barrier(2)
    done: list[Issued | list[str]] = []

    def take() -> None:
        with open_database(address) as database:
            start.wait(30)
            try:
                done.append(Holders(database, Clock()).create("anna", [VIEWER], [], None))
            except Refused as refused:
                done.append([fault.code for fault in refused.faults])

    open_database(address).close()
    threads = [Thread(target=take) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(isinstance(each, Issued) for each in done) == [False, True]
    assert ["holder-exists"] in done
