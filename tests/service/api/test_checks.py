"""Checks: the readout of a moment, kept with what it hangs on; refused where there is none; void with what it hung on."""

import math
from collections.abc import Callable

import pytest

from .doing import Client, JobDoer, Json, edge_at, metres

POINTS = ("left", "centre", "right")
SAME_M = 1e-9
"""The same formulas twice; what differs is the order in which a few numbers are added."""


@pytest.fixture
def pit(dug: JobDoer) -> JobDoer:
    """Slab 100, touched at -1.62, footing at 98.58, tolerance 25.4 mm."""
    dug.touch(-1.62)
    dug.target("footing", 1.42)
    return dug


def body(pit: JobDoer, height: float = -3.04, **more: object) -> Json:
    return {"target": "footing", "pose": edge_at(height), "units": pit.units, **more}


def test_a_check_is_the_readout_of_that_moment(pit: JobDoer) -> None:
    pose = edge_at(-3.03)
    told = pit.read(pose, "footing")
    check = pit.post("checks", body(pit, -3.03, note="by the wall"))["check"]
    assert check["seq"] == 7
    assert check["status"] == "counts"
    for point in POINTS:
        had, read = check["points"][point], told["points"][point]
        for name in ("elevation", "target_elevation"):
            assert abs(metres(had[name]) - metres(read[name])) < SAME_M
        assert abs(metres(had["elevation_within"]) - metres(read["elevation_within"])) < SAME_M
        assert abs(metres(had["above_target"]) - metres(read["cut_fill"]["above_target"])) < SAME_M
        assert abs(metres(had["cut_fill_within"]) - metres(read["cut_fill"]["within"])) < SAME_M
        assert had["word"] == read["cut_fill"]["word"] == "on grade"
    assert abs(metres(check["points"]["centre"]["above_target"]) - 0.01) < 1e-6
    assert abs(metres(check["points"]["centre"]["reach"]) - metres(told["reach"])) < SAME_M
    assert check["cross_slope_percent"] == pytest.approx(told["cross_slope_percent"], abs=1e-9)
    assert check["cross_slope_within_percent"] == pytest.approx(told["cross_slope_within_percent"], rel=1e-9)
    assert check["hangs_on"] == [2, 5, 6]  # slab, touch, target
    assert (check["machine"]["id"], check["attachment"]["id"], check["setup"]) == (
        "crawler-14t",
        "tilting-1800",
        1,
    )
    assert len(check["machine"]["revision"]) == 64
    assert check["note"] == "by the wall"
    assert check["assumed"] == told["trust"]["assumed"]


def test_all_of_it_is_on_the_log(pit: JobDoer) -> None:
    pit.post("checks", body(pit))
    [*_, event] = pit.events()
    payload = event["payload"]
    assert event["type"] == "check-taken"
    assert payload["pose"]["joints_deg"]["stick"] == pytest.approx(-70.0)
    assert payload["pose"]["given"]["angles_deg"]["stick"] == pytest.approx(-70.0)
    assert payload["tolerance_m"] == pytest.approx(0.0254)
    for point in POINTS:
        one = payload[point]
        assert all(math.isfinite(value) for value in one.values() if isinstance(value, float))
        assert 0.001 < one["elevation_standard_m"] < 0.05
        assert one["elevation_m"] - one["target_elevation_m"] == pytest.approx(
            one["above_target_m"], abs=SAME_M
        )
        assert one["station_m"] is None
    # The bucket is 1.8 m wide and stands square: its corners 0.9 m to either side.
    assert payload["left"]["lateral_m"] - payload["right"]["lateral_m"] == pytest.approx(1.8, abs=0.01)


def test_another_line_is_warned_of(client: Client, dug: JobDoer) -> None:
    """Teeth stand proud of the edge: one of them among checks of the other would shift mean and spread."""
    dug.post("attachment-changes", {"attachment": "digging-1500"})
    there = {
        "angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": 17.4},
        "attitude_deg": {"pitch": 0.6, "roll": -0.4},
    }
    dug.post("touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": there})
    dug.target("footing", 1.42)
    asked = {"target": "footing", "pose": there, "units": dug.units}
    assert "another-line" not in {
        each["code"] for each in dug.post("checks", asked | {"line": "teeth"})["check"]["warnings"]
    }
    assert "another-line" in {each["code"] for each in dug.post("checks", asked)["check"]["warnings"]}


def test_warnings_are_kept(pit: JobDoer) -> None:
    deep = pit.post("checks", body(pit, -3.30))["check"]
    assert deep["points"]["centre"]["word"] == "fill"
    assert deep["sureness"] == "surely beyond"
    pit.target("shallow", 1.0, floor_limit_below=1.1)
    below = pit.post("checks", body(pit) | {"target": "shallow"})["check"]
    assert "below-floor-limit" in {each["code"] for each in below["warnings"]}
    assert below["points"]["left"]["below_floor_limit"]


