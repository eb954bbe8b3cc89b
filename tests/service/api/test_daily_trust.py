"""Rod checks, wear and laser over the door, and what a day of them says."""

import math
from collections.abc import Callable

import pytest

from kinematics.arm import Pose
from kinematics.reach import place_edge as placed
from kinematics.units import LengthUnit
from service.book.keeper import Keeper
from tests.demo_machine import place_edge
from tests.tolerances import NOISE_M

from .checking import level_body, rod, touched
from .doing import Client, JobDoer, as_asked, edge_at, faults, fitted, metres

Make = Callable[..., JobDoer]


def test_a_check_within_its_uncertainty(job: Make) -> None:
    at = touched(job())
    height = at.get()["height"]
    told = rod(at, 0.006)["check"]
    assert metres(told["difference"]) == pytest.approx(0.006, abs=NOISE_M)
    assert metres(told["tool"]) == pytest.approx(99.7, abs=NOISE_M)
    assert told["word"] == "within"
    assert told["suspect"] is None
    expected = told["expected"]
    assert metres(expected["standard"]) == pytest.approx(
        math.hypot(metres(expected["own"]), metres(expected["common"]))
    )
    assert 0.003 < metres(expected["standard"]) < 0.03
    assert "6 mm too high" in told["words"]
    assert "within its uncertainty" in told["words"]
    assert at.get()["height"] == height, "a check changes no height"


def test_what_is_expected_agrees_with_the_readout(job: Make) -> None:
    """Against a benchmark that everything hangs on: the readout's own cut-or-fill uncertainty, contact and staff added.

    `of_cut` is of the machinery of readouts, another way through the same formulas (kinematics/trust.py)."""
    at = touched(job())
    at.target("here", 0.3)
    pose = edge_at(-1.9, -85.0)
    of_cut = metres(at.read(pose, "here")["trust"]["standard"])
    told = at.post("rod-checks", level_body(at, 99.7, pose, uncertainty=0.002))["check"]
    whole = math.sqrt(of_cut**2 + 0.003**2 + 0.002**2)
    assert metres(told["expected"]["standard"]) == pytest.approx(whole, rel=1e-6)


def test_a_touch_in_the_same_posture_leaves_little_in_common(job: Make) -> None:
    at = touched(job())
    alike = rod(at, 0.0, height=-1.6)["check"]["expected"]
    other = rod(at, 0.0, height=-2.6, stick_deg=-105.0)["check"]["expected"]
    assert metres(alike["common"]) < metres(other["common"])


@pytest.mark.parametrize(
    ("off", "told"), [(0.6096, "2.00 ft: mistyped?"), (-0.3048, "1.00 ft: mistyped?"), (0.1, "all but 0.1 m")]
)
def test_a_slip_is_recorded_and_told(job: Make, off: float, told: str) -> None:
    at = touched(job())
    found = rod(at, off)
    assert found["check"]["word"] == "far beyond"
    assert told in found["check"]["suspect"]
    day = at.get("daily-trust")
    assert day["verdict"]["ok"] is False
    assert any(f"rod check {found['seq']} is suspect" in each and told in each for each in day["warnings"])


def test_in_feet(job: Make) -> None:
    at = touched(job("ft"))
    body = level_body(at, 99.7 - 0.006, edge_at(-1.9))
    told = at.post("rod-checks", body)["check"]
    assert metres(told["difference"]) == pytest.approx(0.006, abs=1e-6)
    assert told["difference"]["shown"] == "0.02 ft"
    assert "0.020 ft too high" in told["words"]


def test_by_total_station_and_by_the_plane(job: Make) -> None:
    at = touched(job())
    by_elevation = at.post("rod-checks", {
        "edge_point": "centre", "pose": edge_at(-1.9), "elevation": 99.694, "uncertainty": 0.001, "units": "m",
    })["check"]  # fmt: skip
    assert by_elevation["staff_by"] == "elevation"
    assert metres(by_elevation["difference"]) == pytest.approx(0.006, abs=NOISE_M)
    body = {"edge_point": "centre", "pose": edge_at(-1.9), "plane_reading": 1.5, "units": "m"}
    assert at.refused("rod-checks", body, 422) == {"/plane_reading": "no-plane"}
    at.strike(0.4)
    by_plane = at.post("rod-checks", body | {"plane_reading": 101.6 + 0.4 - 99.694})["check"]
    assert metres(by_plane["difference"]) == pytest.approx(0.006, abs=NOISE_M)


def test_a_falling_plane_is_no_staff(job: Make) -> None:
    at = job().equipped(fall_percent=1.0)
    at.touch(-1.6)
    at.strike(0.4)
    body = {"edge_point": "centre", "pose": edge_at(-1.9), "plane_reading": 1.5, "units": "m"}
    assert at.refused("rod-checks", body, 422) == {"/plane_reading": "plane-falls"}


