"""A sheet being drawn: strokes, dimension lines with their figures, level lines, and words that hide nothing."""

import math
from dataclasses import dataclass, field
from itertools import pairwise

from .drawing import INK, PAPER, Box, Sheet, free_box, line, text
from .zone_contours import Place

_LETTER, _BOLD, _CAPITAL, _BROAD, _FULL, _NARROW = 0.66, 1.12, 0.2, 0.38, 1.1, 0.44
"""Of a letter's size, its breadth: most letters; more of bold, capitals, broad ones; of what is not Latin; of thin."""
_THIN, _LATIN = " .,:;'|!()[]/ijlt", 0x24F
LINE = 1.3
"""From line to line, of the size."""
_SAMPLED = 7.0
_WINDOWS = (7.0, 16.0)
"""Letters about a place, searched before the whole sheet is."""
_LED_BY = 1.1
_TRIES = 30
PLAIN = 5
"""Labels of this rank and later name only what can be seen: without room they are left out."""
_LEADER_PARTS = 40
_FIGURE_AT = 0.3
"""Of a width, from the left: off the plumb line in its middle."""


def breadth(words: str, size: float, *, bold: bool = False) -> float:
    """Pixels that words take at most: a letter's usual breadth, generously, since fonts differ."""
    total = sum(
        _NARROW if letter in _THIN else _FULL if ord(letter) > _LATIN and letter not in "\u2212"
        else _LETTER + (_BROAD if letter in "mwMW@%+\u2212" else _CAPITAL if letter.isupper() else 0.0)
        for letter in words
    )  # fmt: skip
    return size * total * (_BOLD if bold else 1.0)


def wrapped(words: str, size: float, room: float, *, bold: bool = False) -> list[str]:
    """Words in lines that fit; a word longer than a line is cut."""
    lines = [""]
    for word in words.split(" "):
        tried = f"{lines[-1]} {word}" if lines[-1] else word
        if breadth(tried, size, bold=bold) <= room:
            lines[-1] = tried
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if lines[-1] and breadth(lines[-1] + letter, size, bold=bold) > room:
                lines.append("")
            lines[-1] += letter
    return lines


def _crosses(leader: tuple[Place, Place], box: Box) -> bool:
    (ax, ay), (bx, by) = leader
    shares = [k / _LEADER_PARTS for k in range(_LEADER_PARTS + 1)]
    return any(
        box[0] <= ax + t * (bx - ax) <= box[2] and box[1] <= ay + t * (by - ay) <= box[3] for t in shares
    )


@dataclass(frozen=True, slots=True)
class Label:
    """Words that belong to a place, one line each; of a lower `rank`, placed first."""

    near: Place
    lines: tuple[str, ...]
    rank: int
    ink: str = INK
    bold: bool = False


