"""Points, touches, moves, machines: what is recorded, what it voids, what is refused."""

from collections.abc import Callable

import pytest

from tests.tolerances import NOISE_M

from .doing import Client, JobDoer, edge_at, faults, fitted, metres

ON_EVERY_DATABASE = True

Opener = Callable[..., JobDoer]
TOUCH = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": edge_at(-1.62)}


def test_a_touch_sets_the_height_and_a_check_changes_nothing(dug: JobDoer) -> None:
    first = dug.touch(-1.62)
    assert (first["role"], first["misclosure"], first["hangs_on"]) == ("sets the height", None, [2])
    assert metres(first["elevation"]) == pytest.approx(101.62, abs=NOISE_M)
    before = dug.get()
    check = dug.touch(-1.615, purpose="check", stick_deg=-80.0)
    assert check["role"] == "checks"
    assert metres(check["misclosure"]) == pytest.approx(0.005, abs=NOISE_M)
    assert metres(check["elevation"]) == pytest.approx(100.005, abs=NOISE_M)
    assert dug.get() | {"seq": 0} == before | {"seq": 0}
    again = dug.touch(-1.60)
    assert metres(again["misclosure"]) == pytest.approx(0.02, abs=NOISE_M)
    assert metres(dug.get()["height"]["elevation"]) == pytest.approx(101.60, abs=NOISE_M)


def test_the_level_book_reads_what_was_read(dug: JobDoer) -> None:
    dug.strike(1.13)
    dug.touch(-1.62)
    dug.turning_point("stone", -1.9)
    dug.touch(-1.625, purpose="check")
    book = dug.get("level-book")
    rows = {row["seq"]: row for row in book["rows"]}
    assert [(seq, row["edge_point"]) for seq, row in rows.items() if row["edge_point"] is not None] == [
        (6, "centre"), (7, "centre"), (8, "centre"),
    ]  # fmt: skip
    assert metres(book["misclosure"]) == pytest.approx(-0.005, abs=NOISE_M)
    # Backsight 2.75 on the slab; foresights 3.03 on the stone and 2.755 closing, by hand from plane 102.75.
    assert metres(rows[6]["staff"]) == pytest.approx(2.75, abs=NOISE_M)
    assert metres(rows[7]["staff"]) == pytest.approx(3.03, abs=NOISE_M)
    assert metres(rows[8]["staff"]) == pytest.approx(2.755, abs=NOISE_M)
    assert metres(rows[8]["elevation"]) == pytest.approx(99.995, abs=NOISE_M)
    for row in book["rows"]:
        if row["staff"] is not None:
            assert metres(row["plane"]) - metres(row["staff"]) == pytest.approx(
                metres(row["elevation"]), abs=NOISE_M
            )
    dug.benchmark("nail", 99.5)
    assert dug.get("level-book")["rows"][-1]["staff"] is None, "nobody held a staff on it"


def test_a_job_without_a_laser(job: Opener) -> None:
    pit = job()
    pit.benchmark("slab", 100.0)
    pit.setup()
    pit.touch(-1.62)
    stone = pit.turning_point("stone", -2.0)
    assert metres(stone["elevation"]) == pytest.approx(99.62, abs=NOISE_M)
    assert stone["role"] == "sets a turning point"
    moved = pit.move()
    assert moved["voids"]
    assert pit.get()["height"] is None
    assert "stone" in [point["name"] for point in pit.get("benchmarks")]
    carried = pit.touch(-1.9, point="stone", stick_deg=-80.0)
    assert metres(carried["elevation"]) == pytest.approx(101.52, abs=NOISE_M)
    closing = pit.touch(-1.523, purpose="check")
    assert metres(closing["misclosure"]) == pytest.approx(-0.003, abs=NOISE_M)
    assert pit.refused("strikes", pit.strike_body(1.0), 409) == {"": "no-laser"}


def test_before_any_setup(job: Opener) -> None:
    pit = job()
    pit.benchmark("slab", 100.0)
    pit.laser()
    pit.target("footing", 1.4)
    bodies = {
        "touches": TOUCH, "turning-points": {"name": "x", "edge_point": "centre", "pose": edge_at(-1.62)},
        "strikes": pit.strike_body(1.0), "moves": {}, "swings": {}, "receiver-clamps": {},
        "attachment-changes": {"attachment": "digging-1500"},
        "readouts": {"pose": edge_at(-1.62), "units": "m"},
    }  # fmt: skip
    for what, body in bodies.items():
        assert pit.refused(what, body, 409) == {"": "no-setup"}, what
    assert pit.get()["how_to_know_height"] == "record a setup first"