def test_cut_or_fill_of_both(job: Make) -> None:
    at = touched(job())
    at.target("bottom", 0.29)
    told = rod(at, 0.03, target="bottom")["check"]["cut_fill"]
    assert told == {
        "target": "bottom", "target_elevation": {"m": pytest.approx(99.71), "shown": "99.710 m"},
        "tool": "on grade 0.010 m", "staff": "fill 0.040 m",
    }  # fmt: skip
    at.target("drain", 0.3, along_percent=1.0)
    body = level_body(at, 99.7, edge_at(-1.9), target="drain")
    assert at.refused("rod-checks", body, 422) == {"/target": "station-unknown"}
    assert at.refused("rod-checks", body | {"target": "none"}, 422) == {"/target": "unknown-target"}


def test_bad_requests(job: Make) -> None:
    at = touched(job())
    good = level_body(at, 99.7, edge_at(-1.9))
    level = good["level"]
    for change, status, expected in (
        ({"units": "ft"}, 422, {"/units": "wrong-units"}),
        ({"level": None}, 422, {"": "exactly-one"}),
        ({"elevation": 99.7}, 422, {"": "exactly-one"}),
        ({"level": level | {"benchmark": "kerb"}}, 422, {"/level/benchmark": "unknown-benchmark"}),
        ({"level": level | {"backsight": 1212.0, "foresight": 13.0}}, 422, {
            "/level/backsight": "length-absurd", "/level/foresight": "length-absurd"}),
        ({"level": level | {"foresight": -0.3}}, 422, {"/level/foresight": "out-of-range"}),
        ({"level": level | {"foresite": 1.0}}, 422, {"/level/foresite": "unknown-field"}),
        ({"rod": 1.0}, 422, {"/rod": "unknown-field"}),
        ({"edge_point": "tooth_centre"}, 422, {"/edge_point": "no-such-point"}),
        ({"uncertainty": -0.001}, 422, {"/uncertainty": "out-of-range"}),
        ({"uncertainty": 2.0}, 422, {"/uncertainty": "out-of-range"}),
        ({"swing_deg": 400.0}, 422, {"/swing_deg": "out-of-range"}),
        ({"pose": good["pose"] | {"swing_deg": 10.0}, "swing_deg": 20.0}, 422, {"/swing_deg": "given-twice"}),
        ({"observed_at": "2020-01-01T00:00:00Z"}, 422, {"/observed_at": "stale-reading"}),
        ({"pose": None}, 422, {"/pose": "no-pose"}),
    ):  # fmt: skip
        assert at.refused("rod-checks", good | change, status) == expected, change


def test_nan_is_refused(client: Client, job: Make) -> None:
    at = touched(job())
    text = (
        '{"edge_point": "centre", "elevation": NaN, "units": "m", "swing_deg": 1e999, "pose": {"attitude_deg": '
        '{"pitch": 0, "roll": 0}}}'
    )
    problem = client.raw(f"{at.path}/rod-checks", text, 422)
    assert faults(problem, 422) == {"/elevation": "not-finite", "/swing_deg": "not-finite"}


def test_every_fault_at_once(job: Make) -> None:
    at = touched(job())
    body = level_body(
        at, 99.7, {"angles_deg": {"boom": 400.0}, "attitude_deg": {"pitch": 0.0, "roll": 0.0}}, target="x"
    )
    body["level"]["benchmark"] = "kerb"
    told = at.refused("rod-checks", body, 422)
    assert {"/level/benchmark", "/target", "/pose/angles_deg/boom", "/pose/angles_deg/stick"} <= set(told)


def test_without_a_height(job: Make) -> None:
    at = job()
    at.benchmark("slab", 100.0)
    body = level_body(at, 99.7, edge_at(-1.9))
    assert at.refused("rod-checks", body, 409) == {"": "no-setup"}
    at.setup()
    assert at.refused("rod-checks", body, 409) == {"": "height-unknown"}


def test_a_withdrawn_touch_voids_its_checks(job: Make) -> None:
    at = touched(job())
    touch = at.get()["height"]["hangs_on"][-1]
    found = rod(at, 0.006)
    assert touch in found["hangs_on"]
    assert at.withdraw(touch)["voids"] == [f"entry {touch}", f"entry {found['seq']}"]
    day = at.get("daily-trust")
    assert [each["status"] for each in day["rod_checks"]] == ["void"]
    assert day["verdict"]["ok"] is None
    assert "before you dig" in day["verdict"]["words"]
    assert day["together"] is None


