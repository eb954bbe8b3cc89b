"""The two views drawn onto a sheet: arm and bucket from the side, the edge from behind; marks, target, dimensions."""

import math
from dataclasses import dataclass

from kinematics.parameters import EDGE_POINTS

from .corrections import part
from .drawing import ACCENT, INK, PAPER
from .pose_dimensions import Draft, Label
from .pose_picture import Bar, Kind, Seen, Swept, above_edge, edge_width, of_place, seen_whole, target_at
from .pose_words import Told, cut_words, figure, left_to_do, slope_words, target_words, turn_words, upright
from .zone_contours import Place

_PENS: dict[Kind, float] = {
    "plate": 1.0, "link": 3.4, "rod": 2.0, "cylinder": 5.0, "face": 1.5, "edge": 3.4, "tooth": 1.6,
}  # fmt: skip
_TUBE = 2.4
_FAR = 0.9
_FIRST, _BROKEN = 1.0, "5 4"
_PLUMB_UP, _PLUMB_DOWN = 1.6, 2.4
_SLOPE_AT = 0.6
"""From half-way between the corners to the higher corner: where the words of the cross-slope point to."""
_WIDTH_OFF, _INWARDS = 2.6, 4.0


@dataclass(frozen=True, slots=True)
class Views:
    """What is drawn, in metres: each pose seen, the arc between two, which targets are on the sheet."""

    told: Told
    seen: tuple[Seen, ...]
    arc: Swept | None
    on_sheet: tuple[bool, ...]


def draw(draft: Draft, views: Views, rows: list[float], columns: list[float]) -> None:
    """All strokes and figures; words are left to `Draft.settle`. `rows` and `columns` are where dimensions may stand."""
    draw_marks(draft, views)
    if views.told.view == "side":
        _reaches(draft, views.told, rows)
    else:
        _widths(draft, views.told, views.seen[-1])
    _heights(draft, views, columns)


def draw_marks(draft: Draft, views: Views, *, hatched: bool = True) -> None:
    """The same without dimensions; `hatched`: below the target, where no ground is drawn."""
    _targets(draft, views, hatched=hatched)
    if views.told.view == "side":
        _origin(draft, views.told)
    else:
        _level_and_plumb(draft, views)
    for which in range(len(views.seen)):
        _pose(draft, views, which)
    _arc(draft, views)
    for which in reversed(range(len(views.seen))):
        _names(draft, views, which)


def _last(views: Views, which: int) -> bool:
    return which == len(views.seen) - 1


def _px(draft: Draft, course: tuple[Place, ...]) -> list[Place]:
    return [draft.sheet.at(*point) for point in course]


def _data(kind: str, name: str, which: int) -> str:
    return f' data-{kind}="{name}" data-side="{which}"'


def _pose(draft: Draft, views: Views, which: int) -> None:
    told, here = views.told, views.seen[which]
    solid, chosen = _last(views, which), told.sides[which].point
    for bar in here.bars:
        if solid or bar.kind != "plate":
            _bar(draft, bar, which, solid=solid)
    for name, at in here.pins.items():
        radius, width = (0.24, 1.4) if solid else (0.15, 0.9)
        draft.disc(draft.sheet.at(*at), radius, width=width, data=_data("pin", name, which))
    for name, at in here.points.items():
        if name != chosen:
            radius = 0.26 if name == "receiver" else 0.1
            fill = INK if solid else PAPER
            draft.disc(draft.sheet.at(*at), radius, fill=fill, width=0.8, data=_data("point", name, which))
    draft.disc(
        draft.sheet.at(*here.points[chosen]), 0.4 if solid else 0.28, fill=ACCENT if solid else INK, ink=PAPER,
        data=_data("point", chosen, which),
    )  # fmt: skip


def _bar(draft: Draft, bar: Bar, which: int, *, solid: bool) -> None:
    name = f"{bar.name}_cylinder" if bar.kind == "cylinder" else bar.name
    course, data = _px(draft, bar.course), _data("bar", name, which)
    if not solid:
        draft.stroke(course, _FIRST, dash=_BROKEN, closed=bar.closed, data=data)
        return
    width = _FAR if bar.name in ("bucket_left", "heel") else _PENS[bar.kind]
    draft.stroke(course, width, closed=bar.closed, data=data)
    if bar.kind == "cylinder":
        draft.stroke(course, _TUBE, ink=PAPER)


