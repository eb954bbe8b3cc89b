"""The differences of a certificate, drawn: one mark a point over its reach, the tolerance, zero, the interval
reached."""

from collections.abc import Iterator, Sequence

from kinematics.units import LengthUnit, from_metres, to_metres
from service.book.staff_payloads import CertificateIssued, CertifiedPoint

from .drawing import FAMILY, INK, PAPER, RULE, line, signed, text

_WIDE, _HIGH = 1100.0, 560.0
_LEFT, _RIGHT, _TOP, _FOOT = 110.0, 30.0, 60.0, 90.0
_SIDE = {"left": "left corner", "centre": "centre", "right": "right corner"}
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500)
_MOST_LINES = 9


def residuals(told: CertificateIssued) -> str:
    """An SVG of tool minus staff over reach. Marks differ by shape: triangles point to their corner, a circle is the
    centre; the second swing's are hollow."""
    scale = _Scale(told)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE:g} {_HIGH:g}" width="{_WIDE:g}" height="{_HIGH:g}" '
        f'font-family="{FAMILY}"><rect width="{_WIDE:g}" height="{_HIGH:g}" fill="#ffffff"/>',
        *_grid(scale), *_limits(scale, told), *(_mark(scale, point) for point in told.points), *_legend(), "</svg>",
    ]  # fmt: skip
    return "".join(parts)


class _Scale:
    """From reach (m) and difference (m) to pixels."""

    def __init__(self, told: CertificateIssued) -> None:
        self.most = 1.15 * max(told.agreed.tolerance_m, told.reached_m, abs(told.worst_m))
        self.far = 1.05 * max(point.reach_m for point in told.points)
        feet = LengthUnit(told.units) not in (LengthUnit.M, LengthUnit.MM)
        self.reach, self.fine = (
            ("ft", LengthUnit.FT) if feet else ("m", LengthUnit.M),
            "0.001 ft" if feet else "mm",
        )
        self.step = to_metres(0.001, LengthUnit.FT) if feet else to_metres(1.0, LengthUnit.MM)
        """Of the figures beside the differences: so many metres is 1."""

    def x(self, reach: float) -> float:
        return _LEFT + reach / self.far * (_WIDE - _LEFT - _RIGHT)

    def y(self, difference: float) -> float:
        middle = 0.5 * (_TOP + _HIGH - _FOOT)
        return middle - difference / self.most * 0.5 * (_HIGH - _TOP - _FOOT)


def _grid(scale: _Scale) -> Iterator[str]:
    left, right = scale.x(0.0), scale.x(scale.far)
    most = scale.most / scale.step
    step = next((s for s in _STEPS if 2 * most / s <= _MOST_LINES), _STEPS[-1])
    for k in range(-int(most // step), int(most // step) + 1):
        y = scale.y(k * step * scale.step)
        yield line((left, y), (right, y), 1.6 if k == 0 else 0.5, INK if k == 0 else RULE)
        yield text(left - 10, y + 6, signed(k * step), anchor="end")
    name, unit = scale.reach
    apart = 1 if unit == LengthUnit.M else 5
    for reach in range(0, int(from_metres(scale.far, unit)) + 1, apart):
        x = scale.x(to_metres(float(reach), unit))
        yield line((x, _HIGH - _FOOT), (x, _HIGH - _FOOT + 8), 1.0)
        yield text(x, _HIGH - _FOOT + 28, f"{reach}", anchor="middle")
    yield text(left - 90, _TOP - 22, f"tool minus staff, {scale.fine}")
    yield text(right, _HIGH - _FOOT + 52, f"reach, {name}", anchor="end")


def _limits(scale: _Scale, told: CertificateIssued) -> Iterator[str]:
    left, right = scale.x(0.0), scale.x(scale.far)
    for sign, place in ((1, -8), (-1, 20)):
        y = scale.y(sign * told.agreed.tolerance_m)
        yield line((left, y), (right, y), 2.0, INK, "14 6")
        words = f"tolerance {signed(round(sign * told.agreed.tolerance_m / scale.step, 1))}"
        yield text(right, y + place, words, anchor="end", bold=True)
        end = told.bias_m + sign * told.rule.factor * told.spread_m
        yield line((left, scale.y(end)), (right, scale.y(end)), 1.2, INK, "3 5")
        yield text(left + 8, scale.y(end) + place * 0.7, "95 % of readings", size=14)


def _mark(scale: _Scale, point: CertifiedPoint) -> str:
    x, y = scale.x(point.reach_m), scale.y(point.difference_m)
    return _shape(x, y, point.side, hollow=point.swing == 2)


def _shape(x: float, y: float, side: str, *, hollow: bool) -> str:
    style = f'fill="{PAPER if hollow else INK}" stroke="{INK}" stroke-width="1.8"'
    if side == "centre":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" {style}/>'
    way = -1 if side == "left" else 1
    return f'<path d="M{x + way * 9:.1f} {y:.1f}L{x - way * 7:.1f} {y - 8:.1f}L{x - way * 7:.1f} {y + 8:.1f}Z" {style}/>'


def _legend() -> Iterator[str]:
    x, y = _LEFT, _HIGH - 14
    marks: Sequence[tuple[str, bool, str]] = (
        *((side, False, words) for side, words in _SIDE.items()), ("centre", True, "hollow: second swing")
    )  # fmt: skip
    for side, hollow, words in marks:
        yield _shape(x, y - 5, side, hollow=hollow)
        yield text(x + 18, y, words)
        x += 210
