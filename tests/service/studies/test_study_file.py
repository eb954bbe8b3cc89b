"""A study's file: what it says, in metres and radians; what is wrong with it, each fault at its line."""

import math
import re

import numpy as np
import pytest

from kinematics.errors import Refused
from kinematics.study_design import Levels, Normal, Uniform
from service.prompt import find
from service.studies.study_file import read_study

from .making import BY_VARIANT, TEXT, planned


def test_what_it_says_in_metres_and_radians() -> None:
    plan = planned()
    measured = plan.study.assembly.parameters
    design = plan.study.design
    assert design.names == ("idler_length", "boom_length")
    idler, boom = design.variations
    assert isinstance(idler, Uniform)
    assert isinstance(boom, Normal)
    assert (idler.low, idler.high) == pytest.approx(
        (float(measured["idler_length"][0]) - 0.06, float(measured["idler_length"][0]) + 0.06), abs=1e-12
    )
    assert (boom.mean, boom.standard) == (float(measured["boom_length"][0]), 0.005)
    poses = plan.study.poses
    assert poses.count == 55
    assert poses.travel["boom"][:6].tolist() == [0.0] * 5 + [0.1]
    assert poses.travel["stick"][:6].tolist() == [0.0, 0.25, 0.5, 0.75, 1.0, 0.0]
    assert [each.name for each in plan.results] == ["centre_height_mm", "bucket_angle_deg"]


def test_metrics_and_traits() -> None:
    plan = planned(BY_VARIANT)
    assert [each.name for each in plan.results] == [
        "bucket_travel_deg", "least_transmission_deg", "depth_mm", "deep_percent",
    ]  # fmt: skip
    assert plan.study.metrics[1].high == pytest.approx(-1.5)
    assert plan.study.metrics[1].low == -math.inf


def test_a_grid_of_levels() -> None:
    text = TEXT.replace('kind = "latin"\nrows = 1000', 'kind = "grid"').replace(
        "standard = 5", "values = [4600, 4650]"
    )
    text = text.replace("low = -60\nhigh = 60", "low = -10\nhigh = 10\nstep = 5")
    first, second = planned(text).study.design.variations
    assert isinstance(first, Levels)
    assert isinstance(second, Levels)
    assert second.values == (4.6, 4.65)
    assert np.diff(first.values) == pytest.approx(0.005)
    assert len(first.values) == 5
    assert planned(text).study.design.rows == 10


def test_poses_drawn_over_the_envelope() -> None:
    text = TEXT.replace('combine = "grid"', 'combine = "sobol"\ncount = 64')
    text = re.sub(r"(boom|stick|bucket) = \{.*", r"\1 = { low = 0, high = 1 }", text)
    poses = planned(text).study.poses
    assert poses.count == 64
    for shares in poses.travel.values():
        assert np.array_equal(np.sort(np.floor(shares * 64)), np.arange(64))  # one in each of 64 equal parts
    assert poses.angles["pitch"].tolist() == [0.0]


def test_identity_is_of_everything_the_numbers_hang_on() -> None:
    one = planned().identity
    assert planned("# a comment\n" + TEXT).identity == one
    untilted = TEXT.replace("tilt = { at = 0 }\n", "").replace("tilting-1800", "digging-1500")
    for text in (TEXT.replace("seed = 1", "seed = 2"), TEXT.replace("high = 60", "high = 61"), untilted):
        assert planned(text).identity != one


