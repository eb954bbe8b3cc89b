"""What a job says of its surroundings, and how well a benchmark is known: recorded, shown, waiting, refused."""

import hashlib
import json
import math
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from sqlalchemy.orm import Session

from kinematics.estimates import Estimates
from service.app import create_app
from service.settings import Settings
from service.store import NewEvent, StoredEvent, events, utc_now, verify_chain
from tests.tolerances import NOISE_M, ROUNDING

from .callers import acknowledge, as_on_disk, by, waiting
from .doing import Client, JobDoer, Json, edge_at, metres

Opener = Callable[..., JobDoer]
USUAL = {
    "contact_mm": 3.0, "benchmark_mm": 0.0, "receiver_mm": 1.5, "laser_level_arcsec": 10.0, "places_apart_m": 20.0,
    "laser_distance_m": 50.0, "temperature_k": 10.0, "distance_mm": 50.0,
}  # fmt: skip


def surroundings(job: JobDoer) -> Estimates:
    found = job.client.app.state.keeper.state(job.id).surroundings
    assert isinstance(found, Estimates)
    return found


def test_a_job_has_the_usual_estimates_in_the_units_of_the_door(job: Opener) -> None:
    pit = job()
    assert pit.get()["estimates"] == USUAL
    assert surroundings(pit) == Estimates()


def test_estimates_are_recorded_and_read_back(dug: JobDoer) -> None:
    dug.touch(-1.62)
    before = dug.get()
    done = dug.post(
        "estimates", {"estimates": {"contact_mm": 5.0, "laser_level_arcsec": 36.0}, "note": "wind"}
    )  # 6
    assert (done["type"], done["waits"], done["voids"], done["hangs_on"]) == ("estimates-set", False, [], [])
    job = dug.get()
    assert job["estimates"] == USUAL | {"contact_mm": 5.0, "laser_level_arcsec": 36.0}
    assert job | {"estimates": 0, "seq": 0} == before | {"estimates": 0, "seq": 0}, "nothing else changes"
    said = surroundings(dug)
    assert said.contact == pytest.approx(0.005, rel=ROUNDING)
    assert said.laser_level == pytest.approx(math.radians(0.01), rel=ROUNDING)
    dug.post("estimates", {"estimates": {"temperature_k": 25}})
    assert dug.get()["estimates"] == USUAL | {"temperature_k": 25.0}, "what is left out has its default"
    assert dug.get("level-book")["rows"][-1]["what"] == "estimates"
    assert [event["payload"]["note"] for event in dug.events()[5:]] == ["wind", ""]
    as_on_disk(dug)


def test_every_estimate_reaches_its_place(job: Opener) -> None:
    """Each by a number of its own, so that none takes another's."""
    pit = job(estimates=dict(zip(USUAL, range(1, 9), strict=True)))
    assert list(pit.get()["estimates"].values()) == [float(n) for n in range(1, 9)]
    said = surroundings(pit)
    lengths = (said.contact, said.benchmark, said.receiver, said.distance)
    assert lengths == pytest.approx((0.001, 0.002, 0.003, 0.008), rel=ROUNDING)
    assert said.laser_level == pytest.approx(4.0 * math.pi / 648_000, rel=ROUNDING)
    assert (said.places_apart, said.laser_distance, said.temperature) == (5.0, 6.0, 7.0)


def test_the_largest_that_the_door_takes_is_taken_inside(dug: JobDoer) -> None:
    schema = dug.client.get("/openapi.json")["components"]["schemas"]["Estimates"]["properties"]
    assert {name: field["default"] for name, field in schema.items()} == USUAL
    assert {field["minimum"] for field in schema.values()} == {0}
    most = {name: field["maximum"] for name, field in schema.items()}
    assert most == {
        **dict.fromkeys(("contact_mm", "benchmark_mm", "receiver_mm", "distance_mm"), 1000.0),
        "laser_level_arcsec": 1800.0, "places_apart_m": 2000.0, "laser_distance_m": 2000.0, "temperature_k": 100.0,
    }  # fmt: skip
    for extreme in (most, dict.fromkeys(USUAL, 0.0)):
        dug.post("estimates", {"estimates": extreme})
        assert dug.get()["estimates"] == extreme
        assert max(abs(getattr(surroundings(dug), name)) for name in Estimates.__slots__) <= 2000.0


