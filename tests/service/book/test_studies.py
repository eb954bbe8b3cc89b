"""Studies of the service across its restarts: what was acknowledged is done, and none keeps the others from it."""

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from kinematics.errors import Refused
from service.api.studies import EXAMPLE
from service.book.keyed import Key
from service.book.profiles import Profiles
from service.book.studies import Studies
from service.store import Database, StoredStudy, open_database, utc_now
from tests.service.studies.test_synthesis_file import TURN

NOBODY = Key(None, "")


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with open_database(f"sqlite:///{tmp_path / 'data.db'}") as opened:
        yield opened


@pytest.fixture
def profiles(database: Database) -> Profiles:
    made = Profiles(database, utc_now)
    made.load_shipped()
    return made


def studies(database: Database, profiles: Profiles, tmp_path: Path) -> Studies:
    """As a service that was just started has them; nothing runs until `start`."""
    return Studies(database, profiles, tmp_path / "studies", utc_now, None)


def submitted(kept: Studies, text: str = EXAMPLE) -> StoredStudy:
    return kept.submit(kept.plan(text), "rita", NOBODY)


def test_what_is_to_go_on_goes_on_after_a_restart(
    database: Database, profiles: Profiles, tmp_path: Path
) -> None:
    before = studies(database, profiles, tmp_path)
    one = submitted(before)
    assert before.stop(one).state == "stopped"
    assert before.go_on(one).state == "waiting"
    assert studies(database, profiles, tmp_path).progress(one).state == "waiting"


def test_a_folder_that_is_gone_keeps_nobody_from_the_others(
    database: Database, profiles: Profiles, tmp_path: Path
) -> None:
    before = studies(database, profiles, tmp_path)
    gone, other = submitted(before), submitted(before)
    shutil.rmtree(tmp_path / "studies" / gone.id)
    kept = studies(database, profiles, tmp_path)
    assert kept.progress(other).state == "waiting"
    told = kept.progress(gone)
    assert (told.state, told.faults[0]["code"]) == ("failed", "no-study-here")
    for asked in (lambda: kept.go_on(gone), lambda: kept.result(gone, "csv")):
        with pytest.raises(Refused) as refused:
            asked()
        assert refused.value.code == "no-study-here"
    kept.stop(other)
    kept.start()
    kept.close()


def test_a_worker_that_cannot_be_started_is_told(
    database: Database, profiles: Profiles, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = studies(database, profiles, tmp_path)
    one = submitted(kept)

    def none_left(*_words: object, **_more: object) -> None:
        raise OSError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(subprocess, "Popen", none_left)
    kept._queue.put(None)  # one turn, then the end
    kept._run()
    told = kept.progress(one)
    assert (told.state, told.faults[0]["code"]) == ("failed", "no-worker")


@pytest.mark.parametrize("kind", ["parquet", "csv"])
def test_a_synthesis_without_candidates_has_no_result(
    database: Database, profiles: Profiles, tmp_path: Path, kind: str
) -> None:
    kept = studies(database, profiles, tmp_path)
    one = submitted(kept, TURN)
    kept.stop(one)
    with pytest.raises(Refused) as refused:
        kept.result(one, "csv" if kind == "csv" else "parquet")
    assert refused.value.code == "nothing-found"
