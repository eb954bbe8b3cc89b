"""Calibrations over HTTP: found from simulated touches, applied, kept, taken back; and what is refused."""

import math
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from kinematics.estimates import Estimates
from kinematics.sources import sources_of
from machine_profiles import parse_profile
from machine_profiles.calibrated import of_file

from .doing import Client, JobDoer, Json, as_asked, faults, opened
from .touching import (
    BUCKET,
    MACHINE,
    PLANTED,
    added,
    body,
    level_on,
    ours,
    reaching,
    revisions,
    sensors_of,
    staff,
    touches,
)

ON_EVERY_DATABASE = True

# The readings are exact: what is left is the fit's own stop, far below what a file's text can say (1e-4 deg).
EXACT_DEG = 1e-6
WRITTEN_DEG = 0.6e-4
PATH = "/v1/calibrations"


@pytest.fixture(scope="module", autouse=True)
def _profiles(client: Client) -> None:
    added(client)


def now(client: Client, kind: str = "machines", name: str = MACHINE) -> Json:
    found: Json = client.get(f"/v1/{kind}/{name}")
    return found


def apply(client: Client, status: int = 201, *, key: str | None = None, **more: Any) -> Any:
    asked = body(**more)
    asked = revisions(client) | asked
    headers = {} if key is None else {"Idempotency_Key": key}
    return client.post(f"{PATH}/applied", asked, status, **headers)


def test_finds_what_was_planted(client: Client) -> None:
    before = now(client)["revision"]
    told = client.post(PATH, body(), 200)
    assert told["verdict"] == "found"
    assert told["machine"] == {"id": MACHINE, "revision": before}
    for each in told["unknowns"]:
        off = math.degrees(PLANTED[each["name"]])
        assert each["change"]["deg"] == pytest.approx(off, abs=EXACT_DEG)
        assert each["found"]["deg"] - each["was"]["deg"] == pytest.approx(off, abs=EXACT_DEG)
        assert 0.0 < each["standard"]["deg"] < each["was_standard"]["deg"] == pytest.approx(0.5)
        assert each["found"]["shown"] in each["words"]
    assert len(told["residuals"]) == 8 + 8 + 6 + 1
    assert told["residuals"][16]["pointer"] == "/staff_readings/0/seen/0"
    assert told["fit"]["rms_after"] < 1e-6 < told["fit"]["rms_before"]
    [text] = told["profiles"]
    assert parse_profile(text["toml"]).sensors["boom"].mounting.nose_up == pytest.approx(  # type: ignore[union-attr]
        math.radians(3.5), abs=math.radians(WRITTEN_DEG)
    )
    assert now(client)["revision"] == before  # nothing was recorded


def test_the_units_asked_for(client: Client) -> None:
    per = 1.0 / 0.3048
    told = client.post(
        PATH, body(units="ft", staff_readings=[staff(per_m=per)], unknowns=[*PLANTED, "centre_z"]), 200
    )
    [edge] = [each for each in told["unknowns"] if each["name"] == "centre_z"]
    assert edge["was"]["shown"] == "-4.36 ft"
    assert edge["found"]["m"] == pytest.approx(-1.329, abs=1e-4)
    assert {each["kind"] for each in told["profiles"]} == {"machine", "attachment"}


def test_poses_stand_for_readings(client: Client) -> None:
    """Then the profile's own sensors would have said so, and nothing is off."""
    told = [touches(), touches("stake", 8, 1.2, 2)]
    for group, (height, seed) in zip(told, ((-1.2, 1), (1.2, 2)), strict=True):
        group["poses"] = [as_asked(there) for there in reaching(8, height, seed)]
    found = client.post(PATH, body(touches=told, staff_readings=[], link_checks=[
        {key: value for key, value in level_on("boom", 12.0, -80.0, 20.0).items() if key != "readings"}
        | {"angles_deg": {"boom": 12.0, "stick": -80.0, "bucket": 20.0}, "attitude_deg": {"pitch": 0.0, "roll": 0.0}}
    ]), 200)  # fmt: skip
    for each in found["unknowns"]:
        assert each["change"]["deg"] == pytest.approx(0.0, abs=EXACT_DEG)