def test_names_are_taken_once(dug: JobDoer) -> None:
    body = {"name": "slab", "elevation": 5.0, "units": "m"}
    assert dug.refused("benchmarks", body, 409) == {"/name": "name-taken"}
    dug.touch(-1.62)
    dug.turning_point("stone", -2.0)
    again = {"name": "stone", "edge_point": "centre", "pose": edge_at(-1.62)}
    assert dug.refused("turning-points", again, 409) == {"/name": "name-taken"}
    assert dug.refused("benchmarks", body | {"name": "stone"}, 409) == {"/name": "name-taken"}


def test_touches_refused_with_every_fault(dug: JobDoer) -> None:
    assert dug.refused("touches", TOUCH | {"point": "rim"}, 422) == {"/point": "unknown-benchmark"}
    assert dug.refused("touches", TOUCH | {"edge_point": "tooth_left"}, 422) == {
        "/edge_point": "no-such-point"
    }
    assert dug.refused("touches", TOUCH | {"purpose": "check"}, 409) == {"": "height-unknown"}
    body = {"name": "x", "edge_point": "left", "pose": edge_at(-1.62)}
    assert dug.refused("turning-points", body, 409) == {"": "height-unknown"}
    bad = {
        "angles_deg": {"boom": 99.0, "stick": -70.0, "tilt": 0.0},
        "attitude_deg": {"pitch": 0.0, "roll": 0.0},
    }
    assert dug.refused("touches", TOUCH | {"point": "rim", "pose": bad}, 422) == {
        "/point": "unknown-benchmark", "/pose/angles_deg/boom": "beyond-joint",
        "/pose/angles_deg/bucket": "missing-joint",
    }  # fmt: skip
    assert dug.refused("touches", {"point": " slab", "edge_point": "top", "x": 1}, 422) == {
        "/edge_point": "not-a-choice", "/point": "wrong-form", "/purpose": "missing-field", "/x": "unknown-field",
    }  # fmt: skip


def test_an_attachment_change_keeps_the_height_and_reads_the_new_edge(dug: JobDoer) -> None:
    dug.touch(-1.62)
    pose = edge_at(-1.62)
    old = dug.read(pose)
    done = dug.post("attachment-changes", {"attachment": "digging-1500"})
    assert done["voids"] == ["the choice of edge point: readouts are the new edge's"]
    assert metres(dug.get()["height"]["elevation"]) == pytest.approx(101.62, abs=NOISE_M)
    assert dug.refused("readouts", {"pose": pose, "units": "m"}, 422) == {
        "/pose/angles_deg/tilt": "no-such-joint"
    }
    bare = pose | {"angles_deg": {k: v for k, v in pose["angles_deg"].items() if k != "tilt"}}
    new = dug.read(bare)
    asked = bare | {"machine": "crawler-14t", "attachment": "digging-1500", "units": "m"}
    height = dug.client.post("/v1/poses", asked, 200)["heights"]["centre"]["m"]
    assert metres(new["points"]["centre"]["elevation"]) == pytest.approx(101.62 + height, abs=NOISE_M)
    assert (
        abs(metres(new["points"]["centre"]["elevation"]) - metres(old["points"]["centre"]["elevation"]))
        > 0.05
    )
    teeth = dug.read(bare, line="teeth")
    assert metres(teeth["points"]["left"]["elevation"]) < metres(new["points"]["left"]["elevation"])
    assert (
        dug.post("touches", TOUCH | {"edge_point": "tooth_right", "pose": bare})["role"] == "sets the height"
    )
    dug.refused("attachment-changes", {"attachment": "published-mini-bucket"}, 422)
    found = dug.refused("attachment-changes", {"attachment": "no-such"}, 422)
    assert found == {"/attachment": "unknown-attachment"}


