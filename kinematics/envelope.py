"""The digging envelope of one machine: all that a point of its bucket reaches, as a curve, and its named dimensions.

The machine stands level, its arm straight ahead. The curve is made of arcs (`outline`); each dimension is the exact
extreme on them, with the posture that gives it. Terms are those of ISO 7135 (from memory; how each is meant here stands
at `Envelope`).
"""

import cmath
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm_plane import Floats, point_faults
from .assembly import Assembly
from .chain import body_from_arm, hitch_from_bucket
from .drives import beyond_joint
from .dump_height import highest_hanging
from .errors import Fault, refuse
from .joint_arcs import Row
from .level_floor import crossings, deepest_floor
from .maps import Map, place
from .outline import Loop, Piece, outline
from .parameters import BUCKET_POINTS
from .swing_radius import least_swing_radius

FLOOR_M = 2.44
"""8 ft, the length of level floor that depths are usually told for (common practice, no source)."""
DIMENSIONS = (
    "digging_depth", "level_floor_depth", "reach", "reach_at_ground", "cutting_height", "dump_height", "swing_radius",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Spot:
    """A place, level: `reach` from the swing axis, `height` over the body origin (m); the `joints` (rad) that put the
    point there, and which of them are `at_stops`: "low" or "high" of their ranges."""

    reach: float
    height: float
    joints: Mapping[str, float]
    at_stops: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Dimension:
    """A named dimension: `value` (m) and the `spots` that give it; two of a level floor, near end first."""

    value: float
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """All that `point` reaches. Level: reach (m) from the swing axis, height (m) over the body origin.

    `curve`: its border, anticlockwise; `others`: further loops, clockwise around ground that is out of reach inside it.
    `ground`: height (m) of the ground, level, the machine stands on; None where nobody measured it.
    `dimensions`, those that there are, in m:
    "digging_depth" the point's lowest place below ground; "level_floor_depth" the lowest level line below ground of
    which an unbroken `floor` (m) is reached; "reach" the furthest the point gets from the swing axis; "reach_at_ground"
    the same at the height of the ground; "cutting_height" its highest place over ground; "dump_height" the height over
    ground of the lowest of edge, teeth and heel where the bucket pin is highest with the point plumb below it, the load
    out; "swing_radius" of the least circle around the swing axis that holds all pins of boom, stick and
    linkage and all points of the bucket (links are wider than their pins), to `swing_radius.WITHIN_M`. A boom foot pin
    1.7 m up and a point down to 6 m below it: 4.3 m of digging depth.
    `without`: why each of the others is not there. `held`: joints (rad) that stand throughout.
    """

    point: str
    row: Row
    curve: Loop
    others: tuple[Loop, ...]
    ground: float | None
    floor: float
    dimensions: Mapping[str, Dimension]
    without: Mapping[str, str]
    held: Mapping[str, float]

    def contains(self, reach: Floats, height: Floats) -> NDArray[np.bool_]:
        """Which places (m) the point reaches; arrays of one shape."""
        return self.row.contains(np.asarray(reach) + 1j * np.asarray(height))

    def spot(self, piece: Piece, angle: float) -> Spot:
        """The place in a direction (rad from its arc's centre) of a piece of the border, with its posture."""
        return _spot(self.row, piece, angle)

    def sampled(self, chord_error: float = 1e-3) -> list[NDArray[np.float64]]:
        """The loops as places (m), each of shape (n, 2), reach and height, the first place not told again at the end;
        no chord further than `chord_error` (m) from its arc."""
        found = []
        for loop in (self.curve, *self.others):
            places = np.array([at for piece in loop for at in piece.sampled(chord_error)])
            found.append(np.stack([places.real, places.imag], axis=1))
        return found


def digging_envelope(
    assembly: Assembly,
    *,
    point: str | None = None,
    ground: float | None = None,
    floor: float = FLOOR_M,
    fore_boom: float | None = None,
    tilt: float | None = None,
    rotate: float | None = None,
    swing_radius: bool = True,
) -> Envelope:
    """The digging envelope of `point` (of `parameters.BUCKET_POINTS`; left out, the middle tooth or, without teeth, the
    edge's centre), the machine level, its swing boom straight ahead.

    `ground`: height (m) of the ground over the body origin, usually negative; left out, as the profile's boom foot
    height says. `floor` (m): the length that "level_floor_depth" is for. A fore boom moves between its stops unless
    held at `fore_boom` (rad); tilt and rotation stand at `tilt` and `rotate` (rad), 0 where left out. End stops count
    without slack. Without `swing_radius` that is not looked for, which takes most of the time.
    Raises `Refused` with every fault: "no-such-point", "not-finite", "not-positive", "no-such-joint", "beyond-joint",
    "no-outline".
    """
    if point is None:
        point = "centre" if assembly.attachment.teeth is None else "tooth_centre"
    held = {"fore_boom": fore_boom, "tilt": tilt, "rotate": rotate}
    refuse([*point_faults(assembly, point), *_number_faults(ground, floor), *_held_faults(assembly, held)])
    m = assembly.parameters[0]
    hitch = hitch_from_bucket(m, tilt or 0.0, rotate or 0.0)
    row = _row(assembly, float(body_from_arm(m, 0.0)[9]), _on_hitch(assembly, hitch, point), fore_boom)
    loops = outline(row)
    if ground is None and assembly.machine.boom_foot_height is not None:
        ground = -assembly.machine.boom_foot_height
    found: dict[str, Dimension] = {}
    without: dict[str, str] = {}
    border = [piece for loop in loops for piece in loop]
    far = _farthest(row, border, 1.0)
    found["reach"] = Dimension(far.reach, (far,))
    _over_ground(row, loops, ground, floor, found, without)
    _dump_height(row, _tips(assembly, hitch, fore_boom or 0.0), ground, found, without)
    if swing_radius:
        radius, joints, (out, up) = least_swing_radius(
            assembly, _given(assembly, held), _moving(assembly, held)
        )
        found["swing_radius"] = Dimension(radius, (Spot(out, up, joints, row.at_stops(joints)),))
    told = {name: found[name] for name in DIMENSIONS if name in found}
    return Envelope(point, row, loops[0], loops[1:], ground, floor, told, without, _given(assembly, held))


def _over_ground(
    row: Row, loops: tuple[Loop, ...], ground: float | None, floor: float, found: dict[str, Dimension],
    without: dict[str, str],
) -> None:  # fmt: skip
    if ground is None:
        why = "neither the profile nor the question says how high the boom foot pin stands over the ground"
        without |= {name: why for name in DIMENSIONS if name not in ("reach", "swing_radius")}
        return
    border = [piece for loop in loops for piece in loop]
    low, high = _farthest(row, border, -1j), _farthest(row, border, 1j)
    _depth("digging_depth", ground, (low,), found, without)
    found["cutting_height"] = Dimension(high.height - ground, (high,))
    at_ground = crossings(loops[0], ground)
    if at_ground:
        furthest = _spot(row, *at_ground[-1][1:])
        found["reach_at_ground"] = Dimension(furthest.reach, (furthest,))
    else:
        without["reach_at_ground"] = "the point does not get to the height of the ground"
    run = deepest_floor(row, loops, floor)
    if run is None:
        without["level_floor_depth"] = f"no level line of {floor:g} m is reached unbroken"
    else:
        _depth("level_floor_depth", ground, tuple(_spot(row, *end[1:]) for end in run), found, without)


def _dump_height(
    row: Row, tips: list[complex], ground: float | None, found: dict[str, Dimension], without: dict[str, str]
) -> None:
    if ground is None:
        return
    joints = highest_hanging(row)
    if joints is None:
        without["dump_height"] = "no posture has the point plumb below the bucket pin"
        return
    low = min((row.tipped(tip).place(joints) for tip in tips), key=lambda at: at.imag)
    spot = Spot(low.real, low.imag, joints, row.at_stops(joints))
    found["dump_height"] = Dimension(low.imag - ground, (spot,))


def _depth(
    name: str, ground: float, spots: tuple[Spot, ...], found: dict[str, Dimension], without: dict[str, str]
) -> None:
    depth = ground - spots[0].height
    if depth > 0.0:
        found[name] = Dimension(depth, spots)
    else:
        without[name] = f"the point stays {-depth:.3f} m above the ground there"


def _spot(row: Row, piece: Piece, angle: float) -> Spot:
    at, joints = piece.arc.at(angle), piece.arc.joints_at(angle)
    return Spot(at.real, at.imag, joints, row.at_stops(joints))


def _farthest(row: Row, border: list[Piece], direction: complex) -> Spot:
    """The place of the border that lies furthest in a direction: 1j is up."""
    towards = cmath.phase(direction)
    places = [(piece, angle) for piece in border
              for angle in (piece.start, piece.end, *((towards,) if piece.holds_angle(towards) else ()))]  # fmt: skip
    piece, angle = max(places, key=lambda each: (each[0].arc.at(each[1]) * direction.conjugate()).real)
    return _spot(row, piece, angle)


def _row(assembly: Assembly, base: float, tip: complex, fore_boom: float | None) -> Row:
    """Boom, fore boom where it moves, stick and bucket; a held fore boom is a bend of the boom."""
    machine, spans = assembly.machine, assembly.ranges
    names, links, ranges = ["boom"], [complex(machine.boom_length)], [spans["boom"]]
    outer, stick = machine.fore_boom_length, spans["stick"]
    if outer is not None and fore_boom is None:
        names, links, ranges = [*names, "fore_boom"], [*links, complex(outer)], [*ranges, spans["fore_boom"]]
    bent = fore_boom or 0.0
    if outer is not None and fore_boom is not None:
        links[0] += cmath.rect(outer, bent)
    turned = cmath.rect(1.0, bent)
    return Row(
        complex(base), (*links, machine.stick_length * turned, tip * turned), (*ranges, stick, spans["bucket"]),
        (*names, "stick", "bucket"),
    )  # fmt: skip


def _on_hitch(assembly: Assembly, hitch: Map, point: str) -> complex:
    m = assembly.parameters[0]
    x, _, z = place(hitch, m[f"{point}_x"], m[f"{point}_y"], m[f"{point}_z"])
    return complex(x, z)


def _tips(assembly: Assembly, hitch: Map, bent: float) -> list[complex]:
    """Every point of the bucket as the row's last link: edge, teeth and heel."""
    vertices = [place(hitch, *vertex) for vertex in assembly.attachment.edge]
    named = [_on_hitch(assembly, hitch, name) for name in BUCKET_POINTS if not point_faults(assembly, name)]
    turned = cmath.rect(1.0, bent)
    return [tip * turned for tip in (*named, *(complex(x, z) for x, _, z in vertices))]


def _given(assembly: Assembly, held: Mapping[str, float | None]) -> dict[str, float]:
    """Joints that stand: those held, tilt, rotation and swing boom at 0 where not."""
    given = {name: value for name, value in held.items() if value is not None}
    return {name: 0.0 for name in ("swing_boom", "tilt", "rotate") if name in assembly.ranges} | given


def _moving(assembly: Assembly, held: Mapping[str, float | None]) -> tuple[str, ...]:
    given = _given(assembly, held)
    return tuple(name for name in assembly.ranges if name not in given)


def _number_faults(ground: float | None, floor: float) -> Iterator[Fault]:
    if ground is not None and not math.isfinite(ground):
        yield Fault("not-finite", "ground", str(ground), "a finite number")
    if not math.isfinite(floor):
        yield Fault("not-finite", "floor", str(floor), "a finite number")
    elif floor <= 0.0:
        yield Fault("not-positive", "floor", f"{floor:g} m", "a length above 0", "", {"length_m": floor})


def _held_faults(assembly: Assembly, held: Mapping[str, float | None]) -> Iterator[Fault]:
    for name, value in held.items():
        if value is not None and name not in assembly.ranges:
            yield Fault(
                "no-such-joint", name, f"an angle for {name}", "joints " + ", ".join(assembly.ranges),
                "leave it out: this machine and attachment do not have it",
            )  # fmt: skip
        elif value is not None and not math.isfinite(value):
            yield Fault("not-finite", name, str(value), "a finite angle")
    for name, value in _given(assembly, held).items():
        span = assembly.ranges.get(name)
        if span is not None and math.isfinite(value) and not span.low <= value <= span.high:
            yield beyond_joint(name, value, span)
