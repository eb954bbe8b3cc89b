"""The depth sheet and readouts against it, level and sloping."""

from collections.abc import Callable

import pytest

from tests.tolerances import NOISE_M

from .doing import JobDoer, edge_at, metres

Opener = Callable[..., JobDoer]


def codes(told: dict[str, list[dict[str, str]]], key: str = "no_number_because") -> list[str]:
    return [why["code"] for why in told[key]]


def test_the_sheet_sums_layers_and_overdig(dug: JobDoer) -> None:
    layers = [("floor over the slab", -0.15), ("build-up", 0.47), ("wall and footing", 1.10)]
    asked = dug.target_body("footing", 0.0) | {
        "layers": [{"name": name, "thickness": thick} for name, thick in layers], "overdig": 0.10,
        "floor_limit_below": 1.60,
    }  # fmt: skip
    sheet = dug.post("targets", asked)["target"]
    assert [metres(layer["depth_below"]) for layer in sheet["layers"]] == pytest.approx(
        [-0.15, 0.32, 1.42], abs=NOISE_M
    )
    assert metres(sheet["depth_below"]) == pytest.approx(1.52, abs=NOISE_M)
    assert metres(sheet["elevation"]) == pytest.approx(98.48, abs=NOISE_M)
    assert metres(sheet["floor_limit"]) == pytest.approx(98.40, abs=NOISE_M)
    assert dug.get("targets") == [sheet]
    assert sheet["station_known"] is True


def test_targets_refused_with_every_fault(dug: JobDoer) -> None:
    dug.target("footing", 1.4)
    body = dug.target_body("footing", 1.4)
    assert dug.refused("targets", body, 409) == {"/name": "name-taken"}
    assert dug.refused("targets", body | {"name": "t", "benchmark": "rim"}, 422) == {
        "/benchmark": "unknown-benchmark"
    }
    fresh = body | {"name": "t"}
    assert dug.refused("targets", fresh | {"floor_limit_below": 1.3}, 422) == {
        "/floor_limit_below": "floor-limit-above-target"
    }  # fmt: skip
    assert dug.refused("targets", fresh | {"overdig": -0.1, "tolerance": 0.0}, 422) == {
        "/overdig": "negative-overdig", "/tolerance": "tolerance-not-positive"
    }  # fmt: skip
    assert dug.refused("targets", fresh | {"layers": []}, 422) == {"/layers": "wrong-length"}
    # What can be read is judged beside what cannot.
    unread = fresh | {"layers": [{"name": "x", "thickness": "0,1"}], "overdig": -0.1, "tolerance": 0.0}
    assert dug.refused("targets", unread, 422) == {
        "/layers/0/thickness": "not-a-number",
        "/overdig": "negative-overdig",
        "/tolerance": "tolerance-not-positive",
    }
    wrong = body | {"benchmark": "rim", "overdig": "a", "layers": [{"name": "x", "thickness": "b"}]}
    assert dug.refused("targets", wrong, 422) == {
        "/name": "name-taken", "/benchmark": "unknown-benchmark", "/overdig": "not-a-number",
        "/layers/0/thickness": "not-a-number",
    }  # fmt: skip


