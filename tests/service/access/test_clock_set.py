"""A clock that is set on or back, or that a computer without a battery starts in 1970: no expired door opens."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from service.access.holders import Holders
from service.store import open_database

from .making import VIEWER, Clock, Site, code_of

WHO = "/v1/sessions/current"
DAY_S = 86_400.0
BACK = ({"hours": -1.0}, {"days": -1.0}, {"days": -20_000.0})


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Site]:
    """A site of its own, since its clock is set."""
    with Site(tmp_path) as opened:
        yield opened


def told(site: Site, token: str | None = None, cookie: str | None = None) -> str:
    """ "let in", or the code of the refusal."""
    answer = site.ask("GET", WHO, token=token, cookie=cookie)
    return "let in" if answer.status_code == 200 else code_of(answer)


@pytest.mark.parametrize("back", BACK)
def test_what_has_expired_stays_so(own: Site, back: dict[str, float]) -> None:
    token = own.create("a day's guest", VIEWER, days=1.0)
    session = own.sign_in(token)
    assert (told(own, token), told(own, cookie=session)) == ("let in", "let in")
    own.now.pass_by(days=1.0)
    assert (told(own, token), told(own, cookie=session)) == ("expired-token", "expired-token")
    own.now.pass_by(**back)
    assert (told(own, token), told(own, cookie=session)) == ("expired-token", "expired-token")


def test_time_goes_on_while_the_clock_is_back(own: Site) -> None:
    token = own.create("a day's guest", VIEWER, days=1.0)
    assert told(own, token) == "let in"
    own.now.pass_by(days=-400.0)
    own.passed_s += DAY_S - 1.0
    assert told(own, token) == "let in"
    own.passed_s += 1.0
    assert told(own, token) == "expired-token"


def test_set_on_by_mistake_it_is_shut_until_a_start(own: Site) -> None:
    """Shut for too long is told and mended; open for too long would not be seen."""
    token = own.create("a month's guest", VIEWER, days=30.0)
    own.now.pass_by(days=365.0)
    assert told(own, token) == "expired-token"
    own.now.pass_by(days=-365.0)
    [fault] = own.ask("GET", WHO, token=token).json()["errors"]
    assert "before the clock was set back by 31536000 s" in fault["found"]
    assert "start the service again" in fault["advice"]
    own.renew()
    assert told(own, token) == "let in"


def test_a_service_that_starts_before_the_token_was_issued(tmp_path: Path) -> None:
    with Site(tmp_path) as before:
        token = before.create("a day's guest", VIEWER, days=1.0)
        for_ever = before.create("for ever", VIEWER, days=None)
    with Site(tmp_path) as site:
        site.now.time = datetime(1970, 1, 1, 0, 0, 30, tzinfo=UTC)
        site.renew()
        assert told(site, token) == "clock-set-back"
        assert told(site, for_ever) == "let in"
        site.now.time = before.now.time
        assert told(site, token) == "let in"


@pytest.mark.parametrize("back", BACK)
def test_the_latest_token_is_the_current_one(tmp_path: Path, back: dict[str, float]) -> None:
    """Rotated by a clock that was set back: an older token, taken for the current one, would be given longer."""
    clock = Clock()
    with open_database(f"sqlite:///{tmp_path / 'tipdatum.sqlite'}") as database:
        holders = Holders(database, clock)
        old = holders.create("anna", [VIEWER], None, 1.0).credential
        clock.pass_by(**back)
        new = holders.rotate("anna", 30.0, overlap_hours=1.0).credential
        overlap = clock() + timedelta(hours=1)
        found = holders.expire("anna", 180.0)
        ends = {each.id: each.expires_utc for each in found.tokens}
        assert found.tokens[-1].id == new.id
        assert ends == {old.id: overlap, new.id: clock() + timedelta(days=180)}