def test_estimates_of_another_wait_and_may_be_withdrawn(dug: JobDoer) -> None:
    done = by(dug, "office", "estimates", {"estimates": {"contact_mm": 6.0}})  # 5
    assert (done["waits"], done["voids"]) == (True, [])
    by(dug, "office", "estimates", {"estimates": {}})  # 6
    assert dug.get()["estimates"] == USUAL
    assert [each["words"] for each in dug.get()["waiting"]] == [
        "estimates: contact_mm 6 (now 3)", "estimates: as they are"
    ]  # fmt: skip
    codes = [each["code"] for each in dug.read(edge_at(-2.0))["warnings"]]
    assert "waits-for-the-seat" in codes
    assert acknowledge(dug, 5)["voids"] == []  # 7
    assert dug.get()["estimates"]["contact_mm"] == 6.0
    assert waiting(dug) == [6]
    dug.touch(-1.62)  # 8
    height = dug.get()["height"]
    assert by(dug, "office", "withdrawals", {"seq": 5, "reason": "x"})["waits"], (
        "9: as every withdrawal of others"
    )
    dug.withdraw(5)  # 10: no reading rests on it
    assert dug.get()["estimates"] == USUAL
    assert dug.get()["height"] == height
    as_on_disk(dug)


def test_a_withdrawn_estimate_leaves_what_was_before(dug: JobDoer) -> None:
    dug.post("estimates", {"estimates": {"contact_mm": 5.0}})  # 5
    dug.post("estimates", {"estimates": {"contact_mm": 7.0}})  # 6
    dug.strike(1.13)
    dug.touch(-1.62)
    dug.withdraw(6)  # 9
    assert dug.get()["estimates"]["contact_mm"] == 5.0
    dug.withdraw(9)
    assert dug.get()["estimates"]["contact_mm"] == 7.0


WRONG = [
    ("contact_mm", -0.001, "out-of-range"), ("benchmark_mm", -1, "out-of-range"), ("receiver_mm", 1e308, "out-of-range"),
    ("laser_level_arcsec", 1800.5, "out-of-range"), ("places_apart_m", 2001, "out-of-range"),
    ("laser_distance_m", 10**30, "out-of-range"), ("temperature_k", 100.1, "out-of-range"),
    ("distance_mm", "50", "wrong-type"), ("contact_mm", True, "wrong-type"), ("contact_mm", None, "wrong-type"),
    ("contact_mm", [3.0], "wrong-type"), ("mercy", 1.0, "unknown-field"), ("contact", 0.003, "unknown-field"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "value", "code"), WRONG)
def test_wrong_estimates_are_refused_at_their_place(
    client: Client, dug: JobDoer, name: str, value: object, code: str
) -> None:
    asked = {"estimates": {name: value}}
    assert dug.refused("estimates", asked, 422) == {f"/estimates/{name}": code}
    opening = {"id": "never", "name": "A", "units": "m"} | asked
    assert client.refused("/v1/jobs", opening, 422) == {f"/estimates/{name}": code}
    client.get("/v1/jobs/never", 404)


def test_all_that_is_wrong_is_told_at_once(dug: JobDoer) -> None:
    wrong = {"estimates": {"contact_mm": -1.0, "places_apart_m": "far", "mercy": 1.0}, "units": "m"}
    assert dug.refused("estimates", wrong, 422) == {
        "/estimates/contact_mm": "out-of-range", "/estimates/places_apart_m": "wrong-type",
        "/estimates/mercy": "unknown-field", "/units": "unknown-field",
    }  # fmt: skip
    assert dug.refused("estimates", {}, 422) == {"/estimates": "missing-field"}


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_no_number_at_all_is_refused(dug: JobDoer, text: str) -> None:
    told = dug.client.raw(f"{dug.path}/estimates", f'{{"estimates": {{"contact_mm": {text}}}}}', 422)
    assert [(each["pointer"], each["code"]) for each in told["errors"]] == [
        ("/estimates/contact_mm", "not-finite")
    ]
    body = f'{{"name": "kerb", "elevation": 1.0, "units": "m", "uncertainty": {text}}}'
    told = dug.client.raw(f"{dug.path}/benchmarks", body, 422)
    assert [each["pointer"] for each in told["errors"]] == ["/uncertainty"]
    assert dug.get()["seq"] == 4