def test_a_move_stays_while_a_check_rests_on_what_came_after(job: Make) -> None:
    at = touched(job())
    at.strike(0.4)
    moved = at.move()["seq"]
    at.strike(0.35)
    rod(at, 0.0, height=-1.85)
    body = {"seq": moved, "reason": "it did not"}
    assert at.refused("withdrawals", body, 409) == {"/seq": "not-withdrawable"}


def test_a_good_day(job: Make) -> None:
    at = touched(job())
    for off in (0.004, -0.003, 0.005, 0.001):
        rod(at, off)
    at.touch(-1.6 + 0.002, purpose="check")
    day = at.get("daily-trust?levelled_km=0.1")
    assert day["warnings"] == []
    assert day["verdict"] == {
        "ok": True, "words": "4 rod checks today, within their uncertainty; nothing drifts that they could show.",
    }  # fmt: skip
    together = day["together"]
    assert metres(together["mean"]) == pytest.approx(0.00175, abs=1e-9)
    assert [round(1e3 * metres(each["mean"]), 3) for each in together["running"]] == [4.0, 0.5, 2.0, 1.75]
    assert together["worst_seq"] == day["rod_checks"][2]["seq"]
    [closing] = day["misclosures"]["rows"]
    assert metres(closing["misclosure"]) == pytest.approx(0.002, abs=1e-9)
    assert closing["passed"] is True
    # 12 mm sqrt(0.1 km), check_values 4.5.
    assert metres(day["misclosures"]["allowable"]) == pytest.approx(0.0037947, abs=1e-7)
    assert day["misclosures"]["past_allowable"] == []


def test_a_bad_day_says_so_with_numbers(job: Make) -> None:
    at = touched(job())
    for off in (0.052, 0.055, 0.057):
        rod(at, off)
    at.touch(-1.6 + 0.04, purpose="check")
    day = at.get("daily-trust?levelled_km=0.1")
    assert day["verdict"]["ok"] is False
    text = "\n".join(day["warnings"])
    assert "mean of 3 rod checks: the tool reads 55 mm too high, not within its uncertainty" in text
    assert "misclosure of 40 mm" in text
    assert "4 mm are allowed in levelling practice" in text
    assert len(day["misclosures"]["past_allowable"]) == 1
    assert all(any(c.isdigit() for c in each) for each in day["warnings"])


def test_a_strike_of_the_day_is_held_against_its_own_uncertainty(job: Make) -> None:
    at = touched(job())
    at.strike(0.4)
    at.strike(0.404)
    rows = at.get("daily-trust")["misclosures"]["rows"]
    assert [(each["what"], each["point"]) for each in rows] == [("strike", "laser")]
    assert metres(rows[0]["misclosure"]) == pytest.approx(0.004, abs=1e-9)
    assert rows[0]["passed"] is True
    assert 0.002 < metres(rows[0]["within"]) < 0.05


def test_other_days(client: Client, job: Make) -> None:
    at = touched(job())
    rod(at, 0.2)
    before = at.get("daily-trust?day=2020-02-29")
    assert (before["day"], before["rod_checks"], before["verdict"]["ok"]) == ("2020-02-29", [], None)
    for bad in ("2020-02-30", "today", "20200229"):
        problem = client.get(f"{at.path}/daily-trust?day={bad}", 422)
        assert [each["code"] for each in problem["errors"]] == ["not-a-time"]
    for bad in ("levelled_km=-1", "levelled_km=nan", "mm_per_root_km=0"):
        client.get(f"{at.path}/daily-trust?{bad}", 422)
    client.get("/v1/jobs/nowhere/daily-trust", 404)


def test_wear_by_tape(job: Make) -> None:
    at = touched(job())
    flat = fitted()
    pose = place_edge(flat, -1.6, -70.0)
    way = math.dist(pose.pins()["bucket_pin"], pose.body("centre"))
    body = {"edge_point": "centre", "distance": way - 0.015, "uncertainty": 0.002, "units": "m"}
    told = at.post("wear-checks", body)["check"]
    assert metres(told["wear"]) == pytest.approx(0.015, abs=NOISE_M)
    assert metres(told["within"]) == pytest.approx(1.96 * 0.002, rel=1e-4)
    assert "15 mm too low" in told["words"]
    assert "as much too high" in told["words"]
    assert told["words"] in at.get("daily-trust")["warnings"]
    at.post("wear-checks", body | {"distance": way - 0.001})
    assert at.get("daily-trust")["warnings"] == [], "the last one counts"


