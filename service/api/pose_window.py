"""A cut-out of poses for pages that move: a fixed window to scale, no dimensions and no title block, ground if given."""

from dataclasses import dataclass
from html import escape

from .drawing import ACCENT, FAMILY, INK, PAPER, Sheet, mixed, text
from .pose_dimensions import LINE, PLAIN, Draft, Label
from .pose_picture import seen, swept
from .pose_sheet import letters_of, on_sheets
from .pose_views import Views, draw_marks
from .pose_words import Told, described, heading, presented
from .zone_contours import Place

EARTH = mixed(0.16)
"""Ground, by day: ink thinned on paper."""
_INSET = 0.5
_MARK, _DASHED = 1.2, "9 5"
"""A mark's height to either side, in letters."""


@dataclass(frozen=True, slots=True)
class Window:
    """What is seen (m, as the view sees it: right and up); `words`: whether anything is named and told."""

    low: Place
    high: Place
    words: bool = True

    def height_px(self, width: int) -> int:
        """Of the drawing, one scale both ways."""
        return round(width * (self.high[1] - self.low[1]) / (self.high[0] - self.low[0]))


@dataclass(frozen=True, slots=True)
class GroundLine:
    """Heights (m over the body origin) of ground, `step` (m) apart from the reach `first` on; `wanted`: none, or the two
    ends (reach, height) of the line that it is to be brought to."""

    first: float
    step: float
    heights: tuple[float, ...]
    wanted: tuple[Place, ...] = ()


def as_window(told: Told, window: Window, ground: GroundLine | None = None) -> str:
    """The cut-out as SVG. What lies outside is cut off; words stand only by what is inside."""
    width, height = told.width, window.height_px(told.width)
    sheet = Sheet(0.0, 0.0, width / (window.high[0] - window.low[0]), window.low, window.high)
    size = letters_of(width)
    inset = _INSET * size
    draft = Draft(sheet, size, (inset, inset, width - inset, height - inset))
    all_seen = tuple(seen(side.pose, told.view) for side in told.sides)
    if ground is not None:
        _ground(draft, ground, height)
    turn = told.turn() if told.view == "side" else None
    arc = None if turn is None else swept(turn, told.sides[0].pose.level(told.last.point))
    views = on_sheets(Views(told, all_seen, arc, (False,) * len(told.sides)), window.low, window.high)
    draw_marks(draft, views, hatched=ground is None)
    _inside_only(draft, height, words=window.words)
    homeless = [label for label in draft.settle() if label.rank < PLAIN]
    draft.parts += _corner(homeless, draft, height)
    said = described(told, scenery=ground is not None) if window.words else f"{presented(told)}."
    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
        f'role="img" aria-labelledby="pose-title pose-desc" font-family="{FAMILY}" fill="{INK}" '
        f'data-scale="{sheet.scale:.6f}">',
        f'<title id="pose-title">{escape(heading(told))}</title>',
        f'<desc id="pose-desc">{escape(said)}</desc>',
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
        *draft.parts,
        "</svg>",
    ])  # fmt: skip


def _ground(draft: Draft, ground: GroundLine, height: int) -> None:
    """The earth below its surface."""
    places = [draft.sheet.at(ground.first + k * ground.step, level) for k, level in enumerate(ground.heights)]
    surface = "L".join(f"{x:.1f} {y:.1f}" for x, y in places)
    foot = max(float(height), *(y for _, y in places))
    draft.parts.append(
        f'<path d="M{places[0][0]:.1f} {foot:.1f}L{surface}L{places[-1][0]:.1f} {foot:.1f}Z" fill="{EARTH}" '
        f'data-ground="earth"/>'
    )
    draft.stroke(places, 2.2, data=' data-ground="surface"')
    if ground.wanted:
        ends = [draft.sheet.at(*mark) for mark in ground.wanted]
        draft.stroke(ends, 2.0, ink=ACCENT, dash=_DASHED, data=' data-ground="wanted"')
        for x, y in ends:
            draft.stroke([(x, y - _MARK * draft.size), (x, y + _MARK * draft.size)], 2.0, ink=ACCENT)


def _inside_only(draft: Draft, height: int, *, words: bool) -> None:
    """Words keep off what is seen, and stand by nothing that is not."""
    left, top, right, bottom = 0.0, 0.0, float(draft.area[2] + draft.area[0]), float(height)

    def inside(at: Place) -> bool:
        return left <= at[0] <= right and top <= at[1] <= bottom

    draft.strokes = [at for at in draft.strokes if inside(at)]
    draft.labels = [label for label in draft.labels if words and inside(label.near)]


def _corner(homeless: list[Label], draft: Draft, height: int) -> list[str]:
    """What found no room beside its place, at the foot; it goes over the lines."""
    lines = [", ".join(label.lines) for label in homeless]
    foot = height - 0.5 * draft.size
    return [
        text(draft.size, foot - LINE * draft.size * k, each, draft.size, halo=True)
        for k, each in enumerate(reversed(lines))
    ]
