"""The map of uncertainty: cell by cell what a readout there would be told, and what a written-out model gives."""

import dataclasses
import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.columns import solve_columns
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.fleet import fleet
from kinematics.levelling import Enters, Terms
from kinematics.machine import Range
from kinematics.observed import Observed, chained
from kinematics.rates_at import RatesAt
from kinematics.reach import place_edge
from kinematics.sensing import readings_of
from kinematics.sensing_block import ANGLES, program
from kinematics.sources import KINDS, Kind, sources_of
from kinematics.trust import Trust
from kinematics.trust_desk import said_in
from kinematics.zone import Zone
from kinematics.zone_block import BEYOND, OK, OUT_OF_REACH, STATUS
from kinematics.zone_budget import ZoneBudget, terms_of, zone_budget

from .plainly import in_plain_python
from .zones import NOTHING, PAIRS, SURE, arm_of, sensors_of, sure_but, touch_of, zone_of

Floats = NDArray[np.float64]
EXACT = 1e-9  # relative: the same sum, added up in another order
PLACED_M, PLACED_RAD = 1e-9, 1e-9
E = Enters
# Written out: the touch is entry 2; each move is struck before (3, 5) and after (4, 6).
TERMS: dict[int, Terms] = {
    0: {(1, E.BENCHMARK): 1.0, (2, E.EDGE): -1.0},
    2: {
        (1, E.BENCHMARK): 1.0, (2, E.EDGE): -1.0,
        (3, E.RECEIVER): 1.0, (4, E.RECEIVER): -1.0, (4, E.CARRIED): 1.0,
        (5, E.RECEIVER): 1.0, (6, E.RECEIVER): -1.0, (6, E.CARRIED): 1.0,
    },
}  # fmt: skip
SETUPS = {3: 1, 4: 2, 5: 2, 6: 3}


def budget_of(machine: str, attachment: str, by: str, carried: int = 0) -> ZoneBudget:
    sensors, estimates = sensors_of(machine, attachment, by), Estimates()
    arm = sensors.assembly
    return zone_budget(
        sensors, sources_of(sensors, estimates), estimates, zone_of(arm), touch_of(arm), carried=carried
    )


def cells(budget: ZoneBudget, *, ok: bool) -> list[tuple[int, int]]:
    return [(int(i), int(j)) for i, j in np.argwhere(budget.ok == ok)]


@pytest.mark.parametrize(
    ("machine", "attachment", "by", "carried"),
    [
        (*pair, carried)
        for pair in PAIRS for carried in (0, 2) if not carried or arm_of(*pair[:2]).machine.receiver is not None
    ],
)  # fmt: skip
def test_each_cell_is_what_a_readout_there_would_be_told(
    machine: str, attachment: str, by: str, carried: int
) -> None:
    budget = budget_of(machine, attachment, by, carried)
    sensors, estimates, arm = budget.sensors, Estimates(), budget.sensors.assembly
    sources = sources_of(sensors, estimates)
    standing = budget.zone.standing(arm)
    reach, height = touch_of(arm)
    touch = place_edge(arm, point="centre", reach=reach, height=height, floor_angle=0.15, **standing).pose
    seen = {2: Observed(sensors, sources, [touch], "centre", 1)}
    if carried:
        seen |= {k: Observed(sensors, sources, [touch], "receiver", setup) for k, setup in SETUPS.items()}
    trust = Trust(
        sensors, sources, estimates, chained(TERMS[carried], seen, {}, estimates, sensors, sources), None
    )
    good = cells(budget, ok=True)
    assert len(good) > 10
    for i, j in good:
        there = place_edge(
            arm, point="centre", reach=float(budget.zone.reaches[j]), height=float(budget.zone.heights[i]),
            floor_angle=0.15, **standing,
        ).pose  # fmt: skip
        assert trust.judge(said_in(program(sensors).numbers, readings_of(sensors, there)), there.q)
        assert budget.standard[i, j] == pytest.approx(trust.numbers[1], rel=EXACT)
        assert KINDS[budget.largest[i, j]] == KINDS[trust.choices[0]]


@pytest.mark.parametrize("carried", [0, 1, 2])
def test_the_chain_is_the_level_books(carried: int) -> None:
    assert terms_of(carried) == {key: f for key, f in TERMS[2].items() if key[0] <= 2 + 2 * carried}