def test_teeth(job: Callable[..., JobDoer]) -> None:
    toothed = job().equipped(attachment="digging-1500")
    pose = {
        "angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": 17.4},
        "attitude_deg": {"pitch": 0.6, "roll": -0.4},
    }
    toothed.post(
        "touches", {"point": "slab", "purpose": "reference", "edge_point": "tooth_centre", "pose": pose}
    )
    toothed.target("footing", 1.42)
    asked = {"target": "footing", "pose": pose, "units": "m"}
    teeth = toothed.post("checks", asked | {"line": "teeth"})["check"]
    edge = toothed.post("checks", asked)["check"]
    assert metres(teeth["points"]["centre"]["elevation"]) == pytest.approx(100.0, abs=SAME_M)
    assert metres(edge["points"]["centre"]["elevation"]) > 100.0
    assert teeth["line"] == "teeth"


def test_no_teeth_to_read(pit: JobDoer) -> None:
    assert pit.refused("checks", body(pit, line="teeth"), 422) == {"/line": "no-such-point"}


def test_a_sloping_target_needs_its_station(pit: JobDoer) -> None:
    pit.target("drain", 1.42, along_percent=-2.0)
    asked = body(pit) | {"target": "drain"}
    assert pit.refused("checks", asked, 422) == {"/target": "station-unknown"}
    typed = pit.post("checks", asked | {"station": 5.0})["check"]
    assert metres(typed["points"]["centre"]["station"]) == pytest.approx(5.0)
    assert metres(typed["points"]["centre"]["target_elevation"]) == pytest.approx(98.48, abs=1e-6)
    station = pit.station("drain", 0.0, edge_at(-3.04))
    touched = pit.post("checks", asked)["check"]
    assert metres(touched["points"]["centre"]["station"]) == pytest.approx(0.0, abs=1e-9)
    assert station["seq"] in touched["hangs_on"]
    pit.post("swings")
    assert pit.refused("checks", asked, 422) == {"/target": "station-lapsed"}


def test_no_number_no_check(pit: JobDoer) -> None:
    assert pit.refused("checks", body(pit) | {"target": "other"}, 422) == {"/target": "unknown-target"}
    assert pit.refused("checks", body(pit) | {"units": "ft"}, 422) == {"/units": "wrong-units"}
    assert pit.refused("checks", body(pit, station=1.0), 422) == {"/station": "distance-useless"}
    silent = {"target": "footing", "units": "m"}
    assert pit.refused("checks", silent, 422) == {"/pose": "no-pose"}
    beyond = body(pit) | {
        "pose": edge_at(-3.04) | {"angles_deg": edge_at(-3.04)["angles_deg"] | {"boom": 170.0}}
    }
    assert pit.refused("checks", beyond, 422) == {"/pose/angles_deg/boom": "beyond-joint"}
    both = beyond | {"target": "other", "units": "ft"}
    assert set(pit.refused("checks", both, 422).values()) == {"wrong-units", "unknown-target", "beyond-joint"}
    pit.move()
    assert pit.refused("checks", body(pit), 409) == {"": "height-unknown"}


def test_before_there_is_a_machine(job: Callable[..., JobDoer]) -> None:
    bare = job()
    bare.benchmark("slab", 100.0)
    bare.target("footing", 1.42)
    assert set(bare.refused("checks", body(bare), 409).values()) == {"no-setup"}


def test_a_reading_that_is_too_old_or_from_before_a_move(pit: JobDoer) -> None:
    old = body(pit, observed_at="2026-01-01T00:00:00Z")
    assert pit.refused("checks", old, 422) == {"/observed_at": "stale-reading"}


def test_void_with_what_it_hangs_on(pit: JobDoer) -> None:
    first = pit.post("checks", body(pit))["check"]["seq"]
    pit.withdraw(5)  # the touch
    [only] = pit.get("checks")["checks"]
    assert (only["seq"], only["status"]) == (first, "void")
    assert pit.get("checks/summary")["targets"][0] | {"rule": 0} == {
        "target": "footing", "tolerance": {"m": pytest.approx(0.0254), "shown": "0.025 m"}, "count": 0, "void": 1,
        "mean": None, "spread": None, "lowest": None, "highest": None, "within": None, "surely_within": 0,
        "not_sure": 0, "surely_beyond": 0, "rule": 0,
    }  # fmt: skip
    pit.withdraw(pit.get()["seq"])  # the withdrawal
    assert pit.get("checks")["checks"][0]["status"] == "counts"
    pit.withdraw(first)
    assert pit.get("checks")["checks"][0]["status"] == "withdrawn"
    assert len(pit.events()) == 10


