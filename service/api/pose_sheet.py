"""The writer of pose drawings: a sheet to a round scale with its frame, its title block, and its text equivalent."""

import math
from collections.abc import Iterator
from html import escape

from kinematics.units import LengthUnit, to_metres

from .drawing import FAMILY, INK, PAPER, Sheet, line, text
from .pose_dimensions import LINE, PLAIN, Draft, breadth, wrapped
from .pose_picture import View, above_edge, seen, seen_whole, swept, target_at
from .pose_views import Views, dimensioned, draw
from .pose_words import ADVICE, REVISION_LETTERS, Told, described, figure, heading, notes, presented, sentence
from .zone_contours import Place

_PX_A_METRE = 96.0 / 0.0254
"""Of paper: CSS has 96 pixels an inch."""
_LEAST, _GROWS = 11.0, 200.0
"""Letters at 360 pixels, and by how many pixels of width they grow by one."""
_NARROWEST = 360
_TALLEST: dict[View, float] = {"side": 0.95, "front": 0.75}
"""Of the width: the drawing without its title block."""
_ABOVE: dict[View, float] = {"side": 3.0, "front": 7.0}
_BELOW: dict[View, float] = {"side": 2.0, "front": 7.0}
_BESIDE: dict[View, float] = {"side": 3.0, "front": 3.0}
"""Letters of room for words about what is drawn."""
_MARGIN, _LANE = 1.2, 2.0
_TWO_COLUMNS = 52.0
"""Letters of width from which the title block has two."""
_FAR_TARGET = 1.5
"""A target further off than so many times all else would leave a dot of the machine: it is told in words."""
_BARS = (1.0, 2.0, 5.0)
_LONGEST_BAR = 13.0
_NARROW = 45.0
"""Letters of width below which words beside a drawing need more room above and below it."""
_MORE = 4.0


def as_svg(told: Told) -> str:
    """The sheet. One scale both ways, told as 1:N; nothing on it hangs on the day, so one request has one drawing."""
    size = letters_of(told.width)
    views = _views(told)
    columns, rows = len(dimensioned(views)), len(told.sides) if told.view == "side" else 0
    draft, ratio = _laid_out(views, size)
    _, _, right, bottom = draft.area
    draw(
        draft, views, [bottom + _LANE * size * (k + 0.8) for k in range(rows)],
        [right + _LANE * size * (k + 0.7) for k in range(columns)],
    )  # fmt: skip
    homeless = draft.settle()
    lines = [sentence(", ".join(label.lines) + ".") for label in homeless if label.rank < PLAIN]
    foot = bottom + _LANE * size * (rows + 0.6 * bool(rows))
    block, height = _title_block(told, size, foot, ratio, draft.sheet.scale, lines)
    gap = 0.4 * size
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{told.width}" height="{height}" '
        f'viewBox="0 0 {told.width} {height}" role="img" aria-labelledby="pose-title pose-desc" '
        f'font-family="{FAMILY}" fill="{INK}" '
        f'data-scale="{draft.sheet.scale:.6f}">',
        f'<title id="pose-title">{escape(heading(told))}</title>',
        f'<desc id="pose-desc">{escape(described(told))}</desc>',
        f'<rect width="{told.width}" height="{height}" fill="{PAPER}"/>',
        f'<rect x="{gap:.1f}" y="{gap:.1f}" width="{told.width - 2 * gap:.1f}" height="{height - 2 * gap:.1f}" '
        f'fill="none" stroke="{INK}" stroke-width="{1.2 * draft.pen:.2f}"/>',
        *draft.parts,
        *block,
        "</svg>",
    ]
    return "\n".join(parts)


def letters_of(width: int) -> float:
    """Size of letters (pixels) on a drawing so wide."""
    return round(2.0 * (_LEAST + (width - _NARROWEST) / _GROWS)) / 2.0


def _views(told: Told) -> Views:
    all_seen = tuple(seen(side.pose, told.view) for side in told.sides)
    turn = told.turn() if told.view == "side" else None
    arc = None if turn is None else swept(turn, told.sides[0].pose.level(told.last.point))
    bare = Views(told, all_seen, arc, (False,) * len(told.sides))
    low, high = _bounds(bare)
    most = _FAR_TARGET * max(high[0] - low[0], high[1] - low[1])
    return on_sheets(bare, (low[0], low[1] - most), (high[0], high[1] + most))


def on_sheets(views: Views, low: Place, high: Place) -> Views:
    """The same with the targets that lie between two places, all the way across."""
    told, on_sheet = views.told, []
    for side in told.sides:
        levels = [target_at(side, told.view, across) for across in (low[0], high[0])]
        on_sheet.append(all(z is not None and low[1] <= z <= high[1] for z in levels))
    return Views(told, views.seen, views.arc, tuple(on_sheet))


def _bounds(views: Views) -> tuple[Place, Place]:
    """Lowest and highest place (m) of all that is drawn."""
    told = views.told
    places = [place for each in views.seen for place in each.places()]
    if told.view == "side":
        places.append((0.0, 0.0))
    elif seen_whole(told.last.pose):
        places += above_edge(views.seen[-1])[1]
    if views.arc is not None:
        places += [views.arc.axis, *views.arc.arc]
    xs, zs = zip(*places, strict=True)
    levels = [
        level for side, there in zip(told.sides, views.on_sheet, strict=True) if there
        for level in (target_at(side, told.view, across) for across in (min(xs), max(xs))) if level is not None
    ]  # fmt: skip
    return (min(xs), min(*zs, *levels)), (max(xs), max(*zs, *levels))


