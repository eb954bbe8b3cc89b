"""A digging envelope drawn to scale: its border, the ground, two postures of the arm, dimensions with their figures."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from kinematics.arm import Pose, pose
from kinematics.units import show

from .drawing import (
    ACCENT,
    FAMILY,
    INK,
    PAPER,
    RULE,
    Box,
    Sheet,
    along,
    free_box,
    line,
    nearest,
    png_of,
    text,
)
from .envelope_answer import Told, words_of
from .sensitivities import POINTS_IN_WORDS
from .zone_axes import axes, depths, scale_bar
from .zone_contours import Place

WIDTH = 1200
_LEFT, _RIGHT, _TOP, _BELOW = 92.0, 92.0, 104.0, 176.0
_AROUND_M, _MOST_HEIGHT = 0.7, 1500.0
# Of the envelope's height, kept free below it for the words of both depths.
_FREE_BELOW = 0.1
_CHORD_M = 0.002
_WIDE, _HIGH = 10.9, 21.0
_LED_BY = 26.0
MARKED = ("digging_depth", "level_floor_depth", "reach", "reach_at_ground", "cutting_height", "dump_height")


def as_png(told: Told) -> bytes:
    """The picture as PNG. Raises `Refused` "no-font" where the machine has none to write with."""
    return png_of(as_svg(told))


def as_svg(told: Told) -> str:
    """The picture; lengths in the units asked for."""
    sheet = sheet_over(told)
    height = sheet.top + sheet.height + _BELOW
    title = f"{told.machine.id} with {told.attachment.id}: digging envelope"
    point = POINTS_IN_WORDS[told.found.point]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height:.0f}" '
        f'viewBox="0 0 {WIDTH} {height:.0f}" font-family="{FAMILY}" fill="{INK}">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{WIDTH}" height="{height:.0f}" fill="{PAPER}"/>',
        text(28, 40, title, 25, bold=True),
        text(
            28,
            68,
            f"All that the {point} reaches: machine level, arm straight ahead, joints between their stops.",
            16.5,
        ),
        *axes(sheet, told.units),
        *depths(sheet, told.found.ground, told.units),
        *border(told, sheet),
        *ground_line(told.found.ground, sheet),
        *_arms(told, sheet),
        *swing_axis(sheet),
        *_marks(told, sheet),
        *_swing_radius(told, sheet),
        *scale_bar(sheet, WIDTH - _RIGHT, sheet.top + sheet.height + 84, told.units),
        "</svg>",
    ]
    return "\n".join(parts)


def sheet_over(told: Told, below: float = _BELOW) -> Sheet:
    """A sheet with the whole envelope, the ground and the boom foot pin on it."""
    places = told.found.sampled(_CHORD_M)[0]
    ground = 0.0 if told.found.ground is None else told.found.ground
    deepest, highest = float(places[:, 1].min()), float(places[:, 1].max())
    free = max(_AROUND_M, _FREE_BELOW * (highest - deepest))
    low = min(float(places[:, 0].min()), 0.0) - _AROUND_M, min(deepest, ground) - free
    high = float(places[:, 0].max()) + _AROUND_M, highest + _AROUND_M
    across = WIDTH - _LEFT - _RIGHT
    scale = min(across / (high[0] - low[0]), (_MOST_HEIGHT - _TOP - below) / (high[1] - low[1]))
    return Sheet(_LEFT + 0.5 * (across - scale * (high[0] - low[0])), _TOP, scale, low, high)


def border(told: Told, sheet: Sheet, *, filled: bool = True) -> Iterator[str]:
    """The border as arcs, exact; ground out of reach inside it left blank."""
    fill = f'fill="{RULE}" fill-opacity="0.16"' if filled else 'fill="none"'
    path = border_path(told, sheet)
    yield f'<path d="{path}" {fill} fill-rule="evenodd" stroke="{INK}" stroke-width="2.2"/>'


def border_path(told: Told, sheet: Sheet) -> str:
    """The border's way, arc by arc."""
    path = ""
    for loop in (told.found.curve, *told.found.others):
        px, py = sheet.at(loop[0].ends[0].real, loop[0].ends[0].imag)
        path += f"M{px:.2f} {py:.2f}"
        for piece in loop:
            radius = piece.arc.radius * sheet.scale
            # Halves: an arc of more than half a turn has two ways to go.
            for angle in (0.5 * (piece.start + piece.end), piece.end):
                at = piece.arc.at(angle)
                px, py = sheet.at(at.real, at.imag)
                sweep = 0 if piece.end > piece.start else 1  # pixels count downwards
                path += f"A{radius:.2f} {radius:.2f} 0 0 {sweep} {px:.2f} {py:.2f}"
        path += "Z"
    return path


