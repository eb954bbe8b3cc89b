"""The digging envelope: every place of its border reached, nothing reached beyond it, dimensions as they are defined."""

import cmath
import itertools
import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.envelope import DIMENSIONS, Envelope, digging_envelope
from kinematics.errors import Refused
from kinematics.joint_arcs import Row
from kinematics.machine import Attachment, Machine, Range
from kinematics.outline import Loop, area, outline
from kinematics.reach import place_edge
from kinematics.swing_radius import WITHIN_M
from machine_profiles import shipped
from tests.amounts import several
from tests.kinematics.machines import (
    mini_bucket,
    mini_machine,
    plain_bucket,
    plain_machine,
    seeded,
    tiltrotator_bucket,
)
from tests.tolerances import NOISE_M

PAIRS = [
    ("compact-1t8", "compact-bucket-400"), ("crawler-14t", "digging-1500"), ("crawler-14t", "tilt-rotator-1600"),
    ("crawler-21t", "digging-1500"), ("long-reach-22t", "ditching-1800"), ("midi-8t", "midi-bucket-700"),
    ("wheeled-16t", "digging-1500"), ("published-mini", "published-mini-bucket"),
]  # fmt: skip
CHORD_M = 1e-5


def fitted(machine: str, attachment: str) -> Assembly:
    profiles = shipped()
    carrier, tool = profiles["machine", machine].geometry, profiles["attachment", attachment].geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    return assemble(carrier, tool)


def windings(loops: tuple[Loop, ...], places: NDArray[np.complex128]) -> NDArray[np.float64]:
    """How often the loops go around each place, by the angles that their chords are seen under."""
    turned = np.zeros(places.shape)
    for loop in loops:
        border = np.array([at for piece in loop for at in piece.sampled(CHORD_M)])
        seen = border[None, :] - places[:, None]
        turned += np.angle(np.roll(seen, -1, axis=1) / seen).sum(axis=1) / (2.0 * math.pi)
    return turned