def _laid_out(views: Views, size: float) -> tuple[Draft, int]:
    """The sheet at the largest scale 1:N that fits, N in two figures, and N."""
    view, width = views.told.view, views.told.width
    low, high = _bounds(views)
    plumb = [words for _, words in dimensioned(views)]
    columns = len(plumb)
    margin, beside = _MARGIN * size, _BESIDE[view] * size
    room = width - 2.0 * margin - 2.0 * beside - columns * _LANE * size
    across, up = high[0] - low[0], max(high[1] - low[1], 1e-3)
    ratio = _rounded_up(_PX_A_METRE * max(across / room, up / (_TALLEST[view] * width)))
    scale = _PX_A_METRE / ratio
    spare = 0.5 * (room - scale * across)
    tall, more = scale * (high[1] - low[1]), _MORE * size * (width < _NARROW * size)
    above, below = _ABOVE[view] * size + more, _BELOW[view] * size + more
    longest = max((breadth(words, size, bold=True) for words in plumb), default=0.0)
    above += max(0.0, longest + size - above - tall - below)
    top = margin + above
    left = margin + beside + spare
    around = (spare + 0.8 * beside) / scale
    sheet = Sheet(left - around * scale, top, scale, (low[0] - around, low[1]), (high[0] + around, high[1]))
    bottom = top + tall + below
    area = margin * 0.6, margin * 0.6, width - margin - columns * _LANE * size, bottom
    return Draft(sheet, size, area), ratio


def _rounded_up(ratio: float) -> int:
    """To two figures, never smaller: 133.2 is 140."""
    step: int = 10 ** max(0, math.floor(math.log10(ratio)) - 1)
    return math.ceil(ratio / step) * step


def _title_block(
    told: Told, size: float, top: float, ratio: int, scale: float, more: list[str]
) -> tuple[list[str], int]:  # fmt: skip
    """(pieces, height of the whole sheet): what is drawn, of what, how large, and what it is not."""
    gap, inner = 0.4 * size, _MARGIN * size
    two = told.width > _TWO_COLUMNS * size
    room = told.width - 2.0 * inner
    first = 0.54 * room if two else room
    parts = [line((gap, top), (told.width - gap, top), 1.2 * size / 14.0)]
    y, large = top + 0.4 * size, 1.2 * size
    for each in wrapped(heading(told), large, first, bold=True):
        y += LINE * large
        parts.append(text(inner, y, each, large, bold=True))
    y += 0.2 * size
    lines = [
        *(f"{kind} {named.id}, revision {named.hash[:REVISION_LETTERS]}"
          for kind, named in (("Machine", told.machine), ("Attachment", told.attachment))),
        *map(sentence, notes(told)), *more,
    ]  # fmt: skip
    for each in lines:
        for k, piece in enumerate(wrapped(each, size, first - size)):
            y += LINE * size
            parts.append(text(inner + (size if k else 0.0), y, piece, size))
    x, beside = (inner + first + size, top + 0.4 * size) if two else (inner, y + 0.3 * size)
    side = room - first - size if two else room
    facts = [presented(told), f"Lengths in {_units(told.units)}", f"Scale 1:{ratio} at 96 px per inch"]
    for each in facts:
        for piece in wrapped(each, size, side):
            beside += LINE * size
            parts.append(text(x, beside, piece, size))
    parts += _bar(told.units, x, beside + 0.8 * size, size, scale)
    beside += 3.0 * size
    y = max(y, beside) + 0.6 * size
    for piece in wrapped(ADVICE, size, room, bold=True):
        y += LINE * size
        parts.append(text(inner, y, piece, size, bold=True))
    return parts, math.ceil(y + 1.2 * size)


def _units(units: LengthUnit) -> str:
    return "feet, inches and sixteenths" if units is LengthUnit.FTIN else units.value


def _bar(units: LengthUnit, x: float, y: float, size: float, scale: float) -> Iterator[str]:
    """A round length in four parts, from the left."""
    feet = units not in (LengthUnit.M, LengthUnit.MM)
    unit = to_metres(1.0, LengthUnit.FT_US if units is LengthUnit.FT_US else LengthUnit.FT) if feet else 1.0
    lengths = [unit * each * 10.0**power for power in (2, 1, 0, -1, -2) for each in reversed(_BARS)]
    if units is LengthUnit.FTIN:
        lengths = [unit * each for each in (50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.25)]
    longest = _LONGEST_BAR * size
    long = next((each for each in lengths if each * scale <= longest), lengths[-1])
    part, high = 0.25 * long * scale, 0.55 * size
    for k in range(4):
        fill = INK if k % 2 == 0 else PAPER
        yield f'<rect x="{x + k * part:.2f}" y="{y:.1f}" width="{part:.2f}" height="{high:.1f}" fill="{fill}" ' \
              f'stroke="{INK}" stroke-width="{size / 14.0:.2f}" data-bar="{k}"/>'  # fmt: skip
    yield text(x, y + high + 1.15 * size, "0", size)
    words = figure(long, units)
    yield text(
        max(x + 4 * part - 0.5 * breadth(words, size), x + 1.5 * size), y + high + 1.15 * size, words, size
    )