def test_a_rod_two_feet_off_is_named_and_left_out(client: Client) -> None:
    asked = body(staff_readings=[staff(wrong={3: 0.6096})])
    told = client.post(PATH, asked, 200)
    assert (told["verdict"], told["suspects"]) == ("suspects", ["level by the pump house 4"])
    assert any("2.00 ft" in words for words in told["words"])
    for each in told["unknowns"]:
        assert each["change"]["deg"] == pytest.approx(math.degrees(PLANTED[each["name"]]), abs=1e-3)
    asked |= revisions(client)
    problem = client.post(f"{PATH}/applied", asked, 422)
    assert faults(problem, 422) == {"/left_out": "suspects-not-seen"}
    assert "level by the pump house 4" in problem["errors"][0]["found"]
    assert faults(client.post(f"{PATH}/applied", asked | {"left_out": ["nail"]}, 422), 422) == {
        "/left_out": "suspects-not-seen"
    }


def test_doubts_are_to_be_seen(client: Client) -> None:
    """As many unknowns as observations: found, and nothing checks it."""
    asked = body(
        unknowns=["boom.zero"],
        touches=[],
        staff_readings=[],
        link_checks=[level_on("boom", 12.0, -80.0, 20.0)],
    )
    told = client.post(PATH, asked, 200)
    assert told["verdict"] == "doubtful"
    problem = client.post(f"{PATH}/applied", asked | revisions(client), 422)
    assert faults(problem, 422) == {"/doubts_seen": "doubts-not-seen"}
    done = client.post(f"{PATH}/applied", asked | revisions(client) | {"doubts_seen": True})
    client.post(f"{PATH}/{done['id']}/roll-backs", {})


@pytest.mark.parametrize(
    ("more", "word"),
    [
        ({"touches": []}, "for 2 unknowns"),
        ({"touches": [touches(count=1)]}, "for 2 unknowns"),
        (
            {"touches": [touches() | {"poses": touches()["poses"][:1] * 5}]},
            "postures that differ by 0.00 deg",
        ),
        ({"touches": [touches()]}, "these postures cannot tell them apart"),
    ],
    ids=["nothing yet", "too few", "one posture", "not separable"],
)
def test_what_more_touches_mend_is_answered(client: Client, more: Json, word: str) -> None:
    """A wizard asks after each touch; nothing is found, and nothing can be recorded."""
    asked = body(staff_readings=[], link_checks=[]) | more
    told = client.post(PATH, asked, 200)
    assert told["verdict"] == "not-separable"
    assert told["unknowns"] == told["profiles"] == []
    assert word in " ".join(told["words"])
    for each in told["next_postures"]:
        client.post("/v1/poses", {
            "machine": MACHINE, "attachment": BUCKET, "units": "m", "angles_deg": each["joints_deg"],
            "attitude_deg": each["attitude_deg"],
        }, 200)  # fmt: skip
        assert each["before"]["deg"] >= each["after"]["deg"] > 0.0
    assert told["next_postures"]
    code = client.post(f"{PATH}/applied", asked | revisions(client), 422)["errors"][0]["code"]
    assert code in {"too-few", "all-in-one-posture", "not-separable"}


def bad(**changes: Any) -> Json:
    return body(**changes)


def pose_changed(**changes: Any) -> Json:
    told = touches()
    told["poses"][2] = told["poses"][2] | changes
    return body(touches=[told])


def reading_changed(name: str, said: Json) -> Json:
    told = touches()
    told["poses"][2] = {"readings": told["poses"][2]["readings"] | {name: said}}
    return body(touches=[told])


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        (bad(unknowns=["bom.zero"]), {"/unknowns/0": "unknown-parameter"}),
        (bad(unknowns=["boom.zero", "boom.zero"]), {"/unknowns/1": "given-twice"}),
        (bad(unknowns=[]), {"/unknowns": "invalid-request"}),
        (bad(machine="nobody"), {"/machine": "unknown-machine"}),
        (bad(machine="crawler-21t"), {"/machine": "no-sensors"}),
        (bad(staff_readings=[staff(per_m=1.0 / 0.3048)]), {"/staff_readings/0/seen/0": "wrong-units"}),
        (bad(touches=[touches(), touches()]), {"/touches": "given-twice"}),
        (bad(touches=[touches() | {"standard": -0.002}]), {"/touches/0/standard": "out-of-range"}),
        (bad(touches=[touches() | {"standard": 0}]), {"/touches/0/standard": "not-positive"}),
        (bad(touches=[touches() | {"edge_point": "middle"}]), {"/touches/0/edge_point": "not-a-choice"}),
        (bad(levers=1), {"/levers": "unknown-field"}),
        (pose_changed(angles_deg={"boom": 3.0}), {"/touches/0/poses/2": "half-described"}),
        (reading_changed("boom", {"mm": 12.0}), {"/touches/0/poses/2/readings/boom": "wrong-units"}),
        (reading_changed("boom", {"deg": [1.0, 2.0]}), {"/touches/0/poses/2/readings/boom": "not-a-number"}),
        (reading_changed("boom", {"deg": 400.0}), {"/touches/0/poses/2/readings/boom": "out-of-range"}),
        (reading_changed("arm", {"deg": 4.0}), {"/touches/0/poses/2/readings/arm": "no-such-sensor"}),
        (bad(link_checks=[level_on("boom", 12.0, -80.0, 20.0) | {"ahead": None}]),
         {"/link_checks/0/ahead": "missing-field"}),
        (bad(link_checks=[level_on("boom", 12.0, -80.0, 20.0) | {"ahead": False}]), {"/link_checks/0": "wrong-way"}),
        (bad(link_checks=[level_on("boom", 12.0, -80.0, 20.0) | {"link": "body"}]),
         {"/link_checks/0/ahead": "half-described", "/link_checks/0/axis": "missing-field"}),
    ],
)  # fmt: skip
def test_bad_input_is_refused_at_its_place(client: Client, asked: Json, expected: dict[str, str]) -> None:
    problem = client.post(PATH, asked, client.http.post(PATH, json=asked).status_code)
    assert problem["status"] in {409, 422}
    told = {fault["pointer"]: fault["code"] for fault in problem["errors"]}
    if list(expected.values()) in (["invalid-request"], ["not-a-choice"], ["unknown-field"]):
        assert list(told) == list(expected)
    else:
        assert told == expected


