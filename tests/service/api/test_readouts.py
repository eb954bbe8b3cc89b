"""Readouts of other buckets: a coupler's play, and the keel of a V."""

import math
from collections.abc import Callable

import pytest

from kinematics.arm import Pose
from kinematics.reach import place_edge
from kinematics.sensitivity import coupler_play
from tests.tolerances import NOISE_M

from .doing import JobDoer, as_asked, fitted, metres

Opener = Callable[..., JobDoer]
KEEL_M = 0.35  # of the V below its corners, floor flat, as its profile says


def posed(attachment: str, height: float, point: str = "centre", floor_deg: float = 0.0) -> Pose:
    """Some way out, level body."""
    return place_edge(
        fitted("crawler-14t", attachment), pitch=0.0, roll=0.0, point=point, reach=5.5, height=height,
        floor_angle=math.radians(floor_deg),
    ).pose  # fmt: skip


def touched(job: JobDoer, attachment: str) -> JobDoer:
    """The edge centre on the slab with the origin 1 m above it, a pit 1 m deep within 25.4 mm."""
    job.equipped(attachment=attachment)
    pose = as_asked(posed(attachment, -1.0))
    job.post("touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": pose})
    job.target("pit", 1.0, floor_limit_below=1.03)
    return job


@pytest.mark.parametrize(("line", "first"), [("edge", ""), ("teeth", "tooth_")])
def test_play_of_the_line_that_is_read(job: Opener, line: str, first: str) -> None:
    pit = touched(job(), "coupled-900")
    found = posed("coupled-900", -1.9)
    told = pit.read(as_asked(found), "pit", line=line)["edge_play"]
    assert set(told) == {"left", "centre", "right"}
    for name, play in told.items():
        # The same formula from angles that went to degrees and back.
        assert metres(play) == pytest.approx(coupler_play(found, f"{first}{name}"), abs=NOISE_M)
        assert metres(play) > 0.001


def test_no_play_where_none_was_measured(job: Opener) -> None:
    pit = touched(job(), "v-bucket-1200")
    assert pit.read(as_asked(posed("v-bucket-1200", -1.9)), "pit")["edge_play"] is None


@pytest.mark.parametrize(
    ("point", "height", "floor_deg", "words", "warned"),
    [
        ("centre", -2.0, 0.0, ("cut", "on grade", "cut"), set()),
        ("centre", -2.05, 0.0, ("cut", "fill", "cut"), {"below-floor-limit", "past-target"}),
        ("centre", -2.05, 10.0, ("cut", "fill", "cut"), {"below-floor-limit"}),
        ("left", -2.0, 0.0, ("on grade", "fill", "on grade"), {"below-floor-limit", "past-target"}),
    ],
)
def test_keel_of_a_v(
    job: Opener, point: str, height: float, floor_deg: float, words: tuple[str, ...], warned: set[str]
) -> None:
    """As the guide says: a keel too deep reads fill; a warning has the heel beside it, or the floor limit."""
    pit = touched(job(), "v-bucket-1200")
    told = pit.read(as_asked(posed("v-bucket-1200", height, point, floor_deg)), "pit")
    compared = {name: point["cut_fill"] for name, point in told["points"].items()}
    assert tuple(compared[name]["word"] for name in ("left", "centre", "right")) == words
    above = {name: metres(each["above_target"]) for name, each in compared.items()}
    if floor_deg == 0.0:
        assert above["left"] - above["centre"] == pytest.approx(KEEL_M, abs=1e-3)
    assert {each["code"] for each in told["warnings"]} - {"heel-rubs"} == warned
    assert all(
        " end of the heel " in each["found"] for each in told["warnings"] if each["code"] == "past-target"
    )