# Of a benchmark


@pytest.mark.parametrize(
    ("units", "written", "wanted"),
    [
        ("m", 0.002, 0.002), ("mm", 2, 0.002), ("ft", 0.01, 0.003048), ("ftin", '1/8"', 0.003175), ("m", 1, 1.0),
        ("m", 0, 0.0),
    ],
)  # fmt: skip
def test_a_benchmark_s_own_uncertainty(job: Opener, units: str, written: float | str, wanted: float) -> None:
    pit = job(units)
    pit.benchmark("slab", 100.0)  # 2
    elevation = pit.length(99.5)
    pit.post(
        "benchmarks", {"name": "nail", "elevation": elevation, "uncertainty": written, "units": units}
    )  # 3
    pit.setup()
    pit.touch(-1.62)
    pit.turning_point("stone", -2.0)
    points = {point["name"]: point for point in pit.get()["points"]}
    assert metres(points["nail"]["uncertainty"]) == pytest.approx(wanted, abs=NOISE_M)
    assert [points[name]["uncertainty"] for name in ("slab", "stone")] == [None, None]
    assert pit.get("benchmarks") == pit.get()["points"]
    assert pit.client.app.state.keeper.state(pit.id).benchmark_uncertainty == {
        3: pytest.approx(wanted, abs=NOISE_M)
    }
    assert [event["payload"]["uncertainty_m"] is None for event in pit.events()[1:3]] == [True, False]
    pit.withdraw(3)
    pit.benchmark("nail", 99.4)
    points = {point["name"]: point for point in pit.get()["points"]}
    assert points["nail"]["uncertainty"] is None, "what was withdrawn says nothing of the next of that name"
    as_on_disk(pit)


@pytest.mark.parametrize(
    ("units", "written", "code"),
    [
        ("m", -0.002, "out-of-range"), ("m", 1.001, "out-of-range"), ("mm", 1001, "out-of-range"),
        ("mm", -1e-300, "out-of-range"), ("ft", 3.3, "out-of-range"), ("m", 1e7, "length-absurd"),
        ("m", "0.002", "not-a-number"), ("ftin", '-1/8"', "out-of-range"), ("ftin", 0.01, "number-for-feet-inches"),
        ("m", True, "does-not-fit"), ("m", 1e12, "does-not-fit"),
    ],
)  # fmt: skip
def test_a_wrong_uncertainty_is_refused_at_its_place(
    job: Opener, units: str, written: object, code: str
) -> None:
    pit = job(units)
    body: Json = {"name": "nail", "elevation": pit.length(99.5), "uncertainty": written, "units": units}
    found = pit.refused("benchmarks", body, 422)
    assert found["/uncertainty"] == code
    assert set(found) == {"/uncertainty"}


def test_a_benchmark_s_faults_are_told_together(dug: JobDoer) -> None:
    body = {"name": "slab", "elevation": 1e6, "uncertainty": -0.002, "units": "m"}
    told = dug.post("benchmarks", body, 422)
    assert {each["pointer"]: each["code"] for each in told["errors"]} == {
        "/name": "name-taken", "/elevation": "length-absurd", "/uncertainty": "out-of-range"
    }  # fmt: skip
    [negative] = [each for each in told["errors"] if each["pointer"] == "/uncertainty"]
    assert negative["found"] == "-0.002 m"
    assert negative["expected"] == "a standard uncertainty, 0 to 1 m"
    assert dug.refused("benchmarks", body | {"name": "kerb", "units": "mm"}, 422) == {"/units": "wrong-units"}


