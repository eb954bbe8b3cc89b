"""The field test of a laser: exact planes come back exactly, quantiles are scipy's, a drawn laser's sizes are found."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kinematics.errors import Refused
from kinematics.laser_test import Sight, laser_test
from kinematics.levelbook import curvature_and_refraction_m, laser_level_error_m, turn_test_error_m

APART = 40.0
STANDS = (20.0, -14.6, 54.6)
ARCSEC = math.radians(1.0 / 3600.0)


def sights(
    height: float, ahead: float, left: float, cone: float, *, series: int = 4, stands: tuple[float, ...] = STANDS,
    noise: float = 0.0, seed: int = 3,
) -> list[Sight]:  # fmt: skip
    """What staffs say of a plane that is given in space: a place, the laser's mark turned, the beam towards each
    staff."""
    draw = np.random.default_rng(seed)
    found = []
    for number in range(1, series + 1):
        for stand in stands:
            for quarter in range(4):
                heading = quarter * math.pi / 2
                mark = np.array([math.cos(heading), math.sin(heading)])
                side = np.array([-math.sin(heading), math.cos(heading)])
                said = []
                for staff, ground in ((0.0, 0.0), (APART, height)):
                    way = np.array([staff - stand, 0.0])
                    rise = ahead * way @ mark + left * way @ side + cone * np.linalg.norm(way)
                    off = curvature_and_refraction_m(abs(staff - stand)) + noise * draw.standard_normal()
                    said.append(1.6 + float(rise) + off - ground)
                found.append(Sight(number, stand, heading, said[0], said[1]))
    return found


@given(
    st.floats(-1.0, 1.0), st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3),
)  # fmt: skip
def test_an_exact_plane_comes_back(height: float, ahead: float, left: float, cone: float) -> None:
    found = laser_test(sights(height, ahead, left, cone), APART, full=True)
    assert found.height == pytest.approx(height, abs=1e-12)
    assert found.ahead.value == pytest.approx(ahead, abs=1e-13)
    assert found.left.value == pytest.approx(left, abs=1e-13)
    assert found.cone is not None
    assert found.cone.value == pytest.approx(cone, abs=1e-13)
    assert found.freedom == 4 * (12 - 4)


def test_the_worked_sentence() -> None:
    """With check_values 4.4: half the difference of a half turn, 4 mm over 40 m."""
    turned = sights(0.0, 0.0001, 0.0, 0.0, series=1, stands=(20.0,))
    found = laser_test(turned, APART, full=False)
    assert found.height == pytest.approx(0.0, abs=1e-12)
    assert found.tilt / ARCSEC == pytest.approx(20.626, abs=0.001)
    marks = [each.reading_b - each.reading_a for each in turned]
    assert turn_test_error_m(marks[0], marks[2]) == pytest.approx(0.004)
    assert laser_level_error_m(found.tilt / ARCSEC, 40.0) == pytest.approx(0.004, abs=1e-9)
    assert found.cone is None
    assert found.freedom == 1
    assert found.reading_spread is None, "one reading to spare says nothing of scatter"
    assert found.ahead.standard is None
    assert found.rises_towards == pytest.approx(0.0, abs=1e-9)


def test_sizes_of_a_drawn_laser() -> None:
    """One staff reading of 0.7 mm: s within the 99.9 % interval of chi-square; tests as scipy's."""
    found = laser_test(sights(0.2, 30 * ARCSEC, 0.0, 0.0, noise=0.0007), APART, full=True, claimed=0.0007)
    assert found.reading_spread is not None
    low, high = stats.chi2.ppf([0.0005, 0.9995], found.freedom)
    assert low <= found.freedom * (found.reading_spread / 0.0007) ** 2 <= high
    assert found.as_claimed is not None
    assert found.as_claimed.limit == pytest.approx(0.0007 * math.sqrt(stats.chi2.ppf(0.95, 32) / 32))
    assert found.ahead.test is not None
    assert not found.ahead.test.passed
    assert abs(found.ahead.value - 30 * ARCSEC) <= 4 * (found.ahead.standard or 0.0)
    # 12 sights of a series, half of their squared cosines, four series: s / (40 m sqrt(24)).
    assert found.ahead.standard == pytest.approx(
        math.sqrt(2) * found.reading_spread / (APART * math.sqrt(24))
    )
    assert found.left.test is not None
    assert found.left.test.limit == pytest.approx(stats.t.ppf(0.975, 32) * (found.left.standard or 0.0))