@pytest.mark.parametrize(("machine", "attachment", "by"), PAIRS)
def test_the_edge_is_where_the_cell_is(machine: str, attachment: str, by: str) -> None:
    budget = budget_of(machine, attachment, by)
    arm, good = budget.sensors.assembly, budget.ok
    angles = {name: budget.q[good][:, ANGLES.index(name)] for name in ("pitch", "roll", *arm.ranges)}
    found = solve_columns(fleet([arm]), angles, ["centre_reach", "centre_height", "floor_angle"])
    assert found.ok.all()
    reach, height = np.meshgrid(budget.zone.reaches, budget.zone.heights)
    for name, wanted, close in (
        ("centre_reach", reach[good], PLACED_M), ("centre_height", height[good], PLACED_M),
        ("floor_angle", 0.15, PLACED_RAD),
    ):  # fmt: skip
        assert np.isfinite(found.values[name]).all()
        assert np.max(np.abs(found.values[name] - wanted)) <= close


@pytest.mark.parametrize(("machine", "attachment", "by"), PAIRS)
def test_where_there_is_no_number_the_inverse_has_no_pose(machine: str, attachment: str, by: str) -> None:
    budget = budget_of(machine, attachment, by)
    arm, seen = budget.sensors.assembly, set()
    for i, j in cells(budget, ok=False):
        status = budget.status[i, j]
        assert math.isnan(budget.standard[i, j])
        if status not in (BEYOND, OUT_OF_REACH):
            continue
        with pytest.raises(Refused) as refused:
            place_edge(
                arm, point="centre", reach=float(budget.zone.reaches[j]), height=float(budget.zone.heights[i]),
                floor_angle=0.15, **budget.zone.standing(arm),
            )  # fmt: skip
        assert refused.value.code == STATUS[status]
        seen.add(status)
    assert OUT_OF_REACH in seen


def test_a_boom_known_to_a_tenth_of_a_degree() -> None:
    # domain.md, 7: an encoder's bias enters by the difference of levers; 0.1 deg at 8 m is 14 mm, so at 4 m more 7.
    tenth = math.radians(0.1)
    sensors = sure_but("encoder", {}, {"boom": dataclasses.replace(NOTHING, zero_uncertainty=tenth)})
    zone = Zone(Range(3.0, 6.0), Range(-2.5, -1.5), 7, 3)
    budget = zone_budget(sensors, sources_of(sensors, SURE), SURE, zone, (6.0, -1.5))
    off = np.abs(zone.reaches - 6.0) * tenth
    assert budget.ok[:, :5].all()
    assert np.nanmax(np.abs(budget.standard - off)) <= 1e-9  # the noise that must be above 0
    assert 1e3 * 8.0 * tenth == pytest.approx(14.0, abs=0.05)


def test_noise_of_the_boom_comes_at_the_touch_and_at_the_dig() -> None:
    tenth = math.radians(0.1)
    sensors = sure_but("encoder", {}, {"boom": dataclasses.replace(NOTHING, noise=tenth)})
    zone = Zone(Range(3.0, 6.0), Range(-2.5, -1.5), 7, 3)
    budget = zone_budget(sensors, sources_of(sensors, SURE), SURE, zone, (6.0, -1.5))
    foot = sensors.assembly.machine.boom_foot_x
    wanted = tenth * np.hypot(zone.reaches - foot, 6.0 - foot)
    assert np.nanmax(np.abs(budget.standard - wanted)) <= 1e-9


def test_where_the_touch_was_nothing_lasting_counts() -> None:
    sensors, estimates = sensors_of("crawler-14t", "digging-1500", "own"), Estimates()
    zone = Zone(Range(4.0, 6.0), Range(-2.5, -1.5), 3, 3)
    budget = zone_budget(sensors, sources_of(sensors, estimates), estimates, zone, (5.0, -2.0))
    parts = dict(budget.cell(1, 1).parts)
    assert not {Kind.ZEROS, Kind.DIMENSIONS, Kind.SKEW, Kind.WEAR} & set(parts)
    assert parts[Kind.CONTACT] == estimates.contact
    assert {Kind.NOISE, Kind.SLOP, Kind.FLEX} <= set(parts)