def test_a_new_setup_voids_height_and_plane(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.strike(1.13)
    assert dug.get()["plane"] is not None
    dug.setup("crawler-21t", "digging-1500")
    after = dug.get()
    assert (after["height"], after["plane"], after["setup"]) == (None, None, 2)
    assert after["machine"]["id"] == "crawler-21t"
    assert set(
        dug.refused("setups", {"machine": "published-mini", "attachment": "tilting-1800"}, 422).values()
    )
    found = dug.refused("setups", {"machine": "no", "attachment": "tilting-1800"}, 422)
    assert found == {"/machine": "unknown-machine"}


def test_a_clamped_receiver_voids_the_plane_and_is_used_from_then_on(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.strike(1.13)
    done = dug.post("receiver-clamps", {"place_mm": [700.0, 180.0, 260.0]})
    assert "laser plane" in done["voids"]
    job = dug.get()
    assert job["plane"] is None
    assert job["height"] is not None
    receiver = fitted().machine.receiver
    assert receiver is not None
    struck = dug.strike(1.13)
    # The stick hangs nearly plumb: a receiver 0.2 m nearer its inner pin stands about 0.2 m higher.
    higher = metres(struck["receiver_height"]) - 1.13
    assert 0.19 < higher < 0.21
    assert metres(struck["elevation"]) == pytest.approx(101.62 + 1.13 + higher, abs=NOISE_M)
    dug.post("receiver-clamps", {})
    assert metres(dug.strike(1.13)["receiver_height"]) == pytest.approx(1.13, abs=NOISE_M)
    assert dug.refused("receiver-clamps", {"place_mm": [1e9, 0.0, 0.0]}, 422) == {
        "/place_mm/0": "out-of-range"
    }
    assert dug.refused("receiver-clamps", {"place_mm": [1.0, 0.0]}, 422) == {"/place_mm": "wrong-length"}


def test_names_and_notes_are_kept_as_given_and_inert(job: Opener) -> None:
    name = "<script>alert('x')</script>\"; DROP TABLE event; --"
    pit = job()
    pit.benchmark(name, 100.0)
    pit.setup()
    body = TOUCH | {"point": name, "note": "ü" * 500}
    touched = pit.post("touches", body)
    assert pit.get("benchmarks")[0]["name"] == name
    assert pit.get("level-book")["rows"][-1]["point"] == name
    [event] = [each for each in pit.events() if each["seq"] == touched["seq"]]
    assert event["payload"]["note"] == "ü" * 500
    assert pit.refused("touches", body | {"note": "x" * 501}, 422) == {"/note": "wrong-length"}
    for bad in ("", " a", "a\n", "a\x00b", "x" * 61, "\x7f"):
        found = pit.refused("benchmarks", {"name": bad, "elevation": 1.0, "units": "m"}, 422)
        assert set(found) == {"/name"}


def test_jobs_taken_and_unknown(client: Client, job: Opener) -> None:
    pit = job()
    again = {"id": pit.id, "name": "Another", "units": "m"}
    assert client.refused("/v1/jobs", again, 409) == {"/id": "job-exists"}
    for bad in ("", "A", "a b", "-a", "a-", "a" * 41, "ä", "../x", "a\n"):
        found = client.refused("/v1/jobs", again | {"id": bad}, 422)
        assert found == {"/id": "wrong-form"}, bad
    for what in ("", "/events", "/benchmarks", "/targets", "/level-book"):
        assert set(faults(client.get(f"/v1/jobs/no-such{what}", 404), 404).values()) == {"unknown-job"}
    assert client.post("/v1/jobs/no-such/moves", {}, 404)["title"] == "No such job"
    client.post("/v1/jobs/no-such/readouts", {"pose": edge_at(-1.62), "units": "m"}, 404)
    answer = client.http.post("/v1/jobs", json=again | {"id": f"{pit.id[:30]}-z"})
    assert answer.status_code == 201
    assert answer.headers["Location"] == f"/v1/jobs/{pit.id[:30]}-z"
    assert answer.headers["ETag"] == '"1"'
    assert client.get(answer.headers["Location"]) == answer.json()


def test_jobs_in_pages(client: Client, job: Opener) -> None:
    for _ in range(5):
        job()
    whole = client.get("/v1/jobs?limit=500")["jobs"]
    paged: list[dict[str, str]] = []
    cursor = ""
    while True:
        page = client.get(f"/v1/jobs?limit=2{cursor}")
        paged += page["jobs"]
        if page["next"] is None:
            break
        cursor = f"&after={page['next']}"
    assert paged == whole
    assert [line["id"] for line in whole] == sorted(line["id"] for line in whole)
    for bad in ("limit=0", "limit=501", "limit=x", "after=" + "a" * 41):
        client.get(f"/v1/jobs?{bad}", 422)


def test_events_in_pages(dug: JobDoer) -> None:
    for _ in range(3):
        dug.move()
    whole = dug.get("events")
    assert whole["next"] is None
    assert [event["seq"] for event in whole["events"]] == list(range(1, 8))
    first = dug.get("events?limit=3")
    assert first["next"] == 3
    assert first["events"] + dug.get("events?limit=1000&after=3")["events"] == whole["events"]
    assert dug.get("events?after=7") == {"events": [], "next": None}
    assert dug.get("events?limit=7")["next"] is None
    assert len({event["uuid"] for event in whole["events"]}) == 7
    for bad in ("after=-1", "limit=0", "limit=1001", "after=1.5"):
        dug.client.get(f"{dug.path}/events?{bad}", 422)