@dataclass(slots=True)
class Draft:
    """Pieces so far; `area` is where words may go; `size` that of letters, pixels."""

    sheet: Sheet
    size: float
    area: Box
    parts: list[str] = field(default_factory=list)
    strokes: list[Place] = field(default_factory=list)
    kept: list[Box] = field(default_factory=list)
    written: list[Box] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    figures: list[str] = field(default_factory=list)
    """Of dimensions: they go over all lines."""

    @property
    def pen(self) -> float:
        """The breadth of a plain line."""
        return self.size / 14.0

    def keep_off(self, course: list[Place]) -> None:
        """No words onto this line."""
        for a, b in pairwise(course):
            n = max(1, math.ceil(math.dist(a, b) / _SAMPLED))
            self.strokes += [
                (a[0] + k / n * (b[0] - a[0]), a[1] + k / n * (b[1] - a[1])) for k in range(n + 1)
            ]

    def stroke(
        self, course: list[Place], width: float, *, ink: str = INK, dash: str = "", closed: bool = False,
        fill: str = "none", data: str = "",
    ) -> None:  # fmt: skip
        """A line through pixels, `width` in pens."""
        path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in course) + ("Z" if closed else "")
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<path d="{path}" fill="{fill}" stroke="{ink}" stroke-width="{width * self.pen:.2f}" '
            f'stroke-linejoin="round" stroke-linecap="round"{dashed}{data}/>'
        )
        self.keep_off([*course, course[0]] if closed else course)

    def disc(
        self,
        at: Place,
        radius: float,
        *,
        fill: str = PAPER,
        ink: str = INK,
        width: float = 1.2,
        data: str = "",
    ) -> None:
        """A circle, `radius` in letters."""
        self.parts.append(
            f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius * self.size:.1f}" fill="{fill}" stroke="{ink}" '
            f'stroke-width="{width * self.pen:.2f}"{data}/>'
        )
        reach = radius * self.size
        self.kept.append((at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach))

    def across(
        self, ends: tuple[Place, Place], y: float, words: str, *, dash: str = "", bold: bool = False
    ) -> None:
        """A level dimension between two places at the height y, its figure over it."""
        (ax, ay), (bx, by) = ends
        for x, from_y in ((ax, ay), (bx, by)):
            self._thin((x, from_y), (x, y + 0.35 * self.size), "1 3")
        self._measured((ax, y), (bx, y), dash)
        half = 0.5 * breadth(words, self.size, bold=bold)
        x = min(max(0.5 * (ax + bx), self.area[0] + half), self.area[2] - half)
        self._figure((x, y - 0.4 * self.size), words, bold=bold)

    def upright(
        self, ends: tuple[Place, Place], x: float, words: str, *, dash: str = "", bold: bool = False
    ) -> None:
        """A plumb dimension between two places at x, its figure beside it, read from the right."""
        (ax, ay), (bx, by) = ends
        for y, from_x in ((ay, ax), (by, bx)):
            self._thin((from_x, y), (x + 0.35 * self.size, y), "1 3")
        self._measured((x, ay), (x, by), dash)
        half = 0.5 * breadth(words, self.size, bold=bold)
        y = min(max(0.5 * (ay + by), self.area[1] + half), self.area[3] - half)
        self._figure((x - 0.4 * self.size, y), words, bold=bold, turn=-90.0)

    def along(self, ends: tuple[Place, Place], off: float, words: str) -> None:
        """A dimension beside a line from left to right, `off` pixels below it (negative: above), its figure along it."""
        (ax, ay), (bx, by) = ends
        long = math.dist(*ends)
        ux, uy = (bx - ax) / long, (by - ay) / long
        a, b = (ax - off * uy, ay + off * ux), (bx - off * uy, by + off * ux)
        past = math.copysign(0.35 * self.size, off)
        for start, end in ((ends[0], a), (ends[1], b)):
            self._thin(start, (end[0] - past * uy, end[1] + past * ux), "1 3")
        self._measured(a, b, "")
        here = tuple(p + _FIGURE_AT * (q - p) for p, q in zip(a, b, strict=True))
        up = 0.4 * self.size
        self._figure((here[0] + up * uy, here[1] - up * ux), words, turn=math.degrees(math.atan2(uy, ux)))

    def _thin(self, a: Place, b: Place, dash: str) -> None:
        self.parts.append(line(a, b, 0.9 * self.pen, INK, dash))
        self.keep_off([a, b])

    def _measured(self, a: Place, b: Place, dash: str) -> None:
        self.parts.append(line(a, b, 1.1 * self.pen, INK, dash))
        self.keep_off([a, b])
        t = 0.3 * self.size
        for x, y in (a, b):
            self.parts.append(line((x - t, y + t), (x + t, y - t), 1.6 * self.pen))

    def _figure(self, at: Place, words: str, *, bold: bool = False, turn: float = 0.0) -> None:
        half, high = 0.5 * breadth(words, self.size, bold=bold), self.size
        way = math.radians(turn)
        ux, uy = math.cos(way), math.sin(way)
        corners = [
            (at[0] + along * ux + up * uy, at[1] + along * uy - up * ux)
            for along in (-half, half) for up in (-0.25 * high, high)
        ]  # fmt: skip
        xs, ys = zip(*corners, strict=True)
        box = min(xs), min(ys), max(xs), max(ys)
        self.kept.append(box)
        self.written.append(box)
        self.figures.append(text(*at, words, self.size, anchor="middle", bold=bold, halo=True, turn=turn))

    def level_line(self, ends: tuple[Place, Place], *, hatched: bool, data: str = "") -> None:
        """A line of the target, hatched below as cut ground is."""
        if hatched:
            step, deep = 0.9 * self.size, 0.6 * self.size
            n = int((ends[1][0] - ends[0][0] - deep) / step)
            for k in range(n + 1):
                x = ends[0][0] + deep + k * step
                share = (x - ends[0][0]) / (ends[1][0] - ends[0][0])
                y = ends[0][1] + share * (ends[1][1] - ends[0][1])
                self.parts.append(line((x, y), (x - deep, y + deep), 0.9 * self.pen))
            self.keep_off([(x, y + 0.5 * deep) for x, y in ends])
        self.stroke([*ends], 2.0 if hatched else 1.1, dash="" if hatched else "9 5", data=data)

    def level_mark(self, at: Place, *, reach: float) -> None:
        """A triangle that stands on a level, with the level's short line."""
        x, y = at
        t = 0.45 * self.size
        self.parts.append(line((x - reach, y), (x + reach, y), self.pen))
        self.keep_off([(x - reach, y), (x + reach, y)])
        self.parts.append(
            f'<path d="M{x:.1f} {y:.1f}l{-t:.1f} {-1.5 * t:.1f}h{2 * t:.1f}Z" fill="{PAPER}" stroke="{INK}" '
            f'stroke-width="{1.1 * self.pen:.2f}"/>'
        )
        self.kept.append((x - t, y - 1.5 * t, x + t, y))

    def settle(self) -> list[Label]:
        """Put every label as near to its place as it hides nothing; returns those that found no room."""
        homeless = []
        for label in sorted(self.labels, key=lambda each: each.rank):
            wide = max(breadth(each, self.size, bold=label.bold) for each in label.lines)
            size = wide, LINE * self.size * len(label.lines)
            found = self._home(label.near, size)
            if found is None:
                homeless.append(label)
                continue
            self._write(label, found, size)
        self.parts += self.figures
        return homeless

    def _home(self, near: Place, size: tuple[float, float]) -> Place | None:
        """Left and top of the nearest free box whose leader line crosses no words."""
        turned_down: list[Box] = []
        for about in (*_WINDOWS, math.inf):
            for _ in range(_TRIES):
                found = self._free(near, size, about * self.size, turned_down)
                if found is None:
                    break
                leader = self._leader(near, found, size)
                if leader is None or not any(_crosses(leader, box) for box in self.written):
                    return found
                x, y = found[0] + 0.5 * size[0], found[1] + 0.5 * size[1]
                turned_down.append((x, y, x, y))
        return None

    def _free(
        self, near: Place, size: tuple[float, float], by: float, turned_down: list[Box]
    ) -> Place | None:
        a, b, c, d = self.area
        x, y, wide = *near, by + size[0]
        within = max(a, x - wide), max(b, y - by), min(c, x + wide), min(d, y + by)

        def in_reach(box: Box) -> bool:
            return box[0] < within[2] and within[0] < box[2] and box[1] < within[3] and within[1] < box[3]

        kept = [box for box in (*self.kept, *turned_down) if in_reach(box)]
        left, top, right, bottom = within
        strokes = [(x, y) for x, y in self.strokes if left < x < right and top < y < bottom]
        return free_box(near, size, within, kept, strokes)

    def _leader(self, near: Place, found: Place, size: tuple[float, float]) -> tuple[Place, Place] | None:
        """From words to their place; None where they are beside it."""
        (left, top), (wide, high) = found, size
        end = min(max(near[0], left), left + wide), min(max(near[1], top), top + high)
        away = math.dist(end, near)
        if away <= _LED_BY * self.size:
            return None
        share = 0.4 * self.size / away
        return (near[0] + share * (end[0] - near[0]), near[1] + share * (end[1] - near[1])), end

    def _write(self, label: Label, found: Place, size: tuple[float, float]) -> None:
        (left, top), (wide, high) = found, size
        box = left, top, left + wide, top + high
        self.kept.append(box)
        self.written.append(box)
        leader = self._leader(label.near, found, size)
        if leader is not None:
            self._thin(*leader, "")
        starts = label.near[0] <= left + 0.5 * wide
        anchor, x = ("start", left) if starts else ("end", left + wide)
        for k, each in enumerate(label.lines):
            y = top + LINE * self.size * k + self.size
            self.parts.append(text(x, y, each, self.size, anchor=anchor, bold=label.bold, fill=label.ink))
