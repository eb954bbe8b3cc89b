"""What may be wrong, by name: what is taken as usual, what may be asked, what is refused."""

import dataclasses
import math
import warnings

import numpy as np
import pytest

from kinematics.assembly import assemble
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.sensor_set import SensorSet
from kinematics.sources import USUAL, Sources, sources_of, with_standard

from .test_sensing_block import SENSED, unchecked

ESTIMATES = Estimates()
ONE_ROOT_12 = 1.0 / math.sqrt(12.0)  # GUM 4.3.7


def known(name: str = "crawler-14t with digging-1500") -> SensorSet:
    return unchecked(SENSED[name])


def standard(sources: Sources, name: str) -> float:
    return float(sources.standard[sources.names.index(name)])


def codes(refused: pytest.ExceptionInfo[Refused]) -> dict[str, str]:
    return {fault.where: fault.code for fault in refused.value.faults}


@pytest.mark.parametrize(("play", "usual"), [(None, True), (0.0, False), (math.radians(0.6), False)])
def test_a_coupler_whose_play_nobody_measured_has_a_usual_one(play: float | None, usual: bool) -> None:
    """0.003 rad from stop to stop (common practice, no source), and it is said."""
    sensors = known("crawler-14t with coupled-900")
    was = sensors.assembly
    assert was.attachment.coupler is not None
    assembly = assemble(was.machine, dataclasses.replace(was.attachment, coupler_play=play))
    sources = sources_of(SensorSet(assembly, sensors.sensors), ESTIMATES)
    width = 0.003 if play is None else play
    assert standard(sources, "coupler_play") == pytest.approx(width * ONE_ROOT_12, rel=1e-12)
    assert (
        any(each.startswith("coupler play: 0.17") and each.endswith(" deg") for each in sources.assumed)
        is usual
    )
    assert USUAL.coupler_play == 0.003


def test_no_coupler_no_play() -> None:
    sources = sources_of(known(), ESTIMATES)
    assert standard(sources, "coupler_play") == 0.0
    assert not [each for each in sources.assumed if "play" in each]


def test_a_case_of_two_numbers_is_skewed_once() -> None:
    sources = sources_of(known(), ESTIMATES)
    assert {"body.zero.pitch", "body.zero.roll", "body.skew", "boom.skew"} <= set(sources.known)
    assert not [name for name in sources.known if name.startswith("body.skew.")]
    assert len(set(sources.names)) == len(sources.names)
    assert len(sources.names) == len(sources.known) + 1
    assert [standard(sources, name) for name in sources.spares] == [0.0]
    more = with_standard(sources, {"body.skew": 0.02})
    assert standard(more, "body.skew") == 0.02
    for name in ("body.skew.pitch", "body.skew.roll"):
        with pytest.raises(Refused) as refused:
            with_standard(sources, {name: 0.02})
        assert codes(refused) == {name: "unknown-parameter"}
        assert "body.skew" in refused.value.faults[0].expected
        assert "body.skew.roll" not in refused.value.faults[0].expected
        with pytest.raises(Refused) as refused:
            sources_of(known(), ESTIMATES, [("boom.zero", name, 0.5)])
        assert codes(refused) == {"correlations.0": "unknown-parameter"}


def test_what_is_in_another_unit_is_refused() -> None:
    """At most 1 m and 10 deg, each beyond it at its own name; no overflow on the way."""
    sources = sources_of(known(), ESTIMATES)
    most = {
        "boom.zero": math.radians(10.0),
        "boom_length": 1.0,
        "pin_slop": 1.0,
        "body.skew": math.radians(10.0),
    }
    assert standard(with_standard(sources, most), "boom_length") == 1.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for times in (1.0 + 1e-9, 1e160, 1e300):
            with pytest.raises(Refused) as refused:
                with_standard(sources, {name: times * value for name, value in most.items()})
            assert codes(refused) == dict.fromkeys(most, "out-of-range")
    expected = {fault.where: fault.expected for fault in refused.value.faults}
    assert expected["boom.zero"] == "0 to 10 deg"
    assert expected["boom_length"] == "0 to 1000 mm"


@pytest.mark.parametrize(
    ("pairs", "told"),
    [
        ([("boom.zero", "stick.zero", 0.9), ("boom.zero", "stick.zero", 0.9)], {"correlations.1": "given-twice"}),
        ([("boom.zero", "stick.zero", 0.9), ("stick.zero", "boom.zero", -0.9)], {"correlations.1": "given-twice"}),
        ([("boom.zero", "boom.zero", 1.0)], {"correlations.0": "not-a-correlation"}),
        ([("boom.zero", "boom.zero", 0.5), ("boom.zero", "zero", 0.5), ("boom.noise", "stick.zero", 0.5)],
         {"correlations.0": "not-a-correlation", "correlations.1": "unknown-parameter",
          "correlations.2": "not-correlated-so"}),
    ],
)  # fmt: skip
def test_a_pair_counts_once(pairs: list[tuple[str, str, float]], told: dict[str, str]) -> None:
    with pytest.raises(Refused) as refused:
        sources_of(known(), ESTIMATES, pairs)
    assert codes(refused) == told


def test_pairs_that_are_told_once_stand() -> None:
    pairs = [("boom.zero", "stick.zero", 0.9), ("boom.zero", "boom_length", -0.2)]
    sources = sources_of(known(), ESTIMATES, pairs)
    table = sources.root @ sources.root.T
    for one, other, coefficient in pairs:
        found = table[sources.names.index(one), sources.names.index(other)]
        assert np.isfinite(found)
        assert found == pytest.approx(coefficient, abs=1e-9)
