"""Which ratios of a benchmark run are held, and on which machine."""

import math

import pytest

from tests.benchmarks.gates import gate, has_wide_vectors, least, missed

WIDE_AND_GOOD = {"c_simd_gain": 6.34, "block_gain": 3.60, "block_gain_over_c_gain": 0.57}


def test_512_bit_vectors_are_found_among_the_flags_alone() -> None:
    assert has_wide_vectors("model name\t: a processor\nflags\t\t: fpu sse2 avx2 avx512f avx512vl\n")
    assert not has_wide_vectors("model name\t: named avx512f\nflags\t\t: fpu sse2 avx2\n")
    assert not has_wide_vectors("flags\t\t: fpu avx512fp16x\n")
    assert not has_wide_vectors("")


def test_where_vectors_are_wide_and_c_gains_by_them_both_gains_are_held() -> None:
    assert missed(WIDE_AND_GOOD, wide=True) == []
    assert missed(WIDE_AND_GOOD | {"block_gain": 2.4}, wide=True) == ["block_gain"]
    assert gate("block_gain", WIDE_AND_GOOD, wide=True) == "at least 2.5"
    assert gate("block_gain_over_c_gain", WIDE_AND_GOOD, wide=True) == ""


@pytest.mark.parametrize(("c_gain", "wide"), [(2.62, True), (2.62, False), (4.49, False), (math.nan, True)])
def test_elsewhere_ours_is_held_against_c(c_gain: float, wide: bool) -> None:
    run = {"c_simd_gain": c_gain, "block_gain": 2.05, "block_gain_over_c_gain": 0.55}
    assert missed(run, wide=wide) == []
    assert missed(run | {"block_gain_over_c_gain": 0.49}, wide=wide) == ["block_gain_over_c_gain"]
    assert gate("c_simd_gain", run, wide=wide) == ""
    assert gate("block_gain", run, wide=wide) == ""


def test_a_gain_of_3_by_c_is_enough_to_hold_both() -> None:
    assert "block_gain" in least({"c_simd_gain": 3.0}, wide=True)
    assert "block_gain" not in least({"c_simd_gain": 2.999}, wide=True)


def test_a_bound_itself_is_met_and_nan_is_not() -> None:
    assert missed({"post_pose_over_floor": 0.6, "batch_over_c": 2.0}, wide=True) == []
    assert missed({"post_pose_over_floor": math.nan}, wide=True) == ["post_pose_over_floor"]
    assert missed({"batch_over_c": math.nan}, wide=False) == ["batch_over_c"]
    assert missed({"block_gain_over_c_gain": math.nan}, wide=False) == ["block_gain_over_c_gain"]


def test_what_was_not_measured_is_not_missed() -> None:
    assert missed({}, wide=True) == missed({}, wide=False) == []
    assert missed({"live_p99_ms": 1e9}, wide=True) == []
