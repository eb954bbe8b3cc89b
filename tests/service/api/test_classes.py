"""Digs of classes: recorded for good, once for each key, listed, and played again as they were."""

import hashlib
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from machine_profiles import shipped
from service.app import create_app
from service.settings import Settings
from service.store import canonical_json

from .callers import asking
from .doing import Client, Json
from .test_exercises import LEVEL, course, dig

ON_EVERY_DATABASE = True

OURS: Json = {"machine": "our-digger", "attachment": "digging-1500"}
DIG = LEVEL | {"course": course(60)}


def record(client: Client, name: str, status: int = 201, key: str | None = None, **changed: Any) -> Json:
    headers = {} if key is None else {"Idempotency_Key": key}
    found: Json = client.post(
        f"/v1/classes/{name}/digs", DIG | {"learner": "Ada"} | changed, status, **headers
    )
    return found


def begun(client: Client, exercise: str) -> Json:
    """The course, begun as an exercise begins."""
    told = client.get("/v1/exercises?machine=crawler-14t&attachment=digging-1500&units=m")["exercises"]
    [start] = [each["start_deg"] for each in told if each["id"] == exercise]
    angles = {name: [start[name], *each[1:]] for name, each in course(60)["angles_deg"].items()}
    return {"t_s": course(60)["t_s"], "angles_deg": angles}


def listed(client: Client, name: str, more: str = "") -> Json:
    found: Json = client.get(f"/v1/classes/{name}/digs?units=m{more}")
    return found


def test_as_it_was_dug(client: Client) -> None:
    made = record(client, "as-dug", learner="Jürgen 2½", units="ft")
    plain = dig(client, course=DIG["course"], units="ft")
    assert (made["seq"], made["learner"], made["class_id"]) == (1, "Jürgen 2½", "as-dug")
    assert made["score"] == plain["score"]
    assert made["machine"] == plain["machine"]
    one = client.get("/v1/classes/as-dug/digs/1?units=ft")
    assert one == made | {each: one[each] for each in one.keys() - made.keys()}
    assert one["course"] == DIG["course"]
    assert one["ground"] == plain["ground"]
    assert (one["machine_is_current"], one["attachment_is_current"], one["exercise_is_current"]) == (
        True,
    ) * 3
    exercises = client.get("/v1/exercises?machine=crawler-14t&attachment=digging-1500&units=ft")["exercises"]
    assert one["exercise_then"] == exercises[0]
    assert client.get("/v1/classes/as-dug/digs/1?units=m")["score"]["overcut"]["shown"].endswith(" m")


def test_the_hash_can_be_made_again(client: Client) -> None:
    made = record(client, "hash")
    one = client.get("/v1/classes/hash/digs/1?units=m")
    then, score = one["exercise_then"], one["score"]
    exercise = {
        "id": then["id"], "title": then["title"], "words": then["words"], "start_deg": then["start_deg"],
        "ground": then["ground"], "target_m": then["target"]["height"]["m"],
        "target_reach_m": then["target"]["reach"]["m"], "target_slope": then["target"]["slope_percent"] / 100,
        "near_m": then["near"]["m"], "far_m": then["far"]["m"], "tolerance_m": then["tolerance"]["m"],
    }  # fmt: skip
    kept = {name: score[name] for name in ("columns", "within", "removed_m2", "passes", "time_s")}
    kept |= {f"{name}_m": score[name]["m"] for name in ("overcut", "left", "mean")}
    document = {"exercise": exercise, "course": one["course"], "score": kept, "ground": one["ground"]}
    assert hashlib.sha256(canonical_json(document).encode()).hexdigest() == made["document_sha256"]


def test_classes_and_their_digs_in_order(client: Client) -> None:
    for learner, exercise in (("Ada", "level-floor"), ("Bo", "last-inch"), ("Ada", "last-inch")):
        record(client, "tuesday", learner=learner, exercise=exercise, course=begun(client, exercise))
    record(client, "a-class")
    counted = {each["id"]: each["digs"] for each in client.get("/v1/classes")["classes"]}
    assert (counted["tuesday"], counted["a-class"]) == (3, 1)
    assert [*counted] == sorted(counted)
    told = listed(client, "tuesday")
    assert [(each["seq"], each["learner"]) for each in told["digs"]] == [(1, "Ada"), (2, "Bo"), (3, "Ada")]
    assert told["next"] is None
    assert [each["seq"] for each in listed(client, "tuesday", "&exercise=last-inch")["digs"]] == [2, 3]
    first = listed(client, "tuesday", "&limit=2")
    assert ([each["seq"] for each in first["digs"]], first["next"]) == ([1, 2], 2)
    rest = listed(client, "tuesday", "&limit=2&after=2")
    assert ([each["seq"] for each in rest["digs"]], rest["next"]) == ([3], None)
    assert listed(client, "nobody-yet") == {"digs": [], "next": None}


