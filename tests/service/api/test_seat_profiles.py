"""Profiles of a job changed by somebody else, and measured anew; its units, which nobody changes."""

import re
from collections.abc import Callable

import pytest

from service.store import utc_now

from .callers import acknowledge, as_on_disk, asking, by, refused, waiting
from .doing import Client, JobDoer, Json, edge_at
from .test_profiles import own

SETUP = {"machine": "crawler-14t", "attachment": "digging-1500"}
Opener = Callable[..., JobDoer]


@pytest.fixture
def dig(dug: JobDoer) -> JobDoer:
    """Slab, setup, laser: 2, 3, 4; touched (5) and with a target 1.4 m down (6), all by the one at the seat."""
    dug.touch(-1.62)
    dug.target("footing", 1.4)
    return dug


def test_setup_attachment_receiver_and_rules_of_another(dig: JobDoer) -> None:
    kept = dig.get()
    by(dig, "office", "rules", {"rules": {"surprise_mm": 20.0}})  # 7
    by(dig, "office", "receiver-clamps", {"place_mm": [800.0, 180.0, 260.0]})  # 8
    by(dig, "office", "attachment-changes", {"attachment": "digging-1500"})  # 9
    done = by(dig, "office", "setups", SETUP)  # 10
    assert done["waits"]
    assert done["voids"] == []
    job = dig.get()
    for field in ("rules", "machine", "attachment", "height", "setup", "seat"):
        assert job[field] == kept[field], field
    words = [each["words"] for each in job["waiting"]]
    assert words[0] == "rules: surprise_mm 20 (now 50)"
    assert words[1] == "receiver clamped at 800, 180, 260 mm in the stick's frame"
    assert re.fullmatch(r"attachment 'digging-1500' \(revision [0-9a-f]{8}\)", words[2])
    assert re.fullmatch(
        r"setup: machine 'crawler-14t' \(revision [0-9a-f]{8}\) with attachment 'digging-1500' \(revision [0-9a-f]{8}\)",
        words[3],
    )
    answer = acknowledge(dig, 7, 8, 9)
    assert answer["voids"] == [
        "laser plane", "strikes that wait", "depth below the plane",
        "the choice of edge point: readouts are the new edge's",
    ]  # fmt: skip
    job = dig.get()
    assert job["rules"]["surprise_mm"] == 20.0
    assert job["attachment"]["id"] == "digging-1500"
    assert job["height"] == kept["height"]
    assert "height" in acknowledge(dig, 10)["voids"]
    job = dig.get()
    assert (job["height"], job["setup"], job["seat"]) == (None, 2, "local")
    [row] = [row for row in dig.get("level-book")["rows"] if row["seq"] == 12]
    assert (row["what"], row["point"], row["origin"]) == ("acknowledgement", "entry 10", None)
    as_on_disk(dig)


def test_what_no_longer_fits_is_refused_with_its_reason(job: Opener) -> None:
    pit = job()
    pit.setup()  # 2
    by(pit, "office", "receiver-clamps", {"place_mm": [800.0, 180.0, 260.0]})  # 3
    assert refused(pit, "office", "targets", pit.target_body("sump", 1.0), 422) == {
        "/benchmark": "unknown-benchmark"
    }
    pit.withdraw(2)  # 4
    assert pit.get()["seat"] is None
    body = {"seqs": [3]}
    assert pit.refused("acknowledgements", body, 409) == {"": "not-at-seat"}
    assert pit.refused("seats", {}, 409) == {"": "no-setup"}
    pit.setup(machine="published-mini", attachment="published-mini-bucket")  # 5, without a receiver
    assert pit.get()["seat"] == "local"
    assert pit.refused("acknowledgements", body, 409) == {"/seqs/0": "overtaken"}
    assert waiting(pit) == [3]
    pit.withdraw(5)
    pit.setup()  # 7: the same machine again, but perhaps not the same receiver
    assert pit.refused("acknowledgements", body, 409) == {"/seqs/0": "overtaken"}


def test_an_acknowledged_setup_is_undone_by_what_came_after_it_took_effect(dig: JobDoer) -> None:
    by(dig, "office", "setups", SETUP)  # 7
    dig.touch(-1.60)  # 8: on the setup of entry 3
    height = dig.get()["height"]
    acknowledge(dig, 7)  # 9
    assert dig.get()["height"] is None
    dig.withdraw(7)  # 10: nothing rests on it, though 8 has a later number
    assert dig.get()["height"] == height
    assert dig.get()["machine"]["id"] == "crawler-14t"
    dig.withdraw(10)  # 11
    assert dig.get()["height"] is None
    dig.post(
        "touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": _digging()}
    )  # 12
    for seq in (7, 11, 3):
        assert dig.refused("withdrawals", {"seq": seq, "reason": "x"}, 409) == {"/seq": "not-withdrawable"}
    as_on_disk(dig)


def _digging() -> Json:
    return {
        "angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": 17.4},
        "attitude_deg": {"pitch": 0.0, "roll": 0.0},
    }