def ground_line(ground: float | None, sheet: Sheet) -> Iterator[str]:
    """The ground with its hatching."""
    if ground is None:
        return
    a, b = sheet.at(sheet.low[0], ground), sheet.at(sheet.high[0], ground)
    for k in range(int((b[0] - a[0]) / 14)):
        px = a[0] + 14 * k + 12
        yield line((px, a[1]), (px - 9, a[1] + 9), 0.9, RULE)
    yield line(a, b, 2.4)
    yield text(a[0] + 8, a[1] - 8, "ground", 15, halo=True)


def swing_axis(sheet: Sheet) -> Iterator[str]:
    """The swing axis as a chain line, the body origin on it."""
    yield line(sheet.at(0.0, sheet.high[1]), sheet.at(0.0, sheet.low[1]), 1.2, RULE, "14 4 3 4")
    cx, cy = sheet.at(0.0, 0.0)
    yield f'<circle cx="{cx:.1f}" cy="{cy:.1f}" r="5" fill="{PAPER}" stroke="{INK}" stroke-width="1.4"/>'


def posed_at(told: Told, joints: dict[str, float]) -> Pose:
    """The whole pose of a posture of the envelope."""
    still = {name: 0.0 for name in told.assembly.ranges if name not in joints} | dict(told.found.held)
    return pose(told.assembly, pitch=0.0, roll=0.0, **{**still, **joints})


def arm_of(posed: Pose) -> tuple[list[Place], list[Place]]:
    """(pins from boom foot to bucket pin; the bucket as bucket pin, middle tooth if it has teeth, edge, heel), machine
    level."""
    pins = posed.pins()
    arm = [(pins[name][0], pins[name][2]) for name in ("boom_foot_pin", "fore_boom_pin", "stick_pin", "bucket_pin")
           if name in pins]  # fmt: skip
    heels = (posed.level(name) for name in ("heel_left", "heel_right"))
    heel = tuple(0.5 * (a + b) for a, b in zip(*heels, strict=True))
    front = [posed.level(name) for name in ("tooth_centre", "centre") if name in posed.places()]
    return arm, [arm[-1], *((at[0], at[2]) for at in front), (heel[0], heel[2])]


def _arms(told: Told, sheet: Sheet) -> Iterator[str]:
    for name in ("digging_depth", "dump_height"):
        dimension = told.found.dimensions.get(name)
        if dimension is None:
            continue
        arm, bucket = arm_of(posed_at(told, dict(dimension.spots[0].joints)))
        yield f'<path d="{sheet.path(arm)}" fill="none" stroke="{RULE}" stroke-width="3" stroke-linejoin="round"/>'
        yield f'<path d="{sheet.path(bucket, closed=True)}" fill="{PAPER}" fill-opacity="0.6" stroke="{RULE}" ' \
              'stroke-width="3" stroke-linejoin="round"/>'  # fmt: skip
        for at in arm:
            px, py = sheet.at(*at)
            yield f'<circle cx="{px:.1f}" cy="{py:.1f}" r="4" fill="{PAPER}" stroke="{RULE}" stroke-width="2"/>'


def _marks(told: Told, sheet: Sheet) -> Iterator[str]:
    """Each dimension's place, and its words beside it where nothing else is."""
    for name in MARKED:
        if name in told.found.dimensions:
            places = _places(told, sheet, name)
            for px, py in places:
                yield f'<circle cx="{px:.1f}" cy="{py:.1f}" r="5.5" fill="{ACCENT}"/>'
            if len(places) > 1:
                yield line(places[0], places[1], 2.6, ACCENT)
    # Words of the digging depth, if need be, beside the way from one end of the level floor down to its own.
    ends = _places(told, sheet, "level_floor_depth")
    laid = [_labels(told, sheet, way) for way in (None, *ends)]
    for label in max(laid, key=len):
        yield from label.ink()