# What was recorded before there were estimates

RULES_OF_VERSION_2 = {
    "speed_mm_per_revolution": 3.0, "mast_deg": 10.0, "steady_deg": 0.05, "steady_s": 1.0, "surprise_mm": 50.0,
    "up_down_mm": 10.0, "age_limit_s": 2.0,
}  # fmt: skip
COMMON = {"note": "", "hangs_on": [], "waits": False}
VERSION_2: list[tuple[str, Json]] = [
    ("job-opened", COMMON | {"name": "A pit", "units": "m", "datum": "site", "rules": RULES_OF_VERSION_2}),
    ("benchmark-declared", COMMON | {"name": "slab", "elevation_m": 100.0, "entered": "100.0 m"}),
    ("rules-set", COMMON | {"rules": RULES_OF_VERSION_2 | {"surprise_mm": 20.0}}),
]


def _handed(new: NewEvent, _last: int) -> NewEvent:
    return new


def test_a_log_of_version_2_reads_as_before_and_goes_on(tmp_path: Path) -> None:
    def written(client: Client) -> list[StoredEvent]:
        def work(session: Session) -> None:
            first, *rest = (NewEvent(kind, 2, payload, "local", utc_now()) for kind, payload in VERSION_2)
            events.create_job(session, "old", "A pit", first, now=utc_now)
            for each in rest:
                events.record(
                    session, "old", partial(_handed, each), idempotency_key=None, request_hash=None,
                    expected_seq=None, now=utc_now,
                )  # fmt: skip

        client.app.state.database.write(work)
        return stored(client)

    def stored(client: Client) -> list[StoredEvent]:
        return client.app.state.database.read(lambda session: events.read_events(session, "old"))  # type: ignore[no-any-return]

    with Client(create_app(Settings(data_folder=tmp_path))) as client:
        before = written(client)
        assert [event.payload_version for event in before] == [2, 2, 2]
        pit = JobDoer(client, "old", "m")
        job = pit.get()
        assert (job["estimates"], job["rules"]["surprise_mm"]) == (USUAL, 20.0)
        assert job["points"] == [
            {
                "name": "slab",
                "elevation": {"m": 100.0, "shown": "100.000 m"},
                "uncertainty": None,
                "hangs_on": [2],
            }
        ]
        pit.post("estimates", {"estimates": {"contact_mm": 5.0}})
    with Client(create_app(Settings(data_folder=tmp_path))) as client:
        assert JobDoer(client, "old", "m").get()["estimates"]["contact_mm"] == 5.0
        after = stored(client)
        assert after[:3] == before, "nothing of it was written anew"
        assert after[3].payload_version == 4
        assert verify_chain(after) is None


def test_keys_from_before_hold(client: Client, dug: JobDoer) -> None:
    """A body without what it could not have then is the same request as then; with it, another."""

    def last_hash(job: str) -> str | None:
        stored = client.app.state.database.read(lambda session: events.read_events(session, job))
        assert isinstance(stored[-1], StoredEvent)
        return stored[-1].request_hash

    def then(path: str, body: Json) -> str:
        written = json.dumps(body | {"note": "", "observed_at": None}, sort_keys=True)
        return hashlib.sha256(f"{path}\n{written}".encode()).hexdigest()

    asked = {"name": "nail", "elevation": 99.5, "units": "m"}
    first = dug.post("benchmarks", asked, Idempotency_Key="k")
    assert last_hash(dug.id) == then(f"{dug.path}/benchmarks", asked)
    assert dug.post("benchmarks", asked, Idempotency_Key="k") == first | {"replayed": True}
    more = asked | {"uncertainty": 0.002}
    assert dug.refused("benchmarks", more, 409, Idempotency_Key="k") == {"": "idempotency-conflict"}
    opening = {"id": "keyed", "name": "A", "units": "m", "datum": "", "rules": RULES_OF_VERSION_2}
    client.post("/v1/jobs", opening, Idempotency_Key="k")
    assert last_hash("keyed") == then("/v1/jobs", opening)