def test_a_reading_from_before_the_acknowledgement_is_refused(
    dig: JobDoer, monkeypatch: pytest.MonkeyPatch
) -> None:
    by(dig, "office", "attachment-changes", {"attachment": "tilting-1800"})  # 7
    before = {"pose": edge_at(-2.0), "units": "m", "observed_at": utc_now().isoformat()}
    dig.post("readouts", before, 200)
    acknowledge(dig, 7)
    assert dig.refused("readouts", before, 422) == {"/observed_at": "observed-before"}


def test_only_for_an_assigned_machine(dig: JobDoer) -> None:
    """Who may not put a machine on a job cannot acknowledge that another did."""
    by(dig, "office", "setups", {"machine": "published-mini", "attachment": "published-mini-bucket"})  # 7
    assigned = frozenset({"crawler-14t"})
    with asking(dig.client, "local", assigned):
        assert dig.refused("acknowledgements", {"seqs": [7]}, 403) == {"/seqs/0": "not-assigned"}
        assert dig.refused(
            "setups", {"machine": "published-mini", "attachment": "published-mini-bucket"}, 403
        ) == {"/machine": "not-assigned"}
    with asking(dig.client, "berta", frozenset()):
        assert dig.refused("seats", {}, 403) == {"": "not-assigned"}


def test_a_profile_measured_anew_changes_no_job_but_is_told(client: Client, job: Opener) -> None:
    name = f"seat-{job().id[-8:-2]}"
    first = client.post("/v1/machines", own(name))["revision"]
    pit = job()
    pit.benchmark("slab", 100.0)
    pit.post("setups", {"machine": name, "attachment": "published-mini-bucket"})
    pose = {
        "angles_deg": {"boom": 10.0, "stick": -80.0, "bucket": 70.0}, "attitude_deg": {"pitch": 0.0, "roll": 0.0}
    }  # fmt: skip
    assert pit.read(pose)["warnings"] == []
    second = client.post("/v1/machines", own(name, "taped anew"))["revision"]
    told = pit.read(pose)
    assert told["machine"]["revision"] == pit.get()["machine"]["revision"] == first
    [warning] = told["warnings"]
    assert warning["code"] == "later-revision"
    assert first[:8] in warning["found"]
    assert second[:8] in warning["expected"]
    by(pit, "office", "setups", {"machine": name, "attachment": "published-mini-bucket"})
    assert [warning["code"] for warning in pit.read(pose)["warnings"]] == [
        "waits-for-the-seat",
        "later-revision",
    ]
    acknowledge(pit, pit.get()["seq"])
    assert pit.read(pose)["warnings"] == []
    assert pit.get()["machine"]["revision"] == second


def test_the_units_of_a_job_never_change(dig: JobDoer) -> None:
    client = dig.client
    dig.target("drain", 1.0, along_percent=2.0)
    assert client.refused("/v1/jobs", {"id": dig.id, "name": "A pit", "units": "ft"}, 409) == {
        "/id": "job-exists"
    }
    for method in ("PUT", "PATCH", "DELETE"):
        assert client.http.request(method, dig.path, json={"units": "ft"}).status_code == 405
    assert dig.refused("withdrawals", {"seq": 1, "reason": "x"}, 422) == {"/seq": "out-of-range"}
    paths = client.get("/openapi.json")["paths"]
    routes = [
        path.rpartition("/")[2]
        for path, item in paths.items()
        if "{job}" in path and "/fitting/" not in path and "post" in item
    ]
    bodies = {
        "benchmarks": {"name": "kerb", "elevation": 1.0}, "targets": dig.target_body("sump", 1.0),
        "strikes": dig.strike_body(1.13), "readouts": {"pose": edge_at(-2.0)},
        "uncertainties": {"pose": edge_at(-2.0)}, "explanations": {"sides": [{"pose": edge_at(-2.0)}] * 2},
        "stations": {"target": "drain", "station": 0.0, "edge_point": "centre", "pose": edge_at(-2.0)},
        "checks": {"target": "drain", "station": 0.0, "pose": edge_at(-2.0)},
        "rod-checks": {"edge_point": "centre", "pose": edge_at(-2.0), "elevation": 98.0},
        "wear-checks": {"edge_point": "centre", "distance": 1.3},
        "laser-tests": {
            "procedure": "simplified", "laser": "pump house laser", "apart": 40.0,
            "sights": [
                {"along": 20.0, "heading_deg": turn, "reading_a": 1.5, "reading_b": 1.3} for turn in (0, 90, 180, 270)
            ],
        },
        "certificates": {
            "tolerance": 0.03, "agreed_by": "both", "builder": "the workshop", "customer": "the water works",
            "machine_serial": "1", "serials": {"boom": "B-1"},
        },
    }  # fmt: skip
    assert len(routes) >= 22
    for what in routes:
        for who in ("local", "office"):
            with asking(client, who):
                found = dig.refused(what, bodies.get(what, {}) | {"units": "ft"}, 422)
            assert ("wrong-units" if what in bodies else "unknown-field") in found.values(), what
    assert dig.get()["units"] == "m"