def test_wear_by_a_touch(job: Make) -> None:
    """The left corner, worn 30 mm: set down on the slab, the profile has it lower than the slab."""
    at = touched(job())

    def left_at(height: float) -> Pose:
        return placed(
            fitted(), pitch=math.radians(0.6), roll=math.radians(-0.4), point="left", reach=5.0, height=height,
            floor_angle=math.radians(30.0), tilt=0.0,
        ).pose  # fmt: skip

    on_it = left_at(-1.6)
    pin, left = on_it.pins()["bucket_pin"], on_it.body("left")
    way = [b - a for a, b in zip(pin, left, strict=True)]
    down = -sum(w * n for w, n in zip(way, on_it.plumb, strict=True)) / math.hypot(*way)
    assert down > 0.6
    lower = left_at(-1.6 - 0.03 * down)
    told = at.post("wear-checks", {
        "edge_point": "left", "point": "slab", "pose": as_asked(lower), "units": "m",
    })["check"]  # fmt: skip
    assert metres(told["wear"]) == pytest.approx(0.03, abs=0.002)
    assert "against centre (what both have worn alike does not show)" in told["words"]
    same = {"edge_point": "centre", "point": "slab", "pose": edge_at(-1.6), "units": "m"}
    assert at.refused("wear-checks", same, 422) == {"/edge_point": "not-independent"}


def test_a_staff_known_to_a_metre_checks_nothing(job: Make) -> None:
    at = touched(job())
    body = level_body(at, 99.7, edge_at(-1.9), uncertainty=1.0)
    assert at.refused("rod-checks", body, 422) == {"/uncertainty": "out-of-range"}


def test_the_plane_alone_proves_no_height(job: Make) -> None:
    at = touched(job())
    at.laser()
    at.strike(0.4)
    body = {"edge_point": "centre", "pose": edge_at(-1.9), "plane_reading": 101.6 + 0.4 - 99.7, "units": "m"}
    told = at.post("rod-checks", body)["check"]
    assert (told["word"], told["independent"]) == ("within", False)
    day = at.get("daily-trust")
    assert day["verdict"]["ok"] is None
    assert "came from the tool itself" in day["verdict"]["words"]
    assert day["together"] is None
    rod(at, 0.0)
    assert at.get("daily-trust")["verdict"]["ok"] is True


def test_a_sensed_swing_holds_against_a_slope(job: Make) -> None:
    at = touched(job())
    at.target("drain", 1.6, along_percent=2.0)
    pose = edge_at(-1.9) | {"swing_deg": 10.0}
    at.post(
        "stations", {"target": "drain", "station": 0.0, "edge_point": "centre", "pose": pose, "units": "m"}
    )
    told = at.post("rod-checks", level_body(at, 99.7, pose) | {"target": "drain"})["check"]
    assert told["cut_fill"] is not None


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"distance": None}, {"": "exactly-one"}), ({"point": "slab"}, {"": "exactly-one"}),
        ({"distance": 4.6}, {"/distance": "wear-absurd"}), ({"distance": 1400.0}, {"/distance": "wear-absurd"}),
        ({"distance": -1.4}, {"/distance": "not-a-length"}), ({"units": "ft"}, {"/units": "wrong-units"}),
        ({"pose": edge_at(-1.6)}, {"/pose": "not-both"}),
        ({"edge_point": "tooth_left"}, {"/edge_point": "no-such-point"}),
        ({"taped": 1.0}, {"/taped": "unknown-field"}),
        ({"distance": None, "point": "slab", "uncertainty": 0.002, "pose": edge_at(-1.6)}, {"/uncertainty": "not-both"}),
        ({"distance": None, "point": "slab"}, {"/pose": "no-pose"}),
        ({"distance": None, "point": "kerb", "pose": edge_at(-1.6)}, {"/point": "unknown-benchmark"}),
    ],
)  # fmt: skip
def test_bad_wear(job: Make, change: dict[str, object], expected: dict[str, str]) -> None:
    at = touched(job())
    body = {"edge_point": "centre", "distance": 1.4, "units": "m"} | change
    assert at.refused("wear-checks", body, 422) == expected


def test_repeats_are_answered_again(job: Make) -> None:
    at = touched(job())
    body = level_body(at, 99.7, edge_at(-1.9))
    first = at.post("rod-checks", body, Idempotency_Key="a-rod")
    again = at.post("rod-checks", body, Idempotency_Key="a-rod")
    assert (again["replayed"], again["seq"]) == (True, first["seq"])


def test_what_is_kept_is_read_back(client: Client, job: Make) -> None:
    """From the log alone, by a keeper that has seen nothing of it."""
    at = touched(job())
    rod(at, 0.006)
    state = client.app.state
    fresh = Keeper(state.database, state.profiles).state(at.id)
    assert fresh == state.keeper.state(at.id)
    assert LengthUnit(at.units) == fresh.units