def test_not_a_number_is_refused(client: Client) -> None:
    text = '{"machine": "our-digger", "attachment": "our-bucket", "units": "m", "unknowns": ["boom.zero"], '
    text += '"staff_readings": [{"name": "l", "by": "level", "standard": NaN, "seen": []}]}'
    problem = client.raw(PATH, text, 422)
    assert "/staff_readings/0/standard" in faults(problem, 422)


def test_what_may_be_found_is_listed(client: Client) -> None:
    told = {
        each["name"]: each for each in client.get(f"{PATH}/unknowns?machine={MACHINE}&attachment={BUCKET}")
    }
    assert told["boom.zero"]["unit"] == "deg"
    assert told["boom.zero"]["value"] == pytest.approx(3.2)
    assert told["boom.zero"]["standard"] == pytest.approx(0.5)
    assert told["boom_length"] == {"name": "boom_length", "unit": "m", "value": 4.6, "standard": 0.0005}


def levels(link: str, count: int, **off: float) -> list[Json]:
    """Levels on one link in as many postures; `off` (deg) of one that is named so."""
    found = []
    for k in range(count):
        made = level_on(link, 10.0 + 5.0 * k, -80.0 + 2.0 * k, 20.0)
        found.append(
            made | {"name": f"{link} {k}", "inclination_deg": made["inclination_deg"] + off.get(f"_{k}", 0.0)}
        )
    return found


def test_what_nothing_checks_is_doubtful(client: Client) -> None:
    """Many levels on the boom say nothing of a single one on the stick, which is 2 deg wrong."""
    lines: Json = {
        "touches": [],
        "staff_readings": [],
        "link_checks": [*levels("boom", 6), *levels("stick", 1, _0=2.0)],
    }
    told = client.post(PATH, body(**lines), 200)
    assert told["verdict"] == "doubtful"
    assert any(each.startswith("stick 0: the other") for each in told["doubts"])
    assert faults(apply(client, 422, **lines), 422) == {"/doubts_seen": "doubts-not-seen"}


@pytest.mark.parametrize("wrong", ["_0", "_1"])
def test_of_two_that_contradict_none_is_chosen(client: Client, wrong: str) -> None:
    """Whichever comes first: nothing else tells which of two levels on the stick is 2 deg off."""
    lines = [*levels("boom", 6), *levels("stick", 2, **{wrong: 2.0})]
    problem = client.post(PATH, body(touches=[], staff_readings=[], link_checks=lines), 422)
    assert faults(problem, 422) == {"/link_checks/7": "undecided"}
    assert "stick 0 and stick 1" in problem["errors"][0]["found"]


def test_a_change_against_what_the_profile_knew(client: Client) -> None:
    """An unadjusted level turns a zero that is known to 0.5 deg by 4: told, not believed."""
    lines = [each | {"inclination_deg": each["inclination_deg"] + 4.0} for each in levels("boom", 6)]
    told = client.post(
        PATH, body(unknowns=["boom.zero"], touches=[], staff_readings=[], link_checks=lines), 200
    )
    assert told["verdict"] == "doubtful"
    assert any("boom.zero changed by" in each and "observed wrongly?" in each for each in told["doubts"])