def test_a_target_withdrawn_keeps_its_checks_in_sight(pit: JobDoer) -> None:
    pit.post("checks", body(pit))
    pit.withdraw(6)
    [gone] = pit.get("checks/summary")["targets"]
    assert (gone["target"], gone["count"], gone["void"]) == ("footing", 0, 1)


def test_what_a_check_was_made_with_cannot_be_taken_from_under_it(pit: JobDoer) -> None:
    changed = pit.post("attachment-changes", {"attachment": "digging-1500"})["seq"]
    pose = {
        "angles_deg": {"boom": 4.0, "stick": -85.0, "bucket": 40.0},
        "attitude_deg": {"pitch": 0.6, "roll": -0.4},
    }
    pit.post("checks", body(pit) | {"pose": pose})
    assert pit.refused("withdrawals", {"seq": changed, "reason": "x"}, 409) == {"/seq": "not-withdrawable"}


def test_a_key_is_answered_again(pit: JobDoer) -> None:
    first = pit.post("checks", body(pit), Idempotency_Key="k")
    again = pit.post("checks", body(pit), Idempotency_Key="k")
    assert again == first | {"replayed": True}
    assert len(pit.get("checks")["checks"]) == 1


def test_pages_of_checks(pit: JobDoer) -> None:
    taken = [pit.post("checks", body(pit, -3.04 + 0.01 * i))["seq"] for i in range(5)]
    found, after = [], 0
    while after is not None:
        page = pit.get(f"checks?limit=2&after={after}")
        assert len(page["checks"]) <= 2
        found += [each["seq"] for each in page["checks"]]
        after = page["next"]
    assert found == taken


def test_summary_by_hand(pit: JobDoer) -> None:
    off = (-0.010, 0.0, 0.004, 0.012, 0.200)
    for each in off:
        pit.post("checks", body(pit, round(-3.04 + each, 4)))
    pit.target("untouched", 1.0)
    first, second = pit.get("checks/summary")["targets"]
    checks = pit.get("checks")["checks"]
    middles = [metres(each["points"]["centre"]["above_target"]) for each in checks]
    mean = math.fsum(middles) / 5
    assert metres(first["mean"]) == pytest.approx(mean, abs=SAME_M)
    assert metres(first["mean"]) == pytest.approx(math.fsum(off) / 5, abs=1e-6)
    assert metres(first["spread"]) == pytest.approx(
        math.sqrt(math.fsum((m - mean) ** 2 for m in middles) / 4), abs=SAME_M
    )
    assert (first["within"]["count"], first["within"]["of"]) == (4, 5)
    # Clopper and Pearson, 4 of 5: 28.36 to 99.49 % (scipy.stats.binomtest).
    assert first["within"]["low_percent"] == pytest.approx(28.358, abs=1e-3)
    assert first["within"]["high_percent"] == pytest.approx(99.495, abs=1e-3)
    assert first["surely_within"] + first["not_sure"] + first["surely_beyond"] == 5
    assert first["surely_beyond"] == 1
    assert (first["highest"]["seq"], first["highest"]["point"]) == (checks[-1]["seq"], "right")
    assert (second["target"], second["count"]) == ("untouched", 0)


def test_checks_stand_in_the_level_book(pit: JobDoer) -> None:
    pit.strike(1.0)
    pit.post("checks", body(pit))
    row = pit.get("level-book")["rows"][-1]
    assert (row["what"], row["point"], row["status"]) == ("check", "footing", "counts")
    # A foresight: what a staff on the bottom would read under the plane, 101.62 + 1.0 - 98.58.
    assert metres(row["staff"]) == pytest.approx(4.04, abs=1e-4)


@pytest.mark.parametrize("units", ["mm", "ft", "ftUS", "ftin"])
def test_units(job: Callable[..., JobDoer], units: str) -> None:
    other = job(units).equipped()
    other.touch(-1.62)
    other.target("footing", 1.42)
    check = other.post("checks", body(other))["check"]
    assert metres(check["points"]["centre"]["elevation"]) == pytest.approx(98.58, abs=1e-3)
    word = {"mm": "mm", "ft": "ft", "ftUS": "ft", "ftin": '"'}[units]
    assert word in check["points"]["centre"]["elevation"]["shown"]


def test_unknown_fields_and_jobs(pit: JobDoer, client: Client) -> None:
    assert pit.refused("checks", body(pit, depth=1.0), 422) == {"/depth": "unknown-field"}
    for what in ("checks", "checks/summary", "record"):
        assert client.get(f"/v1/jobs/none/{what}", 404)["type"] == "/guide/problems#unknown-job"