def test_a_cell_by_draws() -> None:
    """GUM supplement 1 on a planar machine written out here: encoders, a leaning body, lengths, flex and contact."""
    figures = {
        name: dataclasses.replace(NOTHING, zero_uncertainty=math.radians(zero), noise=math.radians(noise))
        for name, zero, noise in (("body", 0.05, 0.03), ("boom", 0.1, 0.04), ("stick", 0.15, 0.05), ("bucket", 0.3, 0.1))
    }  # fmt: skip
    lengths = {"boom_length": 0.008, "stick_length": 0.006}
    sensors = sure_but("encoder", lengths | {"flex": 0.004}, figures)
    estimates = dataclasses.replace(SURE, contact=0.003)
    zone = Zone(Range(3.2, 5.0), Range(-3.0, -2.0), 3, 3, floor_angle=0.1, pitch=0.03)
    budget = zone_budget(sensors, sources_of(sensors, estimates), estimates, zone, (6.0, -1.5))
    cell = budget.cell(0, 0)
    rng, count = np.random.default_rng(20_250), 400_000
    machine, hitch = (
        sensors.assembly.machine,
        sensors.assembly.attachment.edge[sensors.assembly.attachment.centre],
    )
    zeros = {name: rng.normal(0.0, each.zero_uncertainty or 0.0, count) for name, each in figures.items()}
    boom, stick = (rng.normal(getattr(machine, name), size, count) for name, size in lengths.items())

    def height(p: Floats, b: Floats, s: Floats, k: Floats, long: Floats, short: Floats) -> Floats:
        up, curl = b + s, b + s + k
        x = (
            machine.boom_foot_x
            + long * np.cos(b)
            + short * np.cos(up)
            + hitch[0] * np.cos(curl)
            - hitch[2] * np.sin(curl)
        )
        z = long * np.sin(b) + short * np.sin(up) + hitch[0] * np.sin(curl) + hitch[2] * np.cos(curl)
        found: Floats = np.sin(p) * x + np.cos(p) * z
        return found

    def off(q: Floats) -> Floats:
        """What is believed less what is true, of one reading of all sensors."""
        p, b, s, k = (np.full(count, q[i]) for i in (0, 3, 5, 6))
        at, by, to, of = (
            zeros[name] + rng.normal(0.0, each.noise or 0.0, count) for name, each in figures.items()
        )
        told = height(p + at, b + by, s + to, k + of, boom, stick)
        sizes = (np.full(count, size) for size in (machine.boom_length, machine.stick_length))
        found: Floats = told - height(p, b, s, k, *sizes) + rng.normal(0.0, 0.004, count)
        return found

    spread = float(np.std(off(cell.pose.q) - off(budget.touch.q) + rng.normal(0.0, 0.003, count)))
    assert math.isfinite(spread)
    # Four times what a spread of so many draws is known to, and what is not linear: 1e-4 of it at these angles.
    assert cell.standard == pytest.approx(spread, rel=4.0 / math.sqrt(2.0 * count) + 1e-4)


def test_parts_and_shares_add_up() -> None:
    budget = budget_of("crawler-14t", "tilting-1800", "own", 2)
    assert np.nanmax(np.abs(budget.by_sensors + budget.by_others - budget.standard**2)) <= 1e-15
    for cell in (budget.worst, budget.best):
        assert math.sqrt(sum(size * size for _, size in cell.parts)) == pytest.approx(
            cell.standard, rel=EXACT
        )
        assert [size for _, size in cell.parts] == sorted((size for _, size in cell.parts), reverse=True)
    assert budget.worst.standard == np.nanmax(budget.standard)
    assert budget.best.standard == np.nanmin(budget.standard)
    half = 1.959963984540054 * budget.standard[budget.ok]  # of a normal distribution, tables
    assert budget.share_within(float(half.max()) * (1 + 1e-12)) == 1.0
    assert budget.share_within(float(np.median(half)) * (1 + 1e-12)) == pytest.approx(
        0.5, abs=0.5 / half.size + 1e-9
    )
    assert budget.share_within(float(half.min()) * 0.999) == 0.0


