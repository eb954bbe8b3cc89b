"""The truth as a file and back, and the score of what was shown against it."""

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from service.simulation.motion import plan
from service.simulation.truth import Truth, read_truth, score, write_truth

from .digs import dig_of

POINTS = ("left", "centre", "right")
# Seven decimals of a metre are written.
WRITTEN_M = 1e-7


def flat(height: float = 98.5, seconds: int = 10) -> list[Truth]:
    return [Truth(i / 20, dict.fromkeys(POINTS, height)) for i in range(20 * seconds + 1)]


def test_what_is_written_is_the_course(tmp_path: Path) -> None:
    dig = dig_of(
        'pass over="footing"; height_m=0.2; from_reach_m=5; to_reach_m=4.6; floor_deg=10; tilt_deg=3'
    )
    course = plan(dig)
    file = tmp_path / "truth.ndjson"
    assert write_truth(dig, course, file) == len(file.read_text().splitlines())
    truth = read_truth(file)
    assert truth[0].t_s == 0.0
    assert truth[-1].t_s == pytest.approx(course.seconds, abs=1e-6)
    for line in truth[:: len(truth) // 20]:
        moment = course.at(line.t_s)
        for point in POINTS:
            assert line.elevations[point] == pytest.approx(100.0 + moment.over_slab(point), abs=WRITTEN_M)
    last = json.loads(file.read_text().splitlines()[-1])
    assert last["joints_deg"]["tilt"] == pytest.approx(3.0)
    assert last["attitude_deg"] == {"pitch": 0.6, "roll": -0.4}
    assert last["origin_m"] == pytest.approx(101.62)
    with pytest.raises(FileExistsError):
        write_truth(dig, course, file)


def test_the_truth_itself_scores_nothing(tmp_path: Path) -> None:
    dig = dig_of('pass over="footing"; height_m=0.2; from_reach_m=5; to_reach_m=4.6; floor_deg=10')
    course = plan(dig)
    write_truth(dig, course, tmp_path / "t")
    times = [0.013 + 0.05 * i for i in range(20)]
    shown = [(t, {point: 100.0 + course.at(t).over_slab(point) for point in POINTS}) for t in times]
    told = score(read_truth(tmp_path / "t"), shown)
    assert told.count == 60
    # Between two lines, 20 ms apart, an edge that falls away at 5 m/s2 is 0.25 mm off the straight line.
    assert abs(told.greatest) <= 2.5e-4


@given(st.lists(st.floats(-0.2, 0.2), min_size=1, max_size=40))
def test_mean_rms_and_worst_of_known_errors(errors: list[float]) -> None:
    shown = [(0.2 + 0.05 * i, {"centre": 98.5 + error}) for i, error in enumerate(errors)]
    told = score(flat(), shown)
    # Heights of 100 m carry 1e-14 of rounding each.
    assert told.mean == pytest.approx(sum(errors) / len(errors), abs=1e-12)
    assert told.mean_absolute == pytest.approx(sum(map(abs, errors)) / len(errors), abs=1e-12)
    assert told.rms == pytest.approx(math.sqrt(sum(e * e for e in errors) / len(errors)), abs=1e-9)
    assert abs(told.greatest) == pytest.approx(max(map(abs, errors)), abs=1e-12)
    assert (98.5 + errors[round((told.worst_s - 0.2) / 0.05)]) - 98.5 == pytest.approx(
        told.greatest, abs=1e-12
    )
    assert told.count == len(errors)


def test_an_edge_shown_too_high_is_positive_and_named() -> None:
    told = score(
        flat(), [(1.0, {"left": 98.5, "right": 98.51}), (2.0, {"left": 98.496}), (99.0, {"left": 1.0})]
    )
    assert told.greatest == pytest.approx(0.010)
    assert (told.worst_s, told.point, told.count, told.outside) == (1.0, "right", 3, 1)


@pytest.mark.parametrize(
    ("shown", "code"),
    [
        ([(1.0, {"centre": math.nan})], "not-finite"), ([(math.nan, {"centre": 98.0})], "not-finite"),
        ([(1.0, {"heel": 98.0})], "no-such-point"), ([(77.0, {"centre": 98.0})], "nothing-to-score"),
        ([], "nothing-to-score"),
    ],
)  # fmt: skip
def test_what_cannot_be_scored(shown: list[tuple[float, dict[str, float]]], code: str) -> None:
    with pytest.raises(Refused) as caught:
        score(flat(), shown)
    assert caught.value.code == code


def test_a_gap_in_the_truth_is_not_bridged() -> None:
    assert score([flat()[0], *flat()[100:]], [(2.0, {"centre": 98.5}), (6.0, {"centre": 98.5})]).outside == 1


def test_lines_that_are_no_truth_are_named(tmp_path: Path) -> None:
    good = '{"t_s": %s, "elevations_m": {"left": 1.0, "centre": 1.0, "right": %s}}'
    lines = [good % (0, 1), "{", good % (1, "NaN"), good % (0.5, 1), good % (2, 1)]
    (tmp_path / "t").write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_truth(tmp_path / "t")
    assert [fault.where.rpartition(":")[2] for fault in caught.value.faults] == ["2", "3", "4"]