def _targets(draft: Draft, views: Views, *, hatched: bool) -> None:
    """Where both poses have one line, it is drawn once."""
    told, sheet = views.told, draft.sheet
    ends = sheet.low[0], sheet.high[0]
    drawn: list[tuple[float | None, ...]] = []
    for which in reversed(range(len(told.sides))):
        side = told.sides[which]
        heights = tuple(target_at(side, told.view, across) for across in ends)
        if not views.on_sheet[which] or heights in drawn or None in heights:
            continue
        drawn.append(heights)
        course = [sheet.at(across, z) for across, z in zip(ends, heights, strict=True) if z is not None]
        chief = len(drawn) == 1
        draft.level_line(
            (course[0], course[1]), hatched=hatched and chief, data=_data("level", "target", which)
        )
        words = target_words(side, told.view, told.units)
        near = (course[0][0] + _INWARDS * draft.size, course[0][1])
        draft.labels.append(Label(near, (words if chief else f"{told.of(which)}{words}",), 2, bold=chief))


def _origin(draft: Draft, told: Told) -> None:
    """The swing axis at boom foot height, with its level mark."""
    x, y = draft.sheet.at(0.0, 0.0)
    arm = 1.6 * draft.size
    draft.stroke([(x, y - 1.6 * arm), (x, y + 1.6 * arm)], 1.0, dash="9 3 2 3")
    draft.level_mark((x - 1.2 * arm, y), reach=0.9 * draft.size)
    draft.stroke([(x - 1.2 * arm, y), (x + arm, y)], 0.9)
    draft.disc((x, y), 0.34, width=1.4, data=' data-pin="body_origin"')
    r = 0.34 * draft.size
    draft.parts.append(
        f'<path d="M{x - r:.1f} {y:.1f}h{2 * r:.1f}M{x:.1f} {y - r:.1f}v{2 * r:.1f}" stroke="{INK}" '
        f'stroke-width="{draft.pen:.2f}"/>'
    )
    lines = ["body origin"]
    origins = [side.origin for side in told.sides]
    if origins[-1] is not None:
        lines.append(f"elevation {figure(origins[-1], told.units)}")
    if origins[0] is not None and origins[0] != origins[-1]:
        lines.append(f"first: {figure(origins[0], told.units)}")
    draft.labels.append(Label((x - 1.2 * arm, y - draft.size), tuple(lines), 4))


def _level_and_plumb(draft: Draft, views: Views) -> None:
    """A level line through the lower corner and a plumb line through the edge's centre."""
    here, s = views.seen[-1], draft.size
    left, centre, right = (draft.sheet.at(*here.points[name]) for name in EDGE_POINTS)
    low = max(left[1], right[1])
    ends = (min(left[0], right[0]) - 1.4 * s, low), (max(left[0], right[0]) + 1.4 * s, low)
    draft.stroke([*ends], 0.9, dash="9 3 2 3", data=' data-level="level"')
    draft.level_mark((ends[0][0], low), reach=0.7 * s)
    top = min(draft.sheet.at(*at)[1] for at in here.points.values()) - _PLUMB_UP * s
    bottom = max(low, *(draft.sheet.at(*at)[1] for at in here.points.values())) + _PLUMB_DOWN * s
    draft.stroke([(centre[0], top), (centre[0], bottom)], 0.9, dash="9 3 2 3", data=' data-level="plumb"')
    bob = f"M{centre[0]:.1f} {bottom + 0.7 * s:.1f}l{-0.28 * s:.1f} {-0.7 * s:.1f}h{0.56 * s:.1f}Z"
    draft.parts.append(f'<path d="{bob}" fill="{INK}"/>')
    draft.kept.append((centre[0] - 0.3 * s, bottom, centre[0] + 0.3 * s, bottom + 0.7 * s))
    draft.labels.append(Label((centre[0], top), ("plumb",), 6))
    draft.labels.append(Label(ends[1], ("level",), 6))


