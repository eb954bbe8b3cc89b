"""Ink on paper: a sheet to scale, lines and letters as SVG, and the same as PNG."""

import math
from dataclasses import dataclass
from functools import cache
from html import escape
from itertools import pairwise

import numpy as np

from kinematics.errors import Fault, Refused

from .zone_contours import Place, length_of

INK, PAPER, RULE, ACCENT = "#1b1a17", "#f6f3ea", "#8a8577", "#7a2f12"
"""As the pages have them by day."""
FAMILY = "Georgia,'DejaVu Serif',serif"
_ENOUGH_ROOM = 70.0
_EDGE, _TRIED = 5.0, 6.0
_AT_ONCE = 16
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
    near: Place, size: tuple[float, float], within: Box, kept: list[Box], strokes: list[Place]
) -> Place | None:
    """(left, top) of a box that hides nothing, as near to a place as can be; None where there is no room.

    Inside `within`, off every box of `kept`, with no place of `strokes` in it.
    """
    wide, high = size
    left, top = (np.arange(within[i] + _EDGE, within[i + 2] - _EDGE - size[i], _TRIED) for i in (0, 1))
    x, y = (each.ravel() for each in np.meshgrid(left, top))
    taken = np.array([*kept, *((px, py, px, py) for px, py in strokes)]).reshape((-1, 4))
    for some in np.array_split(
        taken, max(1, len(taken) // _AT_ONCE)
    ):  # what is taken is not asked about again
        a, b, c, d = (
            each[:, np.newaxis] for each in (x - _EDGE, y - _EDGE, x + wide + _EDGE, y + high + _EDGE)
        )
        hit = (a < some[:, 2]) & (some[:, 0] < c) & (b < some[:, 3]) & (some[:, 1] < d)
        free = ~hit.any(axis=1)
        x, y = x[free], y[free]
    if not x.size:
        return None
    across = np.maximum(np.maximum(x - near[0], near[0] - x - wide), 0.0)
    along_y = np.maximum(np.maximum(y - near[1], near[1] - y - high), 0.0)
    best = int(np.argmin(np.hypot(across, along_y)))
    return float(x[best]), float(y[best])


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