@pytest.mark.parametrize(("old", "new", "code", "place"), [
    ("schema = 1\n", "", "missing-key", r"^pins.toml:1: schema$"),
    ("schema = 1\n", "schema = 2\n", "not-a-choice", "pins.toml:1: schema"),
    ("seed = 1", "seed = ", "broken-toml", "^pins.toml:14$"),
    ("seed = 1", "seed = 1\nseed = 2", "broken-toml", "^pins.toml:15$"),
    ("seed = 1\n", "seed = 1\nspread = 2\n", "unknown-key", "pins.toml:15: design.spread"),
    ("seed = 1\n", "", "missing-key", "design.seed"),
    ("rows = 1000", "rows = 0", "out-of-range", "pins.toml:13: design.rows"),
    ("rows = 1000", "rows = 4000000000", "too-many-rows", "design.rows"),
    ("crawler-14t", "crawler-14", "unknown-machine", "pins.toml:4: machine"),
    ("tilting-1800", "crawler-14t", "unknown-attachment", "pins.toml:5: attachment"),
    ("vary.idler_length", "vary.idler_lenght", "unknown-parameter", "pins.toml:16: vary.idler_lenght"),
    ("vary.idler_length", "vary.fore_boom_length", "no-such-parameter", "vary.fore_boom_length"),
    ("low = -60", "low = 60", "out-of-range", "vary.idler_length"),
    ("high = 60", "high = inf", "not-finite", "vary.idler_length.high"),
    ("standard = 5", "standard = 0", "out-of-range", "vary.boom_length"),
    ("standard = 5", "standard = 5\nlow = 4", "wrong-form", "vary.boom_length"),
    ("step = 0.25", "step = 0", "infinite-grid", "poses.travel.stick.step"),
    ("step = 0.25", "step = 1e-12", "infinite-grid", "poses.travel.stick.step"),
    ("count = 11", "count = 100000", "infinite-grid", "poses"),
    ("values = [0.5]", "values = [0.5, 1.5]", "out-of-range", "poses.travel.bucket.1"),
    ("values = [0.5]", "values = []", "wrong-size", "poses.travel.bucket.values"),
    ("tilt = { at = 0 }\n", "", "missing-joint", "poses.angles"),
    ("roll = { at = 0 }", "roll = { at = 0, count = 2 }", "wrong-form", "poses.angles.roll"),
    ('combine = "grid"', 'combine = "grid"\ncount = 5', "wrong-form", "poses"),
    ('combine = "grid"', 'combine = "together"', "ragged", "poses"),
    ('"centre_height"', '"edge_height"', "unknown-output", "results.outputs.0"),
    ('"centre_height"', '"tooth_left_height"', "no-such-point", "results.outputs.0"),
    ('"centre_height"', '"bucket_angle"', "name-taken", "results"),
    ('each = "pose"', 'each = "variant"', "wrong-form", "results.outputs"),
    ('outputs = ["centre_height", "bucket_angle"]', "", "nothing-asked", "results"),
    ('kind = "latin"\nrows = 1000', 'kind = "sensitivity"\nrows = 64', "wrong-form", "results.each"),
    ('kind = "latin"\nrows = 1000', 'kind = "sobol"\nrows = 1000', "wrong-size", "design.rows"),
    ('kind = "latin"\nrows = 1000', 'kind = "grid"', "wrong-form", "vary.idler_length"),
])  # fmt: skip
def test_refused_at_its_line(old: str, new: str, code: str, place: str) -> None:
    assert old in TEXT
    with pytest.raises(Refused) as refused:
        planned(TEXT.replace(old, new))
    told = [(fault.code, fault.where) for fault in refused.value.faults]
    assert any(one == code and re.search(place, where) for one, where in told), refused.value.faults


@pytest.mark.parametrize(("old", "new", "place"), [
    ('how = "least"', 'how = "least"\npose = 1', "pins.toml:39: metrics.0"),
    ('how = "least"', 'how = "at"', "metrics.0"),
    ("high = -1500", "", "metrics.1"),
    ('how = "least"', 'how = "least"\nlow = 1', "metrics.0"),
])  # fmt: skip
def test_a_metric_of_another_form(old: str, new: str, place: str) -> None:
    with pytest.raises(Refused) as refused:
        planned(BY_VARIANT.replace(old, new))
    assert refused.value.code == "wrong-form"
    assert place in refused.value.faults[0].where


def test_a_metric_named_as_what_varies_is_refused_before_anything_is_computed() -> None:
    """Both would be the column boom_length_mm."""
    with pytest.raises(Refused) as refused:
        planned(BY_VARIANT.replace('name = "depth"', 'name = "boom_length"'))
    assert refused.value.code == "name-taken"
    assert "boom_length" in refused.value.faults[0].found