def test_a_correlation_between_a_zero_and_a_length_belongs_to_neither() -> None:
    sensors, estimates = sensors_of("wheeled-16t", "ditching-1800", "encoder"), Estimates()
    arm = sensors.assembly
    alone, tied = (
        zone_budget(sensors, sources_of(sensors, estimates, pairs), estimates, zone_of(arm), touch_of(arm))
        for pairs in ((), [("boom.zero", "boom_length", 0.8)])
    )
    assert np.nanmax(np.abs(alone.by_sensors - tied.by_sensors)) <= 1e-15
    assert np.nanmax(np.abs(alone.by_others - tied.by_others)) <= 1e-15
    i, j = cells(alone, ok=True)[0]
    rates = dict(zip(tied.sources.names, _rates(tied, i, j), strict=True))
    size = dict(zip(tied.sources.names, tied.sources.standard, strict=True))
    both = 2.0 * 0.8 * math.prod(rates[name] * size[name] for name in ("boom.zero", "boom_length"))
    assert tied.standard[i, j] ** 2 - alone.standard[i, j] ** 2 == pytest.approx(both, rel=1e-6)


def _rates(budget: ZoneBudget, i: int, j: int) -> list[float]:
    own = RatesAt(budget.sensors, budget.sources).of_height(budget.cell(i, j).pose, "centre")
    found: list[float] = (own + budget.owed.edge + budget.owed.strikes).tolist()
    return found


def test_threads_and_progress_change_nothing() -> None:
    sensors, estimates = sensors_of("crawler-14t", "digging-1500", "own"), Estimates()
    sources, zone = sources_of(sensors, estimates), zone_of(sensors.assembly, 90, 70)
    touch, told = touch_of(sensors.assembly), list[float]()
    one = zone_budget(sensors, sources, estimates, zone, touch)
    with ThreadPoolExecutor(2) as pool:
        two = zone_budget(
            sensors, sources, estimates, zone, touch, executor=pool, parts=2, progress=told.append
        )
    assert np.array_equal(one.standard, two.standard, equal_nan=True)
    assert np.array_equal(one.status, two.status)
    assert told == sorted(told)
    assert told[-1] == 1.0


def plain_cells() -> list[float]:
    budget = budget_of("crawler-14t", "tilting-1800", "own", 1)
    found: list[float] = budget.standard[budget.ok].tolist()
    return found


def test_without_the_compiler_it_is_the_same() -> None:
    assert in_plain_python("test_zone_budget", "plain_cells") == pytest.approx(plain_cells(), rel=EXACT)


def refused_codes(zone: Zone, touch: tuple[float, float], carried: int = 0) -> dict[str, str]:
    sensors, estimates = sensors_of("midi-8t", "midi-bucket-700", "encoder"), Estimates()
    with pytest.raises(Refused) as refused:
        zone_budget(sensors, sources_of(sensors, estimates), estimates, zone, touch, carried=carried)
    return {fault.where: fault.code for fault in refused.value.faults}


def test_refusals() -> None:
    zone = zone_of(arm_of("midi-8t", "midi-bucket-700"))
    assert refused_codes(zone, (40.0, 0.0), 51) == {"touch.reach": "out-of-reach", "carried": "out-of-range"}
    assert refused_codes(dataclasses.replace(zone, fore_boom=0.3), touch_of(arm_of("midi-8t", "midi-bucket-700"))) in (
        {"fore_boom": "no-such-joint"}, {"fore_boom": "beyond-joint"},
    )  # fmt: skip
    far = dataclasses.replace(zone, reach=Range(50.0, 60.0))
    assert refused_codes(far, touch_of(arm_of("midi-8t", "midi-bucket-700"))) == {"zone": "out-of-reach"}
    with pytest.raises(Refused) as refused:
        Zone(Range(8.0, 3.0), Range(math.nan, 200.0), 1, 5000, floor_angle=math.inf)
    assert [fault.where for fault in refused.value.faults] == [
        "reach", "height.low", "height.high", "columns", "rows", "floor_angle",
    ]  # fmt: skip
    budget = budget_of("crawler-14t", "digging-1500", "own")
    i, j = cells(budget, ok=False)[0]
    with pytest.raises(Refused):
        budget.cell(i, j)
    assert budget.status[budget.worst.row, budget.worst.column] == OK