def test_against_an_earlier_test() -> None:
    now = sights(0.2, 0.0, 0.0, 0.0, noise=0.0007)
    found = laser_test(now, APART, full=True, before=(0.0007, 32))
    assert found.as_before is not None
    _, low, high = found.as_before
    assert (low, high) == pytest.approx(tuple(stats.f.ppf([0.025, 0.975], 32, 32)))
    assert found.same_as_before
    assert laser_test(now, APART, full=True, before=(0.0002, 32)).same_as_before is False


def test_a_wrong_claim_is_told() -> None:
    found = laser_test(sights(0.2, 0.0, 0.0, 0.0, noise=0.002), APART, full=True, claimed=0.0007)
    assert found.as_claimed is not None
    assert not found.as_claimed.passed


def test_least_squares_by_numpy() -> None:
    """One series against a general solver on the same readings."""
    some = sights(0.2, 1e-4, -2e-4, 5e-5, series=1, noise=0.001)
    found = laser_test(some, APART, full=False)
    rows, said = [], []
    for each in some:
        rows.append([-1.0, APART * math.cos(each.heading), -APART * math.sin(each.heading),
                     abs(APART - each.along) - abs(each.along)])  # fmt: skip
        said.append(
            each.reading_b - curvature_and_refraction_m(abs(APART - each.along))
            - each.reading_a + curvature_and_refraction_m(abs(each.along))
        )  # fmt: skip
    solved, square, _, _ = np.linalg.lstsq(np.array(rows), np.array(said), rcond=None)
    assert found.cone is not None
    assert [found.height, found.ahead.value, found.left.value, found.cone.value] == pytest.approx(
        solved.tolist()
    )
    assert found.series[0].spread == pytest.approx(math.sqrt(float(square[0]) / 8))


def codes(some: list[Sight], apart: float = APART, *, full: bool = True) -> set[str]:
    with pytest.raises(Refused) as told:
        laser_test(some, apart, full=full)
    return {fault.code for fault in told.value.faults}


def test_what_is_missing() -> None:
    good = sights(0.0, 0.0, 0.0, 0.0)
    assert codes([each for each in good if each.series < 4]) == {"too-few-sights"}
    assert codes([each for each in good if each.along > 0.0]) == {"too-few-sights"}
    assert codes(good[1:]) == {"headings-missing"}
    assert codes([replace(each, along=20.0 + each.along * 1e-3) for each in good]) == {"too-few-sights"}
    assert codes(good[:3], full=False) == {"too-few-sights"}
    assert codes([replace(each, heading=0.0) for each in good[:4]], full=False) == {"headings-missing"}


def test_stands_that_show_no_cone() -> None:
    """Three stands between the staffs whose ways to A and B are all but alike."""
    assert codes(sights(0.0, 0.0, 0.0, 0.0, stands=(19.3, 20.0, 20.7))) == {"stands-alike"}


@pytest.mark.parametrize("field", ["along", "heading", "reading_a", "reading_b"])
@pytest.mark.parametrize(("bad", "code"), [(math.nan, "not-finite"), (1e6, "out-of-range")])
def test_bad_sights(field: str, bad: float, code: str) -> None:
    good = sights(0.0, 0.0, 0.0, 0.0)
    wrong: dict[str, Any] = {field: bad}
    assert codes([replace(good[0], **wrong), *good[1:]]) == {code}


def test_bad_sizes() -> None:
    good = sights(0.0, 0.0, 0.0, 0.0)
    assert codes(good, 40_000.0) == {"out-of-range"}
    assert codes(good, math.nan) == {"out-of-range"}
    with pytest.raises(Refused):
        laser_test(good, APART, full=True, claimed=0.0)
    with pytest.raises(Refused):
        laser_test(good, APART, full=True, before=(0.001, 0))