def test_one_place_from_low_to_high_is_not_the_low_one() -> None:
    with pytest.raises(Refused) as refused:
        planned(TEXT.replace("high = 1, count = 11", "high = 1, count = 1"))
    assert [(fault.code, fault.where.rpartition(": ")[2]) for fault in refused.value.faults] == [
        ("out-of-range", "poses.travel.boom.count")
    ]


def test_every_fault_at_once() -> None:
    text = TEXT.replace("standard = 5", "standard = 0").replace("step = 0.25", "step = 0")
    text = text.replace('each = "pose"', 'each = "variant"').replace("vary.idler_length", "vary.idler")
    with pytest.raises(Refused) as refused:
        planned(text)
    assert {fault.code for fault in refused.value.faults} >= {
        "unknown-parameter",
        "infinite-grid",
        "wrong-form",
    }


def test_faults_of_every_kind_in_one_round() -> None:
    """Keys, types, profiles' names, parameters, poses, outputs and metrics, each at the line it has in the file."""
    text = BY_VARIANT.replace("seed = 1\n", "seed = 1\nspread = 2\n").replace(
        "vary.idler_length", "vary.idler_lenght"
    )
    text = (
        text.replace("standard = 5", "standard = 0")
        .replace("step = 0.25", "step = 0")
        .replace("tilt = { at = 0 }\n", "")
    )
    text = text.replace('how = "least"', 'how = "lowest"').replace(
        'traits = ["bucket_travel"', 'traits = ["play"'
    )
    text += '\n[[metrics]]\nname = "far"\noutput = "edge_reach"\nhow = "greatest"\n'
    with pytest.raises(Refused) as refused:
        planned(text)
    told = {(fault.code, fault.where.partition(": ")[2]) for fault in refused.value.faults}
    assert told >= {
        ("unknown-key", "design.spread"), ("unknown-parameter", "vary.idler_lenght"),
        ("infinite-grid", "poses.travel.stick.step"),
        ("missing-joint", "poses.angles.tilt"), ("not-a-choice", "metrics.0.how"), ("unknown-output", "metrics.2.output"),
        ("unknown-trait", "results.traits.0"),
    }, told  # fmt: skip
    lines = text.splitlines()
    for fault in refused.value.faults:
        number = int(fault.where.split(":")[1])
        key = fault.where.rpartition(".")[2]
        if key in {"spread", "how", "output"}:
            assert lines[number - 1].startswith(key), fault.where


def test_profiles_and_keys_in_one_round() -> None:
    text = TEXT.replace("crawler-14t", "crawler-14").replace("seed = 1\n", "")
    with pytest.raises(Refused) as refused:
        planned(text)
    assert {fault.code for fault in refused.value.faults} == {"unknown-machine", "missing-key"}


def test_what_stands_in_for_what_is_wrong_is_not_told_of() -> None:
    for old, new in (
        ('length = "mm"', 'length = "ell"'),
        ("[poses]\n", "[poses]\nsteps = 3\n"),
        ("[design]", "[designs]"),
    ):
        assert old in TEXT
        with pytest.raises(Refused) as refused:
            planned(TEXT.replace(old, new))
        assert {fault.code for fault in refused.value.faults} <= {
            "not-a-choice",
            "unknown-key",
            "missing-key",
            "wrong-unit",
        }, old


def test_a_text_that_is_no_study() -> None:
    for text in ("", "x" * 300_000, "[" * 5000):
        with pytest.raises(Refused):
            read_study(text, "pins.toml", find)


def test_correlations() -> None:
    text = TEXT.replace("low = -60\nhigh = 60\nfrom_measured = true", "standard = 3")
    tied = text + '\n[[correlations]]\nof = ["idler_length", "boom_length"]\nvalue = 0.5\n'
    assert planned(tied).study.design.root is not None
    for old, new, code in (("value = 0.5", "value = 1.5", "out-of-range"),
                           ('of = ["idler_length"', 'of = ["stick_length"', "not-correlated")):  # fmt: skip
        with pytest.raises(Refused) as refused:
            planned(tied.replace(old, new))
        assert refused.value.code == code
