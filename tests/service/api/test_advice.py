"""Corrections in readouts: each move, made and read again, stands on the target; none where there is no number."""

import math
from collections.abc import Callable
from typing import Any

import pytest

from kinematics.units import LengthUnit, show
from service.api.sensitivities import POINTS_IN_WORDS

from .doing import JobDoer, Json, edge_at, metres

Opener = Callable[..., JobDoer]
LANDS_M = 1e-6
JOINTS = ("boom", "stick", "bucket")


def after(pose: Json, joint: str, angle: float) -> Json:
    return pose | {"angles_deg": pose["angles_deg"] | {joint: angle}}


def each_lands(pit: JobDoer, pose: Json, target: str, middle: str = "centre", **more: Any) -> Json:
    """Every correction of a readout, made and read again; returns the readout."""
    told: Json = pit.read(pose, target, **more)
    assert [one["joint"] for one in told["corrections"]] == list(JOINTS)
    reached = 0
    for one in told["corrections"]:
        again = pit.read(after(pose, one["joint"], one["angle_deg"]), target, **more)
        point = again["points"]["centre"]["cut_fill"]
        assert math.isfinite(point["above_target"]["m"])
        assert abs(point["above_target"]["m"] - one["off_by"]["m"]) <= LANDS_M
        if one["reaches"]:
            reached += 1
            assert abs(point["above_target"]["m"]) <= LANDS_M
            assert one["words"].startswith("advice: ")
        else:
            assert " alone cannot: the " in one["words"]
            assert one["words"].endswith("the target")
        below = any(warning["code"] == "below-floor-limit" for warning in one["warnings"])
        assert below == again["below_floor_limit"]
    assert reached
    return told


def leaning(pitch: float, roll: float, **more: float) -> Json:
    joints = {"boom": 5.0, "stick": -85.0, "bucket": 40.0, "tilt": 2.0}
    return {"angles_deg": joints, "attitude_deg": {"pitch": pitch, "roll": roll}, **more}


@pytest.mark.parametrize("over", [0.35, 0.02, -0.06])
def test_a_level_target(dug: JobDoer, over: float) -> None:
    dug.touch(-1.62)
    dug.target("footing", 1.42, floor_limit_below=1.5)
    told = each_lands(dug, edge_at(-1.62 - 1.42 + over, -85.0), "footing")
    boom = told["corrections"][0]
    assert boom["reaches"]
    doing, way = ("lower", "shorter") if over > 0.0 else ("raise", "longer")
    assert boom["words"] == (
        f"advice: {doing} the boom {abs(boom['move_deg']):.2f} deg "
        f"(its cylinder {abs(boom['cylinder_move_mm']):.0f} mm {way})"
    )
    assert "Advisory only" in told["advisory"]


@pytest.mark.parametrize(("along", "across"), [(6.0, 0.0), (0.0, -5.0), (-4.0, 7.0)])
def test_a_target_that_slopes_along_and_across(dug: JobDoer, along: float, across: float) -> None:
    """The body leans by 8 deg, so that the boom brings the edge sideways as well as down."""
    dug.touch(-1.62)
    dug.target("drain", 0.9, along_percent=along, across_percent=across)
    dug.station("drain", 3.0, leaning(4.0, -7.0))
    told = each_lands(dug, after(leaning(4.0, -7.0), "boom", 12.0), "drain")
    wanted = told["target_cross_slope_percent"]
    tilt = told["tilt_for_cross_slope"]
    assert tilt["reaches"]
    again = dug.read(after(after(leaning(4.0, -7.0), "boom", 12.0), "tilt", tilt["angle_deg"]), "drain")
    assert again["cross_slope_percent"] == pytest.approx(wanted, abs=1e-6)
    # Tilting turns the edge a little in plan: what is wanted of it moves by far less than what was off.
    assert again["target_cross_slope_percent"] == pytest.approx(wanted, abs=0.2)


@pytest.mark.parametrize("swing_deg", [0.0, 37.0, 120.0])
def test_a_slope_with_swing_sensed(dug: JobDoer, swing_deg: float) -> None:
    """Zero touched at a swing of 10 deg on a stand whose left track lies 6 deg higher; read at another swing."""

    def at(swing: float, **angles: float) -> Json:
        x, y = (math.sin(math.radians(6.0)) * f(math.radians(swing)) for f in (math.sin, math.cos))
        roll = math.atan2(y, math.sqrt(1.0 - x * x - y * y))
        lean = leaning(math.degrees(math.asin(x)), math.degrees(roll), swing_deg=swing)
        return lean | {"angles_deg": lean["angles_deg"] | angles}

    dug.touch(-1.62)
    dug.target("drain", 0.9, along_percent=5.0, across_percent=-3.0)
    dug.station("drain", 0.0, at(10.0))
    each_lands(dug, at(swing_deg, boom=9.0, stick=-80.0), "drain")