@dataclass(frozen=True, slots=True)
class _Label:
    said: str
    box: Box
    near: Place

    @property
    def leader(self) -> list[Place]:
        """Both ends of the line that leads to it; none where it stands near."""
        end = nearest(self.near, self.box)
        return [end, self.near] if abs(end[0] - self.near[0]) + abs(end[1] - self.near[1]) > _LED_BY else []

    def ink(self) -> Iterator[str]:
        """Its words, and the line that leads to them."""
        if self.leader:
            end, near = self.leader
            yield line(end, near, 3.4, PAPER)
            yield line(end, near, 1.2, ACCENT)
        left, top, right, _ = self.box
        yield text(
            0.5 * (left + right),
            top + 16,
            self.said,
            16.5,
            anchor="middle",
            bold=True,
            fill=ACCENT,
            halo=True,
        )


def _places(told: Told, sheet: Sheet, name: str) -> list[Place]:
    dimension = told.found.dimensions.get(name)
    return [] if dimension is None else [sheet.at(spot.reach, spot.height) for spot in dimension.spots]


def _labels(told: Told, sheet: Sheet, way: Place | None) -> list[_Label]:
    """As many dimensions' words as there is room for, no leader across any; what has none, the answer has. `way`: from
    there down the words of the digging depth do not stand."""
    whole: Box = (sheet.left, sheet.top, *sheet.at(sheet.high[0], sheet.low[1]))
    strokes = along([sheet.at(float(x), float(z)) for x, z in told.found.sampled(_CHORD_M)[0]], 4)
    for name in ("digging_depth", "dump_height"):
        if name in told.found.dimensions:
            arm, bucket = arm_of(posed_at(told, dict(told.found.dimensions[name].spots[0].joints)))
            strokes += [sheet.at(*at) for at in along([*arm, *bucket[1:], bucket[0]])]
    kept: list[Box] = []
    if told.found.ground is not None:
        at = sheet.at(0.0, told.found.ground)[1]
        kept.append((sheet.left, at - 24, sheet.left + 66, at + 10))
        kept.append((sheet.left, at - 3, whole[2], at + 10))
    axis = sheet.at(0.0, 0.0)[0]
    kept.append((axis - 3, whole[1], axis + 3, whole[3]))
    found: list[_Label] = []
    for name in MARKED:
        if name not in told.found.dimensions:
            continue
        said = f"{words_of(name, told)}: {show(told.found.dimensions[name].value, told.units)}"
        off = [(way[0] - 1.0, way[1], way[0] + 1.0, whole[3])] if way and name == "digging_depth" else []
        words = [each.box for each in found]
        label = _beside(_places(told, sheet, name), said, whole, [*kept, *words, *off], strokes, words)
        if label is not None:
            found.append(label)
            strokes += along(label.leader, 4)  # nothing that comes later stands on it
    return found


def _beside(
    places: list[Place], said: str, whole: Box, kept: list[Box], strokes: list[Place], words: list[Box]
) -> _Label | None:  # fmt: skip
    """Words beside that of their places which has room nearest to it; None where none has."""
    wide = _WIDE * len(said)
    corners = ((near, free_box(near, (wide, _HIGH), whole, kept, strokes, words)) for near in places)
    found = [
        _Label(said, (at[0], at[1], at[0] + wide, at[1] + _HIGH), near)
        for near, at in corners
        if at is not None
    ]
    return min(found, key=lambda each: math.dist(each.near, nearest(each.near, each.box)), default=None)


def _swing_radius(told: Told, sheet: Sheet) -> Iterator[str]:
    radius = told.found.dimensions["swing_radius"]
    y = sheet.top + sheet.height + 84
    yield text(
        28,
        y,
        f"{words_of('swing_radius', told)}: {show(radius.value, told.units)}, all pins and the bucket held",
        16,
    )
    for k, (name, why) in enumerate(told.found.without.items()):
        if k == 0:
            yield text(28, y + 68, f"Without {words_of(name, told)}: {why}.", 14.5)