def _arc(draft: Draft, views: Views) -> None:
    """Where one joint alone turned the point: its axis, both radii, the arc with its arrow."""
    turn, arc = views.told.turn(), views.arc
    if arc is None or turn is None:
        return
    axis, course = draft.sheet.at(*arc.axis), _px(draft, arc.arc)
    for end in (course[0], course[-1]):
        draft.stroke([axis, end], 0.9, ink=ACCENT, dash="2 3")
    draft.stroke(course, 1.8, ink=ACCENT, data=' data-arc="edge"')
    draft.disc(axis, 0.34, fill="none", ink=ACCENT, width=1.6, data=' data-pin="turn_axis"')
    (ax, ay), (bx, by) = course[-2:]
    away = math.dist(*course[-2:])
    if away > 0.0:
        ux, uy, s = (bx - ax) / away, (by - ay) / away, draft.size
        tip = bx - 0.4 * s * ux, by - 0.4 * s * uy
        wings = " ".join(
            f"L{tip[0] - 0.9 * s * ux + side * 0.34 * s * uy:.1f} {tip[1] - 0.9 * s * uy - side * 0.34 * s * ux:.1f}"
            for side in (1, -1)
        )
        draft.parts.append(f'<path d="M{tip[0]:.1f} {tip[1]:.1f}{wings}Z" fill="{ACCENT}"/>')
    draft.labels.append(Label(course[len(course) // 2], turn_words(turn, views.told.units), 3, ink=ACCENT))


def _reaches(draft: Draft, told: Told, rows: list[float]) -> None:
    """The shorter nearer to the machine."""
    origin = draft.sheet.at(0.0, 0.0)
    reaches = sorted((abs(side.pose.level(side.point)[0]), k) for k, side in enumerate(told.sides))
    for (_, k), y in zip(reaches, rows, strict=True):
        side = told.sides[k]
        reach, _, high = side.pose.level(side.point)
        last = k == len(told.sides) - 1
        words = f"{told.of(k)}reach {figure(reach, told.units)}"
        draft.across((origin, draft.sheet.at(reach, high)), y, words, dash="" if last else _BROKEN, bold=last)


def _widths(draft: Draft, told: Told, here: Seen) -> None:
    """The edge's width along it, where it is seen whole."""
    pose = told.last.pose
    left, right = (draft.sheet.at(*of_place(pose.level(name), "front")) for name in ("left", "right"))
    words = f"edge width {figure(edge_width(pose), told.units)}"
    if not seen_whole(pose) or left[0] >= right[0]:
        draft.labels.append(Label((0.5 * (left[0] + right[0]), left[1] + 3.0 * draft.size), (words,), 2))
        return
    over, _ = above_edge(here)
    draft.along((left, right), -over * draft.sheet.scale - _WIDTH_OFF * draft.size, words)


def _heights(draft: Draft, views: Views, columns: list[float]) -> None:
    """Cut or fill from the target's line; in a side view without elevations, the height over the body origin."""
    told = views.told
    for (which, words), x in zip(dimensioned(views), columns, strict=True):
        side, last = told.sides[which], _last(views, which)
        there = of_place(side.pose.level(side.point), told.view)
        todo = left_to_do(side, told.view, told.units)
        start = (0.0, 0.0) if todo is None else (there[0], there[1] - todo.value_m)
        ends = draft.sheet.at(*start), draft.sheet.at(*there)
        draft.upright(ends, x, words, dash="" if last else _BROKEN, bold=last)


def dimensioned(views: Views) -> list[tuple[int, str]]:
    """(which pose, its figure) of each plumb dimension, the nearest to the drawing first."""
    told, found = views.told, []
    for which, side in enumerate(told.sides):
        todo = left_to_do(side, told.view, told.units)
        if todo is not None and views.on_sheet[which]:
            found.append((which, f"{told.of(which)}{cut_words(todo, told.units)}"))
        elif todo is None and side.origin is None and told.view == "side":
            found.append((which, f"{told.of(which)}{upright(side, side.point, told.units)}"))
    return found


def _names(draft: Draft, views: Views, which: int) -> None:
    """What each mark is, and how high."""
    told, here, side = views.told, views.seen[which], views.told.sides[which]
    last, first = _last(views, which), told.of(which)
    at = {name: draft.sheet.at(*place) for name, place in here.points.items()}
    lines = [f"{first}{part(side.point)}"]
    if side.origin is not None or told.view == "front":
        lines.append(upright(side, side.point, told.units))
    draft.labels.append(Label(at[side.point], tuple(lines), 0 if last else 2, bold=last))
    todo = left_to_do(side, told.view, told.units)
    if todo is not None and not views.on_sheet[which]:
        off = (
            f"{first}{target_words(side, told.view, told.units)}",
            f"beyond this sheet: {cut_words(todo, told.units)}",
        )
        draft.labels.append(Label(at[side.point], off, 1, bold=last))
    if told.view == "front":
        lines = [*slope_words(side)]
        higher = at["right" if side.pose.cross_slope > 0.0 else "left"]
        middle = [0.5 * (a + b) for a, b in zip(at["left"], at["right"], strict=True)]
        x, y = (c + _SLOPE_AT * (h - c) for c, h in zip(middle, higher, strict=True))
        draft.labels.append(Label((x, y), (f"{first}{lines[0]}", lines[1]), 1 if last else 3, bold=last))
        if last:
            draft.labels += [
                Label(at[name], (part(name), upright(side, name, told.units)), 4)
                for name in ("left", "right") if name != side.point
            ]  # fmt: skip
    elif last and "receiver" in at:
        draft.labels.append(Label(at["receiver"], ("receiver",), 5))
