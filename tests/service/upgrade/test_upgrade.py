"""A data folder of the release before: it opens and migrates, and every number is the one that release answered."""

import math
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from service.app import create_app
from service.cli import app
from service.settings import Settings
from tests.service.api.doing import Client, JobDoer

from .data import FILE, Json, answers, folder, rows, tables_of

# The same formulas on another processor: the last digits of sines and roots, carried through a chain of ten metres.
SAME = 1e-9
OLD = ("job", "event", "profile_revision", "calibration", "access_holder", "access_credential")


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder(tmp_path_factory.mktemp("upgrade") / "data")


@pytest.fixture(scope="module")
def client(data: Path) -> Iterator[Client]:
    with Client(create_app(Settings(data_folder=data))) as opened:
        yield opened


def asked() -> list[Json]:
    found: list[Json] = answers()["asked"]
    return found


def differs(then: Any, now: Any, where: str = "") -> list[str]:
    """What of an earlier answer is not in a later one; a number by more than `SAME`, anything else at all.

    Told otherwise since, and no number: profiles that come with a release may be new ("later-revision"; a pose asked for
    by a machine's name is of its latest revision), and a cross-slope of nothing has no sign.
    """
    if isinstance(then, dict) and isinstance(now, dict):
        gone = [f"{where}/{key}: gone" for key in then.keys() - now.keys()]
        both = then.keys() & now.keys()
        return gone + [each for key in both for each in differs(then[key], now[key], f"{where}/{key}")]
    if isinstance(then, list) and isinstance(now, list):
        if where.endswith("/warnings"):
            now = [each for each in now if each in then or each["code"] != "later-revision"]
        if len(then) != len(now):
            return [f"{where}: {len(then)} parts, now {len(now)}"]
        pairs = zip(then, now, strict=True)
        return [each for i, (one, other) in enumerate(pairs) for each in differs(one, other, f"{where}/{i}")]
    if isinstance(then, float) or isinstance(now, float):
        alike = isinstance(now, int | float) and math.isfinite(now) and abs(then - now) <= SAME
        return [] if alike else [f"{where}: {then!r}, now {now!r}"]
    if where == "/machine/revision":
        return []
    if isinstance(then, str):
        then = then.replace(" +0.0 %", " 0.0 %")
    return [] if then == now and type(then) is type(now) else [f"{where}: {then!r}, now {now!r}"]


def test_differences_are_found() -> None:
    """Or the tests below could not fail."""
    then = {"a": [1.0, {"b": "x"}], "warnings": []}
    assert differs(then, {"a": [1.0, {"b": "x"}], "warnings": [], "new": 1}) == []
    for now in (
        {"a": [1.0 + 2.0 * SAME, {"b": "x"}], "warnings": []}, {"a": [math.nan, {"b": "x"}], "warnings": []},
        {"a": [1.0, {}], "warnings": []}, {"a": [1.0], "warnings": []}, {"a": [1.0, {"b": "y"}], "warnings": []},
        {"a": [1.0, {"b": "x"}], "warnings": [{"code": "another"}]}, {"a": [None, {"b": "x"}], "warnings": []},
    ):  # fmt: skip
        assert len(differs(then, now)) == 1, now


def test_there_is_something_to_lose() -> None:
    """Of every kind: the folder was made with that release's own code, see make_r0003.py."""
    for table in OLD:
        assert f'INSERT INTO "{table}"' in rows() or f"INSERT INTO {table}" in rows(), table
    kinds = {each["type"] for one in asked() if "/events" in one["path"] for each in one["answer"]["events"]}
    assert kinds >= {
        "job-opened", "benchmark-declared", "setup-begun", "laser-set-up", "touched", "struck", "moved", "target-set",
        "station-touched", "check-taken", "withdrawn", "turning-point-taken", "rod-checked", "rules-set",
    }  # fmt: skip
    assert sum(one["path"].endswith("/readouts") for one in asked()) >= 5


def test_it_is_migrated_with_a_copy_of_before_and_no_row_changed(client: Client, data: Path) -> None:
    assert client.get("/v1/health") == {"status": "good"}
    [copy] = data.glob(f"{FILE}.0003-*")
    with closing(sqlite3.connect(copy)) as kept, closing(sqlite3.connect(data / FILE)) as now:
        before, after = tables_of(kept), tables_of(now)
    made = sqlite3.connect(":memory:")
    made.executescript(rows())
    assert before == tables_of(made)
    made.close()
    for table in OLD:
        # New releases bring new revisions of the profiles that come with them; those on record stay.
        assert set(before[table]) <= set(after[table]), table
        if table != "profile_revision":
            assert len(before[table]) == len(after[table]), table
    assert after["alembic_version"] != before["alembic_version"]


@pytest.mark.parametrize(
    "one", asked(), ids=lambda one: f"{one['method']} {one['path']} {(one['body'] or {}).get('target')}"
)
def test_every_answer_is_the_one_of_then(client: Client, one: Json) -> None:
    sent = {} if one["body"] is None else {"json": one["body"]}
    answer = client.http.request(one["method"], one["path"], **sent)
    assert answer.status_code == 200, answer.text
    assert differs(one["answer"], answer.json()) == []


def test_it_goes_on_from_where_it_was(client: Client) -> None:
    job = JobDoer(client, "pump-house", "m")
    last = max(each["seq"] for each in job.events())
    assert job.post("moves")["seq"] == last + 1


def test_a_token_of_then_lets_in(tmp_path: Path) -> None:
    again = folder(tmp_path / "data")
    with Client(create_app(Settings(data_folder=again, access=True))) as guarded:
        assert guarded.http.get("/v1/jobs").status_code == 401
        let_in = guarded.http.get("/v1/jobs", headers={"authorization": f"Bearer {answers()['token']}"})
        assert [each["id"] for each in let_in.json()["jobs"]] == ["pump-house", "trench"]


def command(*words: object) -> str:
    done = CliRunner().invoke(app, [*map(str, words)])
    assert done.exit_code == 0, done.output
    return " ".join(done.output.split())


def test_verified_kept_and_brought_back(data: Path, client: Client, tmp_path: Path) -> None:
    assert client.get("/v1/health") == {"status": "good"}
    command("verify", "--data", data)
    kept = tmp_path / "kept.zip"
    command("backup", kept, "--data", data)
    command("restore", kept, "--data", tmp_path / "again")
    command("verify", "--data", tmp_path / "again")
    said = command("record", "verify", "--data", tmp_path / "again")
    assert "pump-house: holds" in said
    assert "trench: holds" in said


def test_commands_that_only_look_leave_it_as_it_is(tmp_path: Path) -> None:
    """They ask for a service of this release to be started on it first, and change nothing."""
    again = folder(tmp_path / "data")
    before = (again / FILE).read_bytes()
    done = CliRunner().invoke(app, ["record", "verify", "--data", str(again)])
    assert done.exit_code != 0
    assert "revision 0003" in " ".join(done.output.split())
    assert (again / FILE).read_bytes() == before
