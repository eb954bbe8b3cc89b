"""Layers, targets, cut and fill: `kinematics.grade`."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.grade import Layer, Target, cut_fill, depth_below, target_elevation
from kinematics.units import from_metres, to_metres
from tests.tolerances import CLOSURE_M, NOISE_M, PRINTED_FT

heights = st.floats(-500.0, 500.0)
depths = st.floats(-5.0, 20.0)
tolerances = st.floats(0.001, 0.2)


def footing(**changes: object) -> Target:
    """Bottom of footing 1.42 below the slab, overdig included."""
    layers = (Layer("floor build-up", 0.32), Layer("wall and footing", 1.0))
    values: dict[str, object] = {
        "name": "bottom of footing", "benchmark": "slab", "layers": layers, "overdig_m": 0.1, "tolerance_m": 0.03,
    }  # fmt: skip
    return Target(**(values | changes))  # type: ignore[arg-type]


def refusal_of(**changes: object) -> Refused:
    with pytest.raises(Refused) as caught:
        footing(**changes)
    return caught.value


def codes(refused: Refused) -> set[tuple[str, str]]:
    return {(fault.code, fault.where) for fault in refused.faults}


# Depths


def test_layers_add_up_and_a_floor_above_the_benchmark_is_negative() -> None:
    layers = [Layer("finished floor", -0.15), Layer("slab", 0.20), Layer("gravel", 0.25)]
    assert abs(depth_below(layers, 0.10) - 0.40) <= CLOSURE_M
    assert abs(footing().depth_below_m - 1.42) <= CLOSURE_M


@given(parts=st.lists(depths, min_size=1, max_size=8), overdig=st.floats(0.0, 1.0))
def test_the_order_of_layers_does_not_matter(parts: list[float], overdig: float) -> None:
    layers = [Layer(f"layer {place}", part) for place, part in enumerate(parts)]
    assert depth_below(layers, overdig) == depth_below(layers[::-1], overdig)


def test_all_faults_of_a_depth_come_at_once() -> None:
    with pytest.raises(Refused) as caught:
        depth_below([Layer("", 0.2), Layer("slab", math.nan), Layer("  ", math.inf)], -0.1)
    assert codes(caught.value) == {
        ("no-name", "layers.0.name"),
        ("not-finite", "layers.1.thickness"),
        ("no-name", "layers.2.name"),
        ("not-finite", "layers.2.thickness"),
        ("negative-overdig", "overdig"),
    }


def test_no_layer_is_no_depth() -> None:
    with pytest.raises(Refused) as caught:
        depth_below([], 0.0)
    assert codes(caught.value) == {("no-layer", "layers")}


# Targets


def test_a_level_target_is_the_same_everywhere() -> None:
    assert not footing().sloping
    assert abs(target_elevation(footing(), 100.0) - 98.58) <= CLOSURE_M
    assert target_elevation(footing(), 100.0, 7.0, -2.0) == target_elevation(footing(), 100.0)


def test_along_rises_away_from_the_machine() -> None:
    drain = footing(along_percent=2.0)
    assert drain.sloping
    assert abs(target_elevation(drain, 100.0, -2.0) - 98.54) <= CLOSURE_M
    assert abs(target_elevation(drain, 100.0, 3.0, 5.0) - 98.64) <= CLOSURE_M


def test_across_is_positive_with_the_right_side_higher() -> None:
    """domain.md 6: at 2 % cross-slope a 1.8 m edge differs by 36 mm across."""
    falling = footing(across_percent=2.0)
    assert falling.sloping
    right, left = (target_elevation(falling, 100.0, 0.0, offset) for offset in (0.9, -0.9))
    assert abs((right - left) - 0.036) <= CLOSURE_M


def test_sewer_stake_out() -> None:
    """check_values.md 5.1 (seen), US Navy Engineering Aid training manual, feet.

    Invert 122.87 at 9+00, 2.18 %, half a station downgrade: 121.78 at 8+50. Hub 126.94 at 9+00: cut 4.07;
    hub 127.33 at 8+50: cut 5.55.
    """
    sewer = footing(
        layers=(Layer("hub to invert", to_metres(4.07, "ft")),), overdig_m=0.0, along_percent=2.18
    )
    hub = to_metres(126.94, "ft")
    invert_900 = target_elevation(sewer, hub)
    invert_850 = target_elevation(sewer, hub, -to_metres(50.0, "ft"))
    assert abs(from_metres(invert_900, "ft") - 122.87) <= PRINTED_FT
    assert abs(from_metres(invert_850, "ft") - 121.78) <= PRINTED_FT
    for hub_ft, invert, cut_ft in ((126.94, invert_900, 4.07), (127.33, invert_850, 5.55)):
        found = cut_fill(to_metres(hub_ft, "ft"), invert, to_metres(0.05, "ft"))
        assert found.word == "cut"
        assert abs(from_metres(found.value_m, "ft") - cut_ft) <= PRINTED_FT


@given(
    bench=heights, station=st.floats(-50.0, 50.0), right=st.floats(-5.0, 5.0),
    along=st.floats(-20.0, 20.0), across=st.floats(-20.0, 20.0),
)  # fmt: skip
def test_a_target_is_a_plane_through_its_zero(
    bench: float, station: float, right: float, along: float, across: float
) -> None:
    sloped = footing(along_percent=along, across_percent=across)
    zero = target_elevation(sloped, bench)
    there = target_elevation(sloped, bench, station, right)
    back = target_elevation(sloped, bench, -station, -right)
    assert math.isfinite(there)
    assert abs(there + back - 2.0 * zero) <= CLOSURE_M
    assert abs((there - zero) - (along * station + across * right) / 100.0) <= CLOSURE_M


def test_all_faults_of_a_target_come_at_once() -> None:
    refused = refusal_of(
        name="", benchmark=" ", layers=(Layer("", math.nan),), overdig_m=-1.0, tolerance_m=0.0,
        floor_limit_below_m=math.inf, along_percent=math.nan, across_percent=-math.inf,
    )  # fmt: skip
    assert codes(refused) == {
        ("no-name", "name"),
        ("no-name", "benchmark"),
        ("no-name", "layers.0.name"),
        ("not-finite", "layers.0.thickness"),
        ("negative-overdig", "overdig"),
        ("tolerance-not-positive", "tolerance"),
        ("not-finite", "floor_limit_below"),
        ("not-finite", "along_percent"),
        ("not-finite", "across_percent"),
    }


@pytest.mark.parametrize("tolerance", [0.0, -0.03, math.nan, math.inf])
def test_a_tolerance_is_positive_and_finite(tolerance: float) -> None:
    assert "tolerance" in {fault.where for fault in refusal_of(tolerance_m=tolerance).faults}


@pytest.mark.parametrize("limit", [1.39, 1.42, 1.45, 2.0])
def test_a_floor_limit_may_lie_in_the_band_or_below_it(limit: float) -> None:
    assert footing(floor_limit_below_m=limit).floor_limit_below_m == limit


def test_a_floor_limit_above_the_band_is_a_contradiction() -> None:
    refused = refusal_of(floor_limit_below_m=1.38)
    assert codes(refused) == {("floor-limit-above-target", "floor_limit_below")}
    numbers = refused.faults[0].numbers
    assert numbers["floor_limit_below_m"] == 1.38
    assert abs(numbers["least_m"] - 1.39) <= CLOSURE_M


@pytest.mark.parametrize("place", range(3))
@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_no_elevation_without_finite_numbers(place: int, bad: float) -> None:
    values = [100.0, 1.0, 1.0]
    values[place] = bad
    with pytest.raises(Refused) as caught:
        target_elevation(footing(), *values)
    assert [fault.code for fault in caught.value.faults] == ["not-finite"]


# Cut and fill


@pytest.mark.parametrize(
    ("edge", "word", "value"),
    [
        (98.70, "cut", 0.12),
        (98.50, "fill", -0.08),
        (98.58, "on grade", 0.0),
        (98.61, "on grade", 0.03),
        (98.55, "on grade", -0.03),
        (98.611, "cut", 0.031),
        (98.549, "fill", -0.031),
    ],
)
def test_cut_is_above_and_fill_below(edge: float, word: str, value: float) -> None:
    found = cut_fill(edge, 98.58, 0.03)
    assert found.word == word
    assert abs(found.value_m - value) <= CLOSURE_M
    assert found.amount_m == abs(found.value_m)
    assert not found.below_floor_limit


@given(edge=heights, target=heights, tolerance=tolerances)
def test_above_and_below_mirror(edge: float, target: float, tolerance: float) -> None:
    found, mirrored = cut_fill(edge, target, tolerance), cut_fill(-edge, -target, tolerance)
    assert mirrored.value_m == -found.value_m
    assert mirrored.amount_m == found.amount_m
    assert mirrored.word == {"cut": "fill", "fill": "cut", "on grade": "on grade"}[found.word]
    if found.word != "on grade":
        assert found.amount_m > tolerance
        assert (found.word == "cut") == (edge > target)
    else:
        assert found.amount_m <= tolerance + NOISE_M


@given(target=heights, sixteenth=st.integers(1, 160))
def test_the_ends_of_the_band_are_on_grade_on_any_elevation(target: float, sixteenth: int) -> None:
    """Binary noise of the elevation must not decide the word."""
    tolerance = sixteenth * 0.0254 / 16
    assert cut_fill(target + tolerance, target, tolerance).word == "on grade"
    assert cut_fill(target - tolerance, target, tolerance).word == "on grade"


def test_the_floor_limit_speaks_even_on_grade() -> None:
    assert cut_fill(98.55, 98.58, 0.03, 98.56).below_floor_limit
    assert cut_fill(98.55, 98.58, 0.03, 98.56).word == "on grade"
    assert not cut_fill(98.56, 98.58, 0.03, 98.56).below_floor_limit
    assert not cut_fill(98.55, 98.58, 0.03).below_floor_limit


def test_all_faults_of_a_comparison_come_at_once() -> None:
    with pytest.raises(Refused) as caught:
        cut_fill(math.nan, math.inf, 0.0, math.nan)
    assert codes(caught.value) == {
        ("not-finite", "edge_elevation"),
        ("not-finite", "target_elevation"),
        ("tolerance-not-positive", "tolerance"),
        ("not-finite", "floor_limit_elevation"),
    }
