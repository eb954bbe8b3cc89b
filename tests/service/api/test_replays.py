"""Sent twice, sent late, sent against another state: If-Match, Idempotency-Key, times."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone

import pytest

from service.store import Database, WriteContended

from .doing import Client, JobDoer, Json, edge_at, faults

ON_EVERY_DATABASE = True

Opener = Callable[..., JobDoer]
TOUCH = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": edge_at(-1.62)}


def ago(seconds: float) -> str:
    return (datetime.now(UTC) - timedelta(seconds=seconds)).isoformat()


def test_the_same_key_and_body_are_recorded_once(dug: JobDoer) -> None:
    first = dug.post("touches", TOUCH, Idempotency_Key="k1")
    assert first["replayed"] is False
    dug.move()
    again = dug.post("touches", TOUCH, Idempotency_Key="k1")
    assert again == first | {"replayed": True}
    assert dug.get()["seq"] == 6
    assert dug.get()["height"] is None, "a replay does not act again"
    other = TOUCH | {"purpose": "check"}
    assert dug.refused("touches", other, 409, Idempotency_Key="k1") == {"": "idempotency-conflict"}
    assert dug.refused("moves", {}, 409, Idempotency_Key="k1") == {"": "idempotency-conflict"}
    assert dug.post("touches", TOUCH, Idempotency_Key="k2")["seq"] == 7
    dug.post("moves", {}, 422, Idempotency_Key="x" * 201)


def test_a_refusal_leaves_its_key_free(dug: JobDoer) -> None:
    dug.post("touches", TOUCH | {"purpose": "check"}, 409, Idempotency_Key="k")
    assert dug.post("touches", TOUCH, Idempotency_Key="k")["replayed"] is False


def test_a_turned_down_strike_is_replayed_as_it_was(dug: JobDoer) -> None:
    body = dug.strike_body(1.13, vertical_speed_mm_s=90.0)
    first = dug.post("strikes", body, Idempotency_Key="s")
    dug.post("rules", {"rules": {"speed_mm_per_revolution": 30.0}})
    assert dug.post("strikes", body, Idempotency_Key="s") == first | {"replayed": True}


def test_keys_belong_to_a_job(job: Opener) -> None:
    for pit in (job(), job()):
        assert pit.post("rules", {"rules": {}}, Idempotency_Key="k")["replayed"] is False


def test_an_opening_is_replayed(client: Client) -> None:
    body = {"id": "replayed", "name": "A", "units": "m", "observed_at": ago(1.0)}
    first = client.post("/v1/jobs", body, Idempotency_Key="k")
    assert client.post("/v1/jobs", body, Idempotency_Key="k") == first
    assert client.refused("/v1/jobs", body, 409) == {"/id": "job-exists"}
    assert client.refused("/v1/jobs", body | {"name": "B"}, 409, Idempotency_Key="k") == {
        "": "idempotency-conflict"
    }
    [opened] = client.get("/v1/jobs/replayed/events")["events"]
    assert datetime.fromisoformat(opened["observed_utc"]) == datetime.fromisoformat(str(body["observed_at"]))


def test_a_stale_opening_leaves_no_job(client: Client) -> None:
    body = {"id": "stale", "name": "A", "units": "m", "observed_at": ago(30.0)}
    assert client.refused("/v1/jobs", body, 422) == {"/observed_at": "stale-reading"}
    client.get("/v1/jobs/stale", 404)
    assert client.refused("/v1/jobs", body | {"observed_at": ago(0.0)}, 400, If_Match='"1"') == {
        "": "bad-header"
    }
    client.get("/v1/jobs/stale", 404)


def test_if_match(dug: JobDoer) -> None:
    etag = dug.client.http.get(dug.path).headers["ETag"]
    assert etag == '"4"'
    assert dug.post("moves", {}, If_Match=etag)["seq"] == 5
    assert dug.refused("moves", {}, 412, If_Match=etag) == {"": "sequence-mismatch"}
    assert dug.refused("moves", {}, 412, If_Match="99") == {"": "sequence-mismatch"}
    for bad in ("x", '"5', 'W/"5"', "*", "-5", '"5", "6"', "1" * 5000, "\xb2"):
        headers = {"If-Match": bad.encode("latin-1")}
        answer = dug.client.http.post(f"{dug.path}/moves", json={}, headers=headers)
        assert answer.status_code == 400, bad[:20]
        assert faults(answer.json(), 400) == {"": "bad-header"}
    assert dug.get()["seq"] == 5
    answer = dug.client.http.post(f"{dug.path}/moves", json={}, headers={"If-Match": '"5"'})
    assert answer.headers["ETag"] == '"6"'


def test_a_replay_comes_before_if_match(dug: JobDoer) -> None:
    first = dug.post("moves", {}, Idempotency_Key="k", If_Match='"4"')
    assert dug.post("moves", {}, Idempotency_Key="k", If_Match='"4"') == first | {"replayed": True}


def test_the_time_of_a_reading(dug: JobDoer, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh = TOUCH | {"observed_at": ago(0.0)}
    recorded = dug.post("touches", fresh, Idempotency_Key="k")
    assert datetime.fromisoformat(recorded["observed_utc"]) == datetime.fromisoformat(
        str(fresh["observed_at"])
    )
    assert recorded["observed_utc"] < recorded["recorded_utc"]
    assert recorded["observed_utc"].endswith("Z")
    read = {"pose": edge_at(-2.0), "units": "m"}
    for what, body in (
        ("touches", TOUCH),
        ("readouts", read),
        ("strikes", dug.strike_body(1.0)),
        ("moves", {}),
    ):
        for given, code in (
            (ago(2.5), "stale-reading"), (ago(-5.0), "clock-ahead"), ("2026-05-04T07:31:12", "not-a-time"),
            ("yesterday", "not-a-time"), ("0001-01-01T00:00:00+23:59", "stale-reading"),
            ("9999-12-31T23:59:59-23:59", "clock-ahead"), ("", "not-a-time"),
        ):  # fmt: skip
            assert dug.refused(what, body | {"observed_at": given}, 422) == {"/observed_at": code}, (
                what,
                given,
            )
    dug.post("rules", {"rules": {"age_limit_s": 60.0}})
    half_a_minute_old = TOUCH | {"observed_at": ago(0.0)}
    keeper = dug.client.app.state.keeper
    monkeypatch.setattr(keeper, "now", lambda: datetime.now(UTC) + timedelta(seconds=30))
    assert dug.post("touches", half_a_minute_old)["role"] == "sets the height"


@pytest.mark.parametrize(
    ("what", "body"),
    [
        ("moves", {}), ("swings", {}), ("laser-setups", {"revolutions_per_s": 10.0, "fall_percent": 0.0}),
        ("receiver-clamps", {}), ("attachment-changes", {"attachment": "tilting-1800"}),
        ("setups", {"machine": "crawler-14t", "attachment": "tilting-1800"}),
    ],
)  # fmt: skip
def test_a_reading_from_before_says_nothing_of_after(dug: JobDoer, what: str, body: Json) -> None:
    """Young enough, but the machine, laser or receiver stood otherwise when it was taken."""
    dug.touch(-1.62)
    before = {"observed_at": ago(0.0)}
    dug.post(what, body)
    for reading, asked in (
        ("touches", TOUCH), ("strikes", dug.strike_body(1.13)), ("readouts", {"pose": edge_at(-2.0), "units": "m"}),
    ):  # fmt: skip
        assert dug.refused(reading, asked | before, 422) == {"/observed_at": "observed-before"}
    dug.withdraw(dug.get()["seq"])
    assert dug.post("touches", TOUCH | before)["role"] == "sets the height"


@pytest.mark.parametrize("seconds", [3600.0, -7200.0])
def test_another_zone_is_the_same_instant(dug: JobDoer, seconds: float) -> None:
    zone = timezone(timedelta(seconds=seconds))
    given = datetime.now(UTC).astimezone(zone).isoformat()
    recorded = dug.post("touches", TOUCH | {"observed_at": given})
    assert datetime.fromisoformat(recorded["observed_utc"]) == datetime.fromisoformat(given)


def test_who_loses_to_others_without_end_is_told_to_send_it_again(
    dug: JobDoer, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lost(_database: Database, _work: object) -> None:
        raise WriteContended("a database", 20)

    with monkeypatch.context() as patch:
        patch.setattr(Database, "write", lost)
        answer = client.http.post(f"/v1/jobs/{dug.id}/moves", json={}, headers={"Idempotency-Key": "k"})
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "1")
    assert faults(answer.json(), 503) == {"": "contended"}
    assert "a database" not in answer.text
    assert dug.post("moves", {}, Idempotency_Key="k")["replayed"] is False
