"""Ink on paper: a sheet to scale, lines and letters as SVG, and the same as PNG."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kinematics.errors import Fault, Refused

from .zone_contours import Place, length_of

INK, PAPER, RULE, ACCENT = "#1b1a17", "#f6f3ea", "#8a8577", "#7a2f12"
"""As the pages have them by day."""
FAMILY = "Georgia,'DejaVu Serif',serif"
_ENOUGH_ROOM = 70.0
_EDGE, _TRIED = 5.0, 6.0
Box = tuple[float, float, float, float]
"""Left, top, right, bottom, pixels downwards."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """From metres to pixels, one scale both ways."""

    left: float
    top: float
    scale: float
    low: Place
    high: Place

    def at(self, x: float, z: float) -> Place:
        return self.left + (x - self.low[0]) * self.scale, self.top + (self.high[1] - z) * self.scale

    def path(self, points: list[Place], *, closed: bool = False) -> str:
        told = [f"{px:.1f} {py:.1f}" for px, py in (self.at(*point) for point in points)]
        return "M" + "L".join(told) + ("Z" if closed else "")

    @property
    def height(self) -> float:
        return (self.high[1] - self.low[1]) * self.scale


def text(
    x: float, y: float, words: str, size: float = 17, *, anchor: str = "start", bold: bool = False, fill: str = INK,
    halo: bool = False, turn: float = 0.0,
) -> str:  # fmt: skip
    more = f' text-anchor="{anchor}"' if anchor != "start" else ""
    more += ' font-weight="bold"' if bold else ""
    more += f' fill="{fill}"' if fill != INK else ""
    more += f' stroke="{PAPER}" stroke-width="5" stroke-linejoin="round" paint-order="stroke"' if halo else ""
    more += f' transform="rotate({turn:.1f} {x:.1f} {y:.1f})"' if turn else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}"{more}>{escape(words)}</text>'


def line(a: Place, b: Place, width: float = 1.0, ink: str = INK, dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" stroke="{ink}" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def signed(value: float) -> str:
    """A figure with a minus as wide as a digit, and none before a zero."""
    return f"{value + 0.0:g}".replace("-", "\u2212")


def mixed(share: float) -> str:
    ink, paper = ([int(colour[i : i + 2], 16) for i in (1, 3, 5)] for colour in (INK, PAPER))
    return "#" + "".join(f"{round(p + share * (i - p)):02x}" for i, p in zip(ink, paper, strict=True))


def along(points: list[Place], parts: int = 12) -> list[Place]:
    """Places along a way, close together: so many parts from point to point."""
    shares = [k / parts for k in range(parts + 1)]
    return [(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])) for a, b in pairwise(points) for t in shares]


def free_box(
    near: Place, size: tuple[float, float], within: Box, kept: list[Box], strokes: list[Place], words: Sequence[Box] = ()
) -> Place | None:  # fmt: skip
    """(left, top) of a box that hides nothing, as near to a place as can be; None where there is no room.

    Inside `within`, off every box of `kept`, with no place of `strokes` in it, and none of `words` on the way to it.
    """
    wide, high = size
    left, top = (np.arange(within[i] + _EDGE, within[i + 2] - _EDGE - size[i], _TRIED) for i in (0, 1))
    if not left.size or not top.size:
        return None
    taken = np.array([*kept, *((px, py, px, py) for px, py in strokes)]).reshape((-1, 4))
    free = ~_covered(taken, left, top, wide, high)
    x, y = left[np.nonzero(free)[1]], top[np.nonzero(free)[0]]
    if not x.size:
        return None
    across = np.maximum(np.maximum(x - near[0], near[0] - x - wide), 0.0)
    along_y = np.maximum(np.maximum(y - near[1], near[1] - y - high), 0.0)
    for best in np.argsort(np.hypot(across, along_y), kind="stable").tolist():
        corner = float(x[best]), float(y[best])
        way = along([near, nearest(near, (*corner, corner[0] + wide, corner[1] + high))], 60)
        if not any(a <= px <= c and b <= py <= d for a, b, c, d in words for px, py in way):
            return corner
    return None


def nearest(near: Place, box: Box) -> Place:
    """The place of a box that is nearest to another."""
    return min(max(near[0], box[0]), box[2]), min(max(near[1], box[1]), box[3])


def _covered(
    taken: NDArray[np.float64], left: NDArray[np.float64], top: NDArray[np.float64], wide: float, high: float
) -> NDArray[np.bool_]:
    """Of boxes that begin at each of `top` (rows) and `left` (columns), which come too near to any of `taken`.

    A taken box covers a rectangle of this grid of beginnings: its corners are counted and summed up along both ways.
    """
    counts = np.zeros((top.size + 1, left.size + 1), dtype=np.int64)

    def span(
        low: NDArray[np.float64], high: NDArray[np.float64], grid: NDArray[np.float64]
    ) -> tuple[Any, Any]:
        return np.searchsorted(grid, low, side="right"), np.searchsorted(grid, high, side="left")

    first_x, last_x = span(taken[:, 0] - wide - _EDGE, taken[:, 2] + _EDGE, left)
    first_y, last_y = span(taken[:, 1] - high - _EDGE, taken[:, 3] + _EDGE, top)
    last_x, last_y = np.maximum(first_x, last_x), np.maximum(first_y, last_y)
    for rows, columns, sign in (
        (first_y, first_x, 1),
        (last_y, last_x, 1),
        (first_y, last_x, -1),
        (last_y, first_x, -1),
    ):
        np.add.at(counts, (rows, columns), sign)
    summed: NDArray[np.bool_] = counts.cumsum(axis=0).cumsum(axis=1)[:-1, :-1] > 0
    return summed


def along_words(here: Place, turn: float, half: float) -> list[Place]:
    """Places along words of half a length, in pixels, that are turned by so many degrees about their middle."""
    way = math.radians(turn)
    shares = (-1.0, -0.5, 0.0, 0.5, 1.0)
    return [(here[0] + t * half * math.cos(way), here[1] + t * half * math.sin(way)) for t in shares]


def free_place(line: list[Place], taken: list[Place], half: float = 0.0) -> tuple[Place, float]:
    """(place on a line, its slope in degrees) for a figure half as long: half-way, or where nothing else is near."""
    long = length_of(line)
    best, room = (line[0], 0.0), -1.0
    for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8):
        left = share * long
        for a, b in pairwise(line):
            size = math.dist(a, b)
            if left <= size and size > 0.0:
                here = a[0] + left / size * (b[0] - a[0]), a[1] + left / size * (b[1] - a[1])
                turn = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
                turn = (turn + 100) % 180 - 100  # read upwards, and never upside down
                over = along_words(here, turn, half)
                free = min(_ENOUGH_ROOM, *(math.dist(each, other) for each in over for other in taken))
                if free > room + 1.0:
                    best, room = (here, turn), free
                break
            left -= size
    return best


def png_of(svg: str) -> bytes:
    """A picture of ours as PNG. Raises `Refused` "no-font"."""
    if not _writes():
        raise Refused([
            Fault("no-font", "", "a server without a font", "image/svg+xml, or text/csv",
                  "a picture without its figures would mislead: install a font, such as DejaVu Serif")
        ])  # fmt: skip
    return _drawn(svg)


@cache
def _writes() -> bool:
    """Whether letters leave ink at all."""
    blank = f'<svg xmlns="http://www.w3.org/2000/svg" width="60" height="30" font-family="{FAMILY}">'
    return _drawn(blank + '<text x="5" y="22">888</text></svg>') != _drawn(blank + "</svg>")


def _drawn(svg: str) -> bytes:
    import resvg_py  # noqa: PLC0415  # loads its fonts

    return bytes(resvg_py.svg_to_bytes(svg_string=svg, serif_family="DejaVu Serif"))