def nearest(loops: tuple[Loop, ...], places: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Distance (m) to the nearest place of the border."""
    found = np.full(places.shape, np.inf)
    for piece in itertools.chain(*loops):
        way = places - piece.arc.centre
        low, high = sorted((piece.start, piece.end))
        beside = (np.angle(way) - low) % (2.0 * math.pi) <= high - low
        ends = np.minimum(*(np.abs(places - end) for end in piece.ends))
        found = np.minimum(found, np.where(beside, np.abs(np.abs(way) - piece.arc.radius), ends))
    return found


def drawn(row: Row, rng: np.random.Generator, count: int) -> NDArray[np.complex128]:
    """Places of drawn postures; each joint is at a stop in a quarter of them."""
    at, angle = np.full(count, row.base), np.zeros(count)
    for span, link in zip(row.ranges, row.links, strict=True):
        beyond = (span.high - span.low) / 6.0
        angle = angle + np.clip(
            rng.uniform(span.low - beyond, span.high + beyond, count), span.low, span.high
        )
        at = at + link * np.exp(1j * angle)
    return at


@st.composite
def rows(draw: st.DrawFn) -> Row:
    """Two to four joints that turn by 10 to 160 deg, links from 0.3 to 6 m."""
    count = draw(st.integers(2, 4))
    links, spans = [], []
    for _ in range(count):
        links.append(cmath.rect(draw(st.floats(0.3, 6.0)), draw(st.sampled_from([0.0, 0.0, 0.4, -1.1]))))
        low = draw(st.floats(-2.8, 1.5, allow_subnormal=False))
        spans.append(Range(low, low + draw(st.floats(0.17, 2.8))))
    return Row(complex(draw(st.floats(-1.0, 1.0)), 0.0), tuple(links), tuple(spans), tuple("abcd"[:count]))


@given(rows(), st.integers(0, 2**32))
def test_the_border_goes_around_all_that_is_reached_and_nothing_else(row: Row, seed: int) -> None:
    rng = np.random.default_rng(seed)
    loops = outline(row)
    assert area(loops[0]) > 0.0
    places = drawn(row, rng, 300)
    middle = np.mean(places)
    around = middle + 1.3 * np.max(np.abs(places - middle)) * (
        rng.uniform(-1.0, 1.0, 200) + 1j * rng.uniform(-1.0, 1.0, 200)
    )
    # What is thinner than 10 micrometres may be left out of the border (`outline`).
    thick = np.all(
        [row.contains(places + aside) for aside in 2.0 * CHORD_M * np.exp(1j * np.arange(0.0, 6.0))], axis=0
    )
    for tried, reached in ((places[thick], np.ones(thick.sum(), dtype=bool)), (around, row.contains(around))):
        clear = nearest(loops, tried) > 2.0 * CHORD_M
        assert np.array_equal(windings(loops, tried[clear]) > 0.5, reached[clear])


@given(rows())
def test_every_arc_of_the_border_is_reached_by_the_posture_it_tells(row: Row) -> None:
    for piece in outline(row)[0]:
        for share in (0.0, 0.37, 1.0):
            angle = piece.start + share * (piece.end - piece.start)
            joints = piece.arc.joints_at(angle)
            assert abs(row.place(joints) - piece.arc.at(angle)) <= 1e-8
            for name, span in zip(row.names, row.ranges, strict=True):
                assert span.low - 1e-9 <= joints[name] <= span.high + 1e-9


@given(rows())
def test_upside_down_the_border_is_upside_down(row: Row) -> None:
    flipped = Row(
        row.base.conjugate(), tuple(link.conjugate() for link in row.links),
        tuple(Range(-span.high, -span.low) for span in row.ranges), row.names,
    )  # fmt: skip
    here, there = outline(row), outline(flipped)
    around = sum(abs(piece.end - piece.start) * piece.arc.radius for loop in here for piece in loop)
    # What is thinner than 10 micrometres may be left out of either (`outline`).
    assert abs(sum(map(area, there)) - sum(map(area, here))) <= 1e-5 * around


def test_two_links_of_two_and_one_metre_by_hand() -> None:
    """Both joints a quarter turn from straight ahead: two quarter rings' outer and inner arcs and two arcs of 1 m."""
    row = Row(0j, (2.0 + 0j, 1.0 + 0j), (Range(0.0, math.pi / 2),) * 2, ("a", "b"))
    [loop] = outline(row)
    assert sorted(round(piece.arc.radius, 9) for piece in loop) == pytest.approx(
        [1.0, 1.0, math.sqrt(5.0), 3.0]
    )
    # A ring sector from sqrt 5 to 3 m, swept by the curved edge of 1 m: Pappus, a quarter of pi (9 - 5).
    assert area(loop) == pytest.approx(math.pi, rel=1e-12)


@pytest.mark.parametrize(("machine", "attachment"), PAIRS)
def test_dimensions_are_not_passed_by_any_posture_and_are_reached(machine: str, attachment: str) -> None:
    assembly = fitted(machine, attachment)
    found = digging_envelope(assembly, ground=-1.1)
    assert tuple(found.dimensions) == DIMENSIONS
    places = drawn(found.row, np.random.default_rng(7), 200_000)
    value = {name: dimension.value for name, dimension in found.dimensions.items()}
    for told, seen in (
        (value["reach"], places.real.max()), (value["digging_depth"], -1.1 - places.imag.min()),
        (value["cutting_height"], places.imag.max() + 1.1),
    ):  # fmt: skip
        assert told - 0.02 < seen <= told + NOISE_M
    for name in ("reach", "digging_depth", "level_floor_depth", "reach_at_ground", "cutting_height"):
        for spot in found.dimensions[name].spots:
            placed = at_spot(assembly, found, spot.joints)
            assert placed[0] == pytest.approx(spot.reach, abs=NOISE_M)
            assert placed[1] == pytest.approx(spot.height, abs=NOISE_M)
    assert found.dimensions["reach_at_ground"].spots[0].height == pytest.approx(-1.1, abs=NOISE_M)


def at_spot(assembly: Assembly, found: Envelope, joints: Mapping[str, float]) -> tuple[float, float]:
    """Where the whole chain has the point in a posture, level, what is not told at 0."""
    others = {name: 0.0 for name in assembly.ranges if name not in joints}
    x, _, z = pose(assembly, pitch=0.0, roll=0.0, **{**joints, **others}).level(found.point)
    return x, z


@pytest.mark.parametrize(("machine", "attachment"), PAIRS)
def test_every_place_of_the_curve_is_one_that_the_inverse_finds(machine: str, attachment: str) -> None:
    assembly = fitted(machine, attachment)
    found = digging_envelope(assembly)
    for piece in found.curve:
        angle = 0.5 * (piece.start + piece.end)
        spot = found.spot(piece, angle)
        others = {name: 0.0 for name in assembly.ranges if name not in spot.joints}
        here = pose(assembly, pitch=0.0, roll=0.0, **{**spot.joints, **others})
        held = {name: here.joint(name) for name in assembly.ranges if name not in ("boom", "stick", "bucket")}
        inward = 1e-6 * (spot.reach - piece.arc.centre.real), 1e-6 * (spot.height - piece.arc.centre.imag)
        side = -1.0 if piece.end > piece.start else 1.0
        reach, height = spot.reach + side * inward[0], spot.height + side * inward[1]
        near = found.row.posture(complex(reach, height))
        assert near is not None
        floor = pose(assembly, pitch=0.0, roll=0.0, **{**near, **others}).floor_angle
        held |= {name: near[name] for name in near if name not in ("boom", "stick", "bucket")}
        placed = place_edge(
            assembly, pitch=0.0, roll=0.0, point=found.point, reach=reach, height=height, floor_angle=floor, near=None,
            **held,
        )  # fmt: skip
        x, _, z = placed.pose.level(found.point)
        assert math.hypot(x - reach, z - height) <= NOISE_M


@pytest.mark.parametrize(("machine", "attachment"), PAIRS)
def test_the_level_floor_is_the_lowest_there_is(machine: str, attachment: str) -> None:
    found = digging_envelope(fitted(machine, attachment), ground=-1.1)
    near, far = found.dimensions["level_floor_depth"].spots
    assert near.height == pytest.approx(far.height, abs=NOISE_M)
    assert far.reach - near.reach >= found.floor - 1e-7
    inside = np.linspace(near.reach + 1e-4, far.reach - 1e-4, 500)
    assert found.contains(inside, np.full(500, near.height + 1e-6)).all()
    for lower in (1e-4, 0.01, 0.1):
        reaches = np.arange(-10.0, 16.0, 0.005)
        reached = found.contains(reaches, np.full(reaches.shape, near.height - lower))
        runs = [len(list(group)) for ok, group in itertools.groupby(reached.tolist()) if ok]
        assert max(runs, default=0) * 0.005 < found.floor + 0.005


@pytest.mark.parametrize(("machine", "attachment"), PAIRS)
def test_the_dump_height_is_the_highest_hanging_bucket(machine: str, attachment: str) -> None:
    assembly = fitted(machine, attachment)
    found = digging_envelope(assembly, ground=0.0)
    told = found.dimensions["dump_height"]
    [spot] = told.spots
    others = {name: 0.0 for name in assembly.ranges if name not in spot.joints}
    here = pose(assembly, pitch=0.0, roll=0.0, **{**spot.joints, **others})
    pin = here.pins()["bucket_pin"]
    assert here.level(found.point)[0] == pytest.approx(pin[0], abs=NOISE_M)
    assert here.level(found.point)[2] < pin[2]
    assert told.value == pytest.approx(here.lowest()[1], abs=NOISE_M)
    rng = np.random.default_rng(3)
    free = [name for name in spot.joints if name != "bucket"]
    tip, span = found.row.links[-1], assembly.ranges["bucket"]
    for _ in range(several(3000)):
        drawn_joints = {
            name: rng.uniform(assembly.ranges[name].low, assembly.ranges[name].high) for name in free
        }
        hangs = -0.5 * math.pi - cmath.phase(tip) - sum(drawn_joints.values())
        bucket = hangs + 2.0 * math.pi * round((0.5 * (span.low + span.high) - hangs) / (2.0 * math.pi))
        if span.low <= bucket <= span.high:
            lower = found.row.place({**drawn_joints, "bucket": bucket}).imag
            assert lower <= found.row.place(spot.joints).imag + NOISE_M


def needed(assembly: Assembly, joints: Mapping[str, float]) -> float:
    """What a posture needs, by its own pins and points alone."""
    placed = pose(assembly, pitch=0.0, roll=0.0, **joints)
    bucket = [body for name, (_, body) in placed.places().items() if name != "receiver"]
    return max(
        math.hypot(x, y) for x, y, _ in (*placed.pins().values(), *bucket, *placed.edge_line().tolist())
    )


@pytest.mark.parametrize(("machine", "attachment"), [
    ("crawler-14t", "digging-1500"), ("midi-8t", "coupled-900"), ("compact-1t8", "compact-bucket-400"),
    ("wheeled-16t", "coupled-900"), ("long-reach-22t", "coupled-900"),
])  # fmt: skip
def test_no_posture_needs_less_room_than_the_swing_radius(machine: str, attachment: str) -> None:
    """By brute force: drawn over all joints, then ever nearer to the best that was drawn."""
    assembly = fitted(machine, attachment)
    radius = digging_envelope(assembly).dimensions["swing_radius"]
    [spot] = radius.spots
    still: dict[str, float] = {
        name: 0.0 for name in ("swing_boom", "tilt", "rotate") if name in assembly.ranges
    }
    assert needed(assembly, {**still, **spot.joints}) == pytest.approx(radius.value, abs=NOISE_M)
    spans = {name: assembly.ranges[name] for name in spot.joints}
    stops = itertools.product(*((span.low, span.high) for span in spans.values()))
    assert (
        radius.value
        <= min(needed(assembly, still | dict(zip(spans, each, strict=True))) for each in stops) + NOISE_M
    )
    rng = np.random.default_rng(7)
    low, high = (np.array([getattr(span, end) for span in spans.values()]) for end in ("low", "high"))
    best, least, width = 0.5 * (low + high), math.inf, high - low
    for round_ in range(12):
        near = best + rng.uniform(-0.5, 0.5, (400, low.size)) * width * (
            1.0 if round_ < 3 else 0.5 ** (round_ - 2)
        )
        for each in np.clip(near, low, high):
            room = needed(assembly, still | dict(zip(spans, each.tolist(), strict=True)))
            if room < least:
                best, least = each, room
    assert least >= radius.value - WITHIN_M
    assert least <= radius.value + 0.02  # the search was one


def test_the_published_mini_excavator_reaches_what_its_straight_arm_does() -> None:
    """Pins and angles at the stops as published (check_values 2); the aligned arm by Pythagoras from them alone."""
    found = digging_envelope(assemble(mini_machine(), mini_bucket()), point="centre")
    # Stick at its shortest cylinder, -0.5103 rad; boom to bucket pin and bucket, 0.567 m, in one line.
    straight = abs(2.050 + 1.050 * cmath.exp(-0.5103j)) + 0.567
    # The printed angle is good to 5e-5 rad: 1.05 m of stick at this bend move the pin by 3.5e-5 m.
    assert found.dimensions["reach"].value == pytest.approx(straight, abs=4e-5)
    lowest = (2.050 * cmath.exp(-0.4737j)).imag - 1.050 - 0.567
    at = min(found.curve, key=lambda piece: piece.ends[0].imag)
    assert lowest == pytest.approx(found.row.farthest(-1j)[0].at(found.row.farthest(-1j)[1]).imag, abs=1e-4)
    assert at.ends[0].imag >= lowest - 1e-4


def test_a_fore_boom_that_is_held_bends_the_boom() -> None:
    assembly = fitted("wheeled-16t", "digging-1500")
    whole, held = digging_envelope(assembly), digging_envelope(assembly, fore_boom=-0.6)
    assert held.dimensions["reach"].value < whole.dimensions["reach"].value
    [spot] = held.dimensions["digging_depth"].spots
    placed = pose(assembly, pitch=0.0, roll=0.0, fore_boom=-0.6, **spot.joints)
    assert placed.level(held.point)[2] == pytest.approx(spot.height, abs=NOISE_M)
    hanging = held.dimensions["dump_height"]
    placed = pose(assembly, pitch=0.0, roll=0.0, fore_boom=-0.6, **hanging.spots[0].joints)
    assert held.ground is not None
    assert hanging.value == pytest.approx(placed.lowest()[1] - held.ground, abs=NOISE_M)


def test_turned_half_round_another_point_stands_where_the_first_did() -> None:
    assembly = assemble(plain_machine(), tiltrotator_bucket())
    ahead, turned = digging_envelope(assembly), digging_envelope(assembly, rotate=math.pi)
    assert ahead.dimensions["reach"].value != pytest.approx(turned.dimensions["reach"].value, abs=0.01)


def test_without_the_height_of_the_ground_only_what_needs_none_is_told() -> None:
    found = digging_envelope(assemble(plain_machine(), plain_bucket()))
    assert set(found.dimensions) == {"reach", "swing_radius"}
    assert set(found.without) == set(DIMENSIONS) - {"reach", "swing_radius"}


def test_ground_out_of_reach_is_said() -> None:
    found = digging_envelope(assemble(plain_machine(), plain_bucket()), ground=-30.0, floor=25.0)
    assert set(found.without) == {"digging_depth", "reach_at_ground", "level_floor_depth"}


@pytest.mark.parametrize(
    ("given_too", "codes"),
    [
        ({"point": "nose"}, ["no-such-point"]),
        ({"ground": math.nan, "floor": -1.0}, ["not-finite", "not-positive"]),
        ({"floor": math.inf, "tilt": 0.1}, ["not-finite", "no-such-joint"]),
        ({"point": "tooth_left", "fore_boom": 0.2, "rotate": 0.1}, ["no-such-point", "no-such-joint", "no-such-joint"]),
    ],
)  # fmt: skip
def test_what_cannot_be_drawn_is_refused_all_at_once(given_too: dict[str, float], codes: list[str]) -> None:
    with pytest.raises(Refused) as refused:
        digging_envelope(assemble(plain_machine(), plain_bucket()), **given_too)  # type: ignore[arg-type]
    assert [fault.code for fault in refused.value.faults] == codes


def test_a_joint_held_beyond_its_range_is_refused() -> None:
    with pytest.raises(Refused) as refused:
        digging_envelope(assemble(plain_machine(), tiltrotator_bucket()), tilt=1.5)
    assert refused.value.code == "beyond-joint"


@pytest.mark.parametrize("seed", range(12))
def test_machines_without_symmetry(seed: int) -> None:
    assembly = seeded(seed, linkage=seed % 2 == 0, driven=seed % 4 == 0)
    if any(
        name in assembly.ranges and not assembly.ranges[name].low <= 0.0 <= assembly.ranges[name].high
        for name in ("swing_boom", "tilt", "rotate")
    ):
        with pytest.raises(Refused):
            digging_envelope(assembly)
        return
    found = digging_envelope(assembly, ground=-1.0)
    for name in ("reach", "cutting_height"):
        [spot] = found.dimensions[name].spots
        x, z = at_spot(assembly, found, spot.joints)
        assert math.hypot(x - spot.reach, z - spot.height) <= NOISE_M