def test_teeth_and_what_then_stands_too_deep(job: Opener) -> None:
    """The edge on the target has the teeth below it: told of the edge, not of the teeth."""
    pit = job().equipped(attachment="digging-1500")
    pose = {
        "angles_deg": {"boom": 2.0, "stick": -90.0, "bucket": 60.0},
        "attitude_deg": {"pitch": 0.0, "roll": 0.0},
    }
    touch = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": pose}
    pit.post("touches", touch)
    pit.target("footing", 0.2, tolerance=0.005, floor_limit_below=0.23)
    warned = 0
    for line in ("edge", "teeth"):
        told = each_lands(pit, pose, "footing", line=line)
        for one in told["corrections"]:
            again = pit.read(after(pose, one["joint"], one["angle_deg"]), "footing", line=line)
            deep = 99.8 - metres(again["lowest_elevation"])
            assert abs(metres(one["lowest_below"]) - deep) <= LANDS_M
            assert one["lowest_point"] == again["lowest_point"] or deep < LANDS_M
            codes = [warning["code"] for warning in one["warnings"]]
            assert codes == [
                code for code, most in (("past-target", 0.005), ("below-floor-limit", 0.03)) if deep > most
            ]
            if codes:
                warned += 1
                assert (
                    f"would then be {show(deep, LengthUnit.M)} below the target"
                    in one["warnings"][0]["words"]
                )
            if len(codes) == 2:
                assert one["warnings"][1]["words"].endswith(
                    f"{show(deep - 0.03, LengthUnit.M)} below the floor limit"
                )
    assert warned


@pytest.mark.parametrize("along", [0.0, 4.0])
def test_the_point_that_is_asked_for(dug: JobDoer, along: float) -> None:
    """Corners of an edge that leans stand apart: the advice asked for one brings that one to the target, and says so."""
    dug.touch(-1.62)
    dug.target("drain", 0.9, along_percent=along)
    if along:
        dug.station("drain", 3.0, leaning(4.0, -7.0))
    pose = after(leaning(4.0, -7.0), "boom", 12.0)
    moves = set()
    for point in ("left", "centre", "right"):
        told = dug.read(pose, "drain", edge_point=point)
        assert told["edge_point"] == point
        boom = told["corrections"][0]
        assert boom["reaches"]
        moves.add(round(boom["move_deg"], 6))
        there = dug.read(after(pose, "boom", boom["angle_deg"]), "drain")["points"][point]["cut_fill"]
        assert abs(there["above_target"]["m"]) <= LANDS_M
        short = dug.read(after(pose, "stick", -50.0), "drain", edge_point=point)["corrections"]
        for each in short:
            assert each["reaches"] or f"the {POINTS_IN_WORDS[point]} stays" in each["words"]
    assert len(moves) == 3
    assert dug.read(pose, "drain")["edge_point"] == "centre"
    assert (
        dug.read(pose, "drain")["corrections"] == dug.read(pose, "drain", edge_point="centre")["corrections"]
    )


@pytest.mark.parametrize(("units", "shown"), [("m", "mm"), ("mm", "mm"), ("ft", "ft"), ("ftin", '"')])
def test_warnings_in_the_units_of_the_job(job: Opener, units: str, shown: str) -> None:
    """Parts of the bucket by their names in the trade, lengths in the job's units: in mm where these are metres."""
    pit = job(units).equipped(attachment="digging-1500")
    pose = {
        "angles_deg": {"boom": 2.0, "stick": -90.0, "bucket": 60.0},
        "attitude_deg": {"pitch": 0.0, "roll": 0.0},
    }
    pit.post("touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": pose})
    half_inch: dict[str, Any] = {"m": 0.0127, "mm": 12.7, "ft": 0.0417, "ftin": '1/2"'}
    pit.target("footing", 0.0, floor_limit_below=half_inch[units])
    warned = {each["code"]: each for each in pit.read(pose, "footing")["warnings"]}
    for code in ("past-target", "below-floor-limit"):
        assert "tooth" in warned[code]["found"], "digging-1500 has teeth"
        assert "tooth_" not in warned[code]["found"]
    for words in (warned["past-target"]["found"], warned["past-target"]["expected"]):
        assert f"{shown} below" in words
        assert shown == "mm" or " mm" not in words


def test_a_cross_slope_of_nothing_has_no_sign(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.target("footing", 1.0)
    told = dug.read(edge_at(-2.5, -85.0, 4.0), "footing")["tilt_for_cross_slope"]
    assert told["words"].endswith("for a cross-slope of 0.0 %; then read the height again")


def test_none_without_a_number(dug: JobDoer) -> None:
    pose = edge_at(-2.6, -85.0)
    dug.target("footing", 1.0)
    dug.target("drain", 1.0, along_percent=2.0)

    def none(told: Json, codes: list[str]) -> None:
        assert (told["corrections"], told["tilt_for_cross_slope"]) == ([], None)
        assert [why["code"] for why in told["no_number_because"]] == codes

    none(dug.read(pose, "footing"), ["height-unknown"])
    dug.touch(-1.62)
    none(dug.read(pose), [])
    none(dug.read(pose, "drain"), ["station-unknown"])
    assert len(dug.read(pose, "drain", station=2.0)["corrections"]) == 3
    dug.station("drain", 0.0, pose)
    dug.post("swings")
    none(dug.read(pose, "drain"), ["station-lapsed"])


@pytest.mark.parametrize("units", ["mm", "ft", "ftUS", "ftin"])
def test_words_in_the_units_of_the_job(job: Opener, units: str) -> None:
    pit = job(units).equipped()
    pit.touch(-1.62)
    pit.target("footing", 1.4224)
    told = each_lands(pit, edge_at(-2.6, -85.0), "footing")
    boom = told["corrections"][0]
    drawn = show(abs(boom["cylinder_move_mm"]) / 1e3, LengthUnit(units))
    assert boom["words"].endswith(f"(its cylinder {drawn} shorter)")
    for one in told["corrections"]:
        if not one["reaches"]:
            assert (
                f"stays {show(abs(one['off_by']['m']), LengthUnit(units))} above the target" in one["words"]
            )
