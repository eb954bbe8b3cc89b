"""A figure for a notebook: lines over two axes in the house's ink, as SVG with a text equivalent."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kinematics.errors import Fault, Refused

from .api.drawing import ACCENT, FAMILY, INK, PAPER, RULE, line, signed, text

_STEPS = (1.0, 2.0, 5.0, 10.0)
_ROOM = 18.0
_LEFT, _TOP, _RIGHT, _BOTTOM = 96.0, 64.0, 150.0, 72.0


@dataclass(frozen=True, slots=True)
class _Line:
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    name: str
    ink: str
    width: float
    dash: str


@dataclass(slots=True)
class Figure:
    """Lines over two axes. `across`, `up`: what the axes show, with its unit: "reach, m".

    `level`: one scale for both axes, as in a section. A line breaks where a value is NaN.
    """

    title: str
    across: str
    up: str
    level: bool = False
    width: int = 900
    _lines: list[_Line] = field(default_factory=list)

    def line(
        self, x: ArrayLike, y: ArrayLike, name: str = "", *,
        fine: bool = False, accent: bool = False, broken: bool = False,
    ) -> None:  # fmt: skip
        """Add a line through (x, y), one-dimensional and of one length; `name` stands at its end.

        Raises `Refused` "ragged", or "not-finite" where no point is finite.
        """
        xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        if xs.ndim != 1 or xs.shape != ys.shape:
            found = f"shapes {xs.shape} and {ys.shape}"
            raise Refused(
                [Fault("ragged", name, found, "two lists of one length", "choose one line of a table")]
            )
        if not np.any(np.isfinite(xs) & np.isfinite(ys)):
            raise Refused([Fault("not-finite", name, "no point of the line", "at least one finite point")])
        ink = ACCENT if accent else RULE if fine else INK
        self._lines.append(_Line(xs, ys, name, ink, 1.0 if fine else 2.2, "7 5" if broken else ""))

    def svg(self) -> str:
        """The figure. Raises `Refused` "not-finite" for one without lines."""
        if not self._lines:
            raise Refused([Fault("not-finite", "", "a figure without lines", "at least one line")])
        frame = _Frame(self._lines, self.width, level=self.level)
        high = frame.height + _TOP + _BOTTOM
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {high:.0f}" width="{self.width}" '
            f'height="{high:.0f}" font-family="{FAMILY}" fill="{INK}" role="img">',
            f"<title>{escape(self.title)}</title><desc>{escape(self._words())}</desc>",
            f'<rect width="100%" height="100%" fill="{PAPER}"/>',
            text(_LEFT, 34, self.title, 20, bold=True),
            *frame.axes(self.across, self.up),
            *(_drawn(each, frame) for each in self._lines),
            *_names(self._lines, frame),
            "</svg>",
        ]
        return "\n".join(parts) + "\n"

    def save(self, file: str | Path) -> None:
        """Write it into a file."""
        Path(file).write_text(self.svg(), encoding="utf-8")

    def _words(self) -> str:
        told = [f"{self.up} over {self.across}."]
        for each in self._lines:
            if each.name:
                ends = [f"{low:.3g} to {high:.3g}" for low, high in (_ends(each.x), _ends(each.y))]
                told.append(f"{each.name}: across {ends[0]}, up {ends[1]}.")
        return " ".join(told)


def _ends(values: NDArray[np.float64]) -> tuple[float, float]:
    return float(np.nanmin(values)), float(np.nanmax(values))


class _Frame:
    """From values to pixels."""

    def __init__(self, lines: Sequence[_Line], width: int, *, level: bool) -> None:
        self.x = _ends(np.concatenate([each.x for each in lines]))
        self.y = _ends(np.concatenate([each.y for each in lines]))
        self.x, self.y = (_widened(*each) for each in (self.x, self.y))
        self.wide = width - _LEFT - _RIGHT
        ratio = (self.y[1] - self.y[0]) / (self.x[1] - self.x[0])
        self.height = self.wide * (ratio if level else 0.6)

    def at(self, x: float, y: float) -> tuple[float, float]:
        return (
            _LEFT + self.wide * (x - self.x[0]) / (self.x[1] - self.x[0]),
            _TOP + self.height * (self.y[1] - y) / (self.y[1] - self.y[0]),
        )

    def axes(self, across: str, up: str) -> Iterator[str]:
        bottom, right = _TOP + self.height, _LEFT + self.wide
        for value in _ticks(*self.x, self.wide / 70):
            px = self.at(value, 0.0)[0]
            yield line((px, _TOP), (px, bottom), 0.6, RULE, "1 5")
            yield text(px, bottom + 24, signed(value), 15, anchor="middle")
        for value in _ticks(*self.y, self.height / 50):
            py = self.at(0.0, value)[1]
            yield line((_LEFT, py), (right, py), 0.6, RULE, "1 5")
            yield text(_LEFT - 10, py + 5, signed(value), 15, anchor="end")
        yield line((_LEFT, bottom), (right, bottom), 1.2)
        yield line((_LEFT, _TOP), (_LEFT, bottom), 1.2)
        yield text(right, bottom + 52, across, 15, anchor="end")
        yield text(26, _TOP, up, 15, anchor="end", turn=-90)


def _widened(low: float, high: float) -> tuple[float, float]:
    room = 0.04 * (high - low) or 0.5 * abs(low) or 1.0
    return low - room, high + room


def _ticks(low: float, high: float, most: float) -> list[float]:
    rough = (high - low) / max(most, 1.0)
    ten = 10.0 ** math.floor(math.log10(rough))
    step = next(each * ten for each in _STEPS if each * ten >= rough * (1.0 - 1e-9))
    return [float(f"{k * step:.10g}") for k in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _drawn(each: _Line, frame: _Frame) -> str:
    moves, pen = [], "M"
    for x, y in zip(each.x.tolist(), each.y.tolist(), strict=True):
        if math.isfinite(x) and math.isfinite(y):
            px, py = frame.at(x, y)
            moves.append(f"{pen}{px:.1f} {py:.1f}")
            pen = "L"
        else:
            pen = "M"
    dash = f' stroke-dasharray="{each.dash}"' if each.dash else ""
    return (
        f'<path d="{"".join(moves)}" fill="none" stroke="{each.ink}" stroke-width="{each.width:g}"{dash} '
        'stroke-linejoin="round"/>'
    )


def _names(lines: Sequence[_Line], frame: _Frame) -> Iterator[str]:
    """Names at the ends of their lines, pushed apart where ends are close."""
    named = []
    for each in lines:
        if each.name:
            last = int(np.flatnonzero(np.isfinite(each.x) & np.isfinite(each.y))[-1])
            named.append((*frame.at(float(each.x[last]), float(each.y[last])), each))
    named.sort(key=lambda item: item[1])
    rows = [py for _, py, _ in named]
    for i in range(1, len(rows)):
        rows[i] = max(rows[i], rows[i - 1] + _ROOM)
    for (px, _, each), row in zip(named, rows, strict=True):
        ink = INK if each.ink == RULE else each.ink
        yield text(px + 8, row + 5, each.name, 15, fill=ink, halo=True)