def test_once_for_each_key(client: Client) -> None:
    made = record(client, "keys", key="dig 1")
    assert record(client, "keys", key="dig 1") == made
    assert record(client, "keys")["seq"] == 2
    for name, changed in (("keys", {"learner": "Bo"}), ("other-keys", {})):
        problem = record(client, name, 409, key="dig 1", **changed)
        assert problem["type"] == "/guide/problems#idempotency-conflict"
    with asking(client, "office"):
        problem = record(client, "keys", 409, key="dig 1")
        assert problem["errors"][0]["code"] == "idempotency-conflict"
    assert len(listed(client, "keys")["digs"]) == 2
    assert listed(client, "other-keys")["digs"] == []


def test_many_at_once(client: Client) -> None:
    """Each sent three times; none is lost, none is there twice, and the numbers have no gaps."""
    with ThreadPoolExecutor(8) as crew:
        sent = [(f"learner {i}", f"many {i}") for i in range(20) for _ in range(3)]
        done = list(crew.map(lambda each: record(client, "many", learner=each[0], key=each[1]), sent))
    told = listed(client, "many", "&limit=200")["digs"]
    assert [each["seq"] for each in told] == list(range(1, 21))
    assert {(each["seq"], each["learner"]) for each in told} == {
        (each["seq"], each["learner"]) for each in done
    }
    assert len({each["learner"] for each in told}) == 20


def test_a_profile_measured_anew(client: Client) -> None:
    """The record stays as it was, and says so."""
    text = shipped()["machine", "crawler-14t"].source_text.replace('"crawler-14t"', '"our-digger"')
    assert "our-digger" in text
    client.post("/v1/machines", {"toml": text})
    before = record(client, "measured", **OURS)
    client.post("/v1/machines", {"toml": text.replace("Invented for", "Measured anew for")})
    one = client.get("/v1/classes/measured/digs/1?units=m")
    assert (one["machine_is_current"], one["attachment_is_current"]) == (False, True)
    assert one["exercise_is_current"]
    assert one["machine"] == before["machine"]
    assert one["score"] == before["score"]
    again = record(client, "measured", **OURS)
    assert again["machine"] != before["machine"]
    assert again["score"] == before["score"]


def test_an_exercise_made_to_other_measures(client: Client) -> None:
    """Of a machine measured anew: the record keeps the ground of then, and says that it cannot be dug again."""
    text = shipped()["machine", "crawler-14t"].source_text.replace('"crawler-14t"', '"other-digger"')
    client.post("/v1/machines", {"toml": text})
    record(client, "remade", machine="other-digger")
    client.post(
        "/v1/machines", {"toml": text.replace("foot_above_ground = 1700", "foot_above_ground = 1650")}
    )
    one = client.get("/v1/classes/remade/digs/1?units=m")
    assert not one["exercise_is_current"]
    assert one["exercise_then"]["target"]["height"]["m"] == -2.01


def test_nothing_acknowledged_is_lost(tmp_path: Any) -> None:
    """Over a stop of the service, and a key still stands for the same dig."""
    with Client(create_app(Settings(data_folder=tmp_path))) as first:
        made = record(first, "kept", key="k")
        one = first.get("/v1/classes/kept/digs/1?units=m")
    with Client(create_app(Settings(data_folder=tmp_path))) as later:
        assert later.get("/v1/classes/kept/digs/1?units=m") == one
        assert record(later, "kept", key="k") == made
        assert len(listed(later, "kept")["digs"]) == 1


@pytest.mark.parametrize(
    ("name", "changed", "expected"),
    [
        ("refused", {"learner": ""}, {"/learner": "wrong-length"}),
        ("refused", {"learner": "x" * 41}, {"/learner": "wrong-length"}),
        ("refused", {"learner": "Ada\nBo"}, {"/learner": "wrong-form"}),
        ("refused", {"learner": " Ada"}, {"/learner": "wrong-form"}),
        ("refused", {"learner": "\u200b"}, {"/learner": "wrong-form"}),
        ("refused", {"learner": "Ada\u2028Bo"}, {"/learner": "wrong-form"}),
        ("refused", {"learner": "Ada \u202eoB"}, {"/learner": "wrong-form"}),
        ("Refused", {}, {"": "wrong-form"}),
        ("refused", {"exercise": "gold-mine"}, {"/exercise": "unknown-exercise"}),
        ("refused", {"course": course(2, 0.01) | {"t_s": [1.0, 1.0]}}, {"/course/t_s/1": "not-in-order"}),
    ],
)
def test_refused(client: Client, name: str, changed: Json, expected: dict[str, str]) -> None:
    body = DIG | {"learner": "Ada"} | changed
    assert client.refused(f"/v1/classes/{name}/digs", body, 422) == expected
    assert listed(client, "refused")["digs"] == []


def test_what_is_not_there(client: Client) -> None:
    problem = client.get("/v1/classes/nobody/digs/1?units=m", 404)
    assert problem["type"] == "/guide/problems#unknown-dig"
    client.get("/v1/classes/nobody/digs/0?units=m", 422)
    client.get("/v1/classes/nobody/digs", 422)