def test_cut_fill_and_on_grade(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.target("footing", 1.42, floor_limit_below=1.5)
    for over, word, passed in (
        (0.35, "cut", False),
        (0.02, "on grade", False),
        (-0.05, "fill", False),
        (-0.1, "fill", True),
    ):
        told = dug.read(edge_at(-1.62 - 1.42 + over, -85.0), "footing")
        centre = told["points"]["centre"]
        assert centre["cut_fill"]["word"] == word
        assert metres(centre["cut_fill"]["above_target"]) == pytest.approx(over, abs=NOISE_M)
        assert metres(centre["cut_fill"]["amount"]) == pytest.approx(abs(over), abs=NOISE_M)
        assert centre["cut_fill"]["below_floor_limit"] is told["below_floor_limit"] is passed
        assert (told["no_number_because"], told["hangs_on"]) == ([], [2, 5, 6])
        assert told["target_cross_slope_percent"] == pytest.approx(0.0, abs=1e-9)
    plain = dug.read(edge_at(-2.0))
    assert plain["points"]["left"]["cut_fill"] is None
    assert plain["points"]["left"]["elevation"] is not None


def test_why_there_is_no_number(dug: JobDoer) -> None:
    dug.target("footing", 1.42)
    pose = edge_at(-2.0)
    told = dug.read(pose, "footing")
    assert codes(told) == ["height-unknown"]
    assert told["points"]["centre"]["elevation"] is told["points"]["centre"]["cut_fill"] is None
    assert told["lowest_elevation"] is None
    assert metres(told["points"]["centre"]["target_elevation"]) == pytest.approx(98.58, abs=NOISE_M)
    dug.touch(-1.62)
    dug.move()
    assert codes(dug.read(pose, "footing")) == ["height-unknown"]
    body = {"pose": pose, "units": "m", "target": "sump"}
    assert dug.refused("readouts", body, 422) == {"/target": "unknown-target"}
    assert dug.refused("readouts", body | {"target": "footing", "station": 1.0}, 422) == {
        "/station": "distance-useless"
    }
    assert dug.refused("readouts", {"pose": pose, "units": "m", "station": 1.0}, 422) == {
        "/station": "distance-useless"
    }
    assert dug.refused("readouts", {"pose": pose, "units": "m", "line": "teeth"}, 422) == {
        "/line": "no-such-point"
    }


def test_a_readout_records_nothing(dug: JobDoer) -> None:
    dug.touch(-1.62)
    assert dug.read(edge_at(-2.0))["seq"] == 5
    assert len(dug.events()) == 5


def sloping(job: JobDoer) -> JobDoer:
    job.touch(-1.62)
    job.target("drain", 1.0, along_percent=2.0)
    return job


def test_a_slope_lapses_on_a_move(dug: JobDoer) -> None:
    pit = sloping(dug)
    pose = edge_at(-2.6, -90.0)
    told = pit.read(pose, "drain")
    assert codes(told) == ["station-unknown"]
    assert told["points"]["centre"]["elevation"] is not None, "elevations do not need a station"
    assert pit.get("targets")[0]["station_known"] is False
    anchored = pit.station("drain", 3.0, edge_at(-2.6, -80.0))
    assert anchored["hangs_on"] == [2, 6]
    assert pit.get("targets")[0]["station_known"] is True
    told = pit.read(pose, "drain")
    assert codes(told) == []
    centre = told["points"]["centre"]
    reach = metres(told["reach"]) - metres(pit.read(edge_at(-2.6, -80.0))["reach"])
    # Same floor-flat posture nearer in: the station falls as the reach does (the body leans by half a degree).
    assert metres(centre["station"]) == pytest.approx(3.0 + reach, abs=1e-3)
    assert metres(centre["target_elevation"]) == pytest.approx(
        99.0 + 0.02 * metres(centre["station"]), abs=NOISE_M
    )
    assert told["hangs_on"] == [2, 5, 6, 7]
    pit.move()
    pit.touch(-1.7)
    told = pit.read(pose, "drain")
    assert codes(told) == ["station-lapsed"]
    assert told["points"]["centre"]["cut_fill"] is None
    assert pit.get("targets")[0]["station_known"] is False
    entered = pit.read(pose, "drain", station=3.5)
    assert codes(entered) == []
    assert metres(entered["points"]["centre"]["station"]) == pytest.approx(3.5, abs=NOISE_M)
    assert metres(entered["points"]["centre"]["target_elevation"]) == pytest.approx(99.07, abs=NOISE_M)


def test_a_slope_lapses_on_a_swing_unless_it_is_sensed(dug: JobDoer) -> None:
    pit = sloping(dug)
    zero, pose = edge_at(-2.6, -80.0), edge_at(-2.6, -90.0)
    pit.station("drain", 0.0, zero)
    pit.post("swings")
    assert codes(pit.read(pose, "drain")) == ["station-lapsed"]
    assert pit.get("targets")[0]["station_known"] is False
    pit.station("drain", 0.0, zero | {"swing_deg": 10.0})
    pit.post("swings")
    assert pit.get("targets")[0]["station_known"] is True
    assert codes(pit.read(pose | {"swing_deg": 10.0}, "drain")) == []
    assert codes(pit.read(pose, "drain")) == ["station-lapsed"], "a pose without the swing cannot be placed"
    # On a lean of 0.7 deg a half turn changes the body's lean: the same lean at another swing is no swing at all.
    assert codes(pit.read(pose | {"swing_deg": 190.0}, "drain")) == ["station-lapsed"]


def test_stations_refused(dug: JobDoer) -> None:
    pit = sloping(dug)
    pit.target("footing", 1.4)
    body = {"target": "footing", "station": 0.0, "edge_point": "centre", "pose": edge_at(-2.6), "units": "m"}
    assert pit.refused("stations", body, 422) == {"/target": "target-is-level"}
    assert pit.refused("stations", body | {"target": "no"}, 422) == {"/target": "unknown-target"}
    drain = body | {"target": "drain"}
    assert pit.refused("stations", drain | {"edge_point": "tooth_left"}, 422) == {
        "/edge_point": "no-such-point"
    }
    assert pit.refused("stations", drain | {"station": 1e5}, 422) == {"/station": "length-absurd"}


def test_across_the_edge(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.target("apron", 0.6, across_percent=-2.0)
    zero = edge_at(-2.0, -80.0)
    dug.station("apron", 0.0, zero)
    told = dug.read(zero, "apron")
    left, right = (metres(told["points"][name]["target_elevation"]) for name in ("left", "right"))
    # A 1.8 m edge at 2 %: 36 mm (domain arithmetic), less what a lean of half a degree takes.
    assert left - right == pytest.approx(0.036, abs=1e-4)
    assert told["target_cross_slope_percent"] == pytest.approx(-2.0, abs=0.01)


def test_warnings(job: Opener) -> None:
    pit = job().equipped(attachment="tilt-rotator-1600")
    lean = {"pitch": 0.0, "roll": 0.0}
    angles = {"boom": 20.0, "stick": -90.0, "bucket": 50.0, "tilt": 0.0, "rotate": 180.0}
    told = pit.read({"angles_deg": angles, "attitude_deg": lean})
    assert told["past_square"] is True
    assert "past-square" in codes(told, "warnings")
    told = pit.read({"angles_deg": angles | {"rotate": 0.0}, "attitude_deg": lean})
    assert told["past_square"] is False
    assert "past-square" not in codes(told, "warnings")
    rubbing = [
        pit.read({"angles_deg": angles | {"rotate": 0.0, "bucket": bucket}, "attitude_deg": lean})
        for bucket in (-20.0, 0.0, 60.0, 120.0)
    ]
    assert {metres(each["heel_clearance"]) < 0 for each in rubbing} == {True, False}
    for each in rubbing:
        assert ("heel-rubs" in codes(each, "warnings")) == (metres(each["heel_clearance"]) < 0)


def test_a_tolerance_meant_in_millimetres(dug: JobDoer) -> None:
    """30 m either way: every edge would read on grade."""
    body = dug.target_body("footing", 1.42)
    assert dug.refused("targets", body | {"tolerance": 30.0}, 422) == {"/tolerance": "length-absurd"}
    assert dug.refused("targets", body | {"tolerance": 1.001}, 422) == {"/tolerance": "length-absurd"}
    dug.post("targets", body | {"tolerance": 1.0})