def test_a_body_that_leans_otherwise(client: Client) -> None:
    made = touches()
    poses = [dict(each) for each in made["poses"]]
    readings = poses[2]["readings"]
    poses[2] = {
        "readings": readings
        | {"body": {"deg": [readings["body"]["deg"][0] - 8.0, readings["body"]["deg"][1]]}}
    }
    problem = client.post(PATH, body(touches=[made | {"poses": poses}]), 422)
    assert [each["code"] for each in problem["errors"]] == ["lean-differs"]
    assert problem["errors"][0]["pointer"].startswith("/touches/0/poses/2/readings")


def test_a_total_station_far_above_its_datum(client: Client) -> None:
    """350 m over the sea is no wrong unit: what a set-up counts from is found with the rest."""
    rods = staff()
    elevations = [
        {key: each[key] for key in ("readings", "edge_point")} | {"elevation": 351.6 - each["rod"]}
        for each in rods["seen"]
    ]
    told = client.post(PATH, body(staff_readings=[rods | {"by": "total-station", "seen": elevations}]), 200)
    by_rod = client.post(PATH, body(), 200)
    for one, other in zip(told["unknowns"], by_rod["unknowns"], strict=True):
        # Another standard of the staff, weighed a little otherwise.
        assert one["found"]["deg"] == pytest.approx(other["found"]["deg"], abs=0.05)


def test_shipped_profiles_are_nobodys(client: Client) -> None:
    asked = body(
        machine="crawler-14t",
        attachment="digging-1500",
        machine_revision="0" * 64,
        attachment_revision="0" * 64,
        doubts_seen=True,
    )
    for kind in ("machine", "attachment"):
        name = {"machine": "crawler-14t", "attachment": "digging-1500"}[kind]
        asked[f"{kind}_revision"] = now(client, f"{kind}s", name)["revision"]
    problem = client.post(f"{PATH}/applied", asked, 409)
    assert faults(problem, 409) == {"/machine": "name-taken"}
    assert "tipdatum profile show crawler-14t" in problem["errors"][0]["advice"]


def test_applied_counted_taken_back(client: Client) -> None:
    """From touches to a new revision to a readout with it, and back to the old numbers exactly."""
    old, bucket = now(client), now(client, "attachments", BUCKET)
    job = opened(client, "calibrated", "m")
    job.setup(MACHINE, BUCKET)
    there = as_asked(reaching(1, -1.0, 7)[0])
    job.benchmark("slab", 100.0)
    job.post("touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": there})
    height = job.read(there)
    seen: Json = {
        "touches": [touches(count=12)], "staff_readings": [],
        "link_checks": [level_on("stick", 60.0, -80.0, 20.0) | {"uncertainty_deg": 0.3}],
        "doubts_seen": True,
    }  # fmt: skip
    done = apply(client, **seen, key="once")
    assert apply(client, **seen, key="once", **_given(old, bucket))["id"] == done["id"]
    new = now(client)
    assert (new["origin"], new["revision"]) == ("calibrated", done["machine_now"]["revision"])
    assert (
        done["attachment_now"]["revision"]
        == bucket["revision"]
        == now(client, "attachments", BUCKET)["revision"]
    )
    assert done["machine"]["revision"] == old["revision"]

    # The job keeps its revision, and says that there is a later one.
    still = job.read(there)
    assert still["points"] == height["points"]
    assert any(each["code"] == "later-revision" for each in still["warnings"])

    # What was found together counts together.
    machine = parse_profile(new["toml"])
    sensors = sensors_of(machine, ours()[1])
    [(one, other, coefficient)] = sensors.correlations
    assert {one, other} == {*PLANTED}
    assert abs(coefficient) > 0.8
    told = of_file(machine.document)
    assert told is not None
    assert told.observations_sha256 == done["answer"]["observations_sha256"]
    apart = sources_of(sensors, Estimates(), apart=[one])
    assert not apart.root.size
    assert sources_of(sensors, Estimates()).root.size
    job.setup(MACHINE, BUCKET)
    _counts_together(job, one, other)

    record = client.get(f"{PATH}/{done['id']}")
    assert record["asked"]["unknowns"] == [*PLANTED]
    assert [each["name"] for each in record["answer"]["unknowns"]] == [*PLANTED]
    table = client.http.get(f"{PATH}/{done['id']}", headers={"accept": "text/csv"})
    assert table.text.splitlines()[1].startswith("boom.zero,deg,3.200000,3.5")
    assert client.get(PATH)["calibrations"][0]["id"] == done["id"]

    back = client.post(f"{PATH}/{done['id']}/roll-backs", {})
    assert back["rolls_back"] == done["id"]
    again = now(client)
    assert again["origin"] == "restored"
    assert again["revision"] not in {old["revision"], new["revision"]}
    assert new["document"].get("restored") is None
    before, after = (
        {key: value for key, value in each["document"].items() if key != "restored"} for each in (old, again)
    )
    assert after == before
    job.setup(MACHINE, BUCKET)
    job.post("touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": there})
    assert job.read(there)["points"] == height["points"]
    assert again["document"]["restored"]["revision"] == old["revision"]
    assert client.get(f"{PATH}/{done['id']}")["rolled_back_by"] == back["id"]
    for path in (done["id"], back["id"]):
        problem = client.post(f"{PATH}/{path}/roll-backs", {}, 409)
        assert problem["type"] == "/guide/problems#rolled-back"


def _counts_together(job: JobDoer, one: str, other: str) -> None:
    """Between postures like those that were touched a height is known better than from each zero by itself, and by
    repetition with drawn errors too."""
    first, *others = (as_asked(each) for each in reaching(12, -1.2, 1)[:6])
    job.post("touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": first})
    squares = {"together": 0.0, "apart": 0.0}
    asked: Json = {"of": "elevation", "edge_point": "centre", "units": "m"}
    for there in others:
        for what, pairs in (("together", []), ("apart", [{"one": one, "other": other, "coefficient": 0.0}])):
            told = job.post("uncertainties", asked | {"pose": there, "correlations": pairs}, 200)
            squares[what] += told["standard"] ** 2
        within = job.read(there)["points"]["centre"]["elevation_within"]["m"]
        told = job.post("uncertainties", asked | {"pose": there}, 200)
        assert 1e-3 * told["factor"] * told["standard"] == pytest.approx(within, rel=1e-9)
    assert squares["together"] < 0.75 * squares["apart"]
    drawn = job.post("uncertainties", asked | {"pose": others[-1], "trials": 5_000, "seed": 1}, 200)
    # A standard deviation of 5000 draws is known to 1 %.
    assert drawn["monte_carlo"]["standard"] == pytest.approx(drawn["standard"], rel=0.04)


def _given(machine: Json, bucket: Json) -> Json:
    return {"machine_revision": machine["revision"], "attachment_revision": bucket["revision"]}


def test_a_stale_revision_is_refused(client: Client) -> None:
    before = revisions(client)
    done = apply(client)
    problem = client.post(f"{PATH}/applied", body() | before, 409)
    assert faults(problem, 409) == {"/machine_revision": "older-revision"}
    # And a roll-back is, once a later revision has come.
    later = now(client)["toml"].replace("age_limit_ms = 500", "age_limit_ms = 501", 1)
    client.post("/v1/machines", {"toml": later})
    problem = client.post(f"{PATH}/{done['id']}/roll-backs", {}, 409)
    assert faults(problem, 409) == {"/machine_revision": "older-revision"}
    client.post(
        "/v1/machines", {"toml": ours()[0].source_text + "# again\n"}, 409
    )  # and so does an old upload


def test_of_two_at_once_one_wins(client: Client) -> None:
    asked = body() | revisions(client)
    with ThreadPoolExecutor(2) as pool:
        answers = [
            each.result()
            for each in [pool.submit(client.http.post, f"{PATH}/applied", json=asked) for _ in range(2)]
        ]
    assert sorted(each.status_code for each in answers) == [201, 409]
    lost = next(each.json() for each in answers if each.status_code == 409)
    assert set(faults(lost, 409).values()) == {"older-revision"}


def test_a_key_stands_for_one_request(client: Client) -> None:
    apply(client, key="mine")
    asked = body(unknowns=["boom.zero"]) | revisions(client)
    problem = client.post(f"{PATH}/applied", asked, 409, Idempotency_Key="mine")
    assert problem["type"] == "/guide/problems#idempotency-conflict"


def test_unknown_ones(client: Client) -> None:
    assert client.get(f"{PATH}/none", 404)["type"] == "/guide/problems#unknown-calibration"
    assert client.post(f"{PATH}/none/roll-backs", {}, 404)["type"] == "/guide/problems#unknown-calibration"


def test_the_list_goes_on(client: Client) -> None:
    whole = [each["id"] for each in client.get(f"{PATH}?limit=200")["calibrations"]]
    first = client.get(f"{PATH}?limit=2")
    rest = client.get(f"{PATH}?limit=200&before={first['next']}")
    assert [each["id"] for each in (*first["calibrations"], *rest["calibrations"])] == whole
    assert len(whole) > 3
    assert rest["next"] is None
