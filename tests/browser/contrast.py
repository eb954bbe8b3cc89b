"""Contrast of words with what is behind them, by the formula of WCAG 2.2.

Source: WCAG 2.2, "relative luminance", "contrast ratio" and success criteria 1.4.3 and 1.4.6 (www.w3.org/TR/WCAG22).
"""

from __future__ import annotations

import re
from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page

_SEEN = (Path(__file__).parent / "contrast.js").read_text(encoding="utf-8")
_COLOUR = re.compile(
    r"(?:rgba?|color)\((?:srgb )?([\d.e-]+)[, ]+([\d.e-]+)[, ]+([\d.e-]+)(?:[,/ ]+([\d.e-]+))?\)"
)

Colour = tuple[float, float, float, float]
"""Red, green, blue and opacity, each 0 to 1, in sRGB."""


def colour(said: str) -> Colour:
    """What a computed style says; ValueError for what is not sRGB."""
    found = _COLOUR.fullmatch(said)
    if found is None:
        raise ValueError(f"no colour of sRGB: {said}")
    full = 1.0 if said.startswith("color") else 255.0
    red, green, blue = (float(part) / full for part in found.groups()[:3])
    return red, green, blue, float(found[4] or 1)


def over(upper: Colour, lower: Colour) -> Colour:
    """A colour painted on another."""
    share = upper[3]
    red, green, blue = (share * a + (1 - share) * b for a, b in zip(upper[:3], lower[:3], strict=True))
    return red, green, blue, 1 - (1 - share) * (1 - lower[3])


def luminance(seen: Colour) -> float:
    """Relative luminance of an opaque colour: 0 black, 1 white."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in seen[:3]]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def ratio(one: Colour, other: Colour) -> float:
    """Contrast ratio of two opaque colours, 1 to 21."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def contrast(page: Page, least: float = 4.5, least_large: float = 3.0, enhanced: float = 7.0) -> list[str]:
    """All words to be seen on a page, SVG's too, have at least the contrast asked for; those below `enhanced` are given.

    Behind a word is what its elements are filled with; behind a word of SVG, whatever is painted under its corners and
    middle. Opacity of any element around it counts as the word's own. A gradient or picture behind words is a fault:
    it has no one colour.
    """
    found = page.evaluate(_SEEN)
    assert found, "no words to be seen"
    poor, below = [], []
    for text in found:
        told = f"{text['words']!r} {text['color']}, {text['size']:.1f} px"
        if text["unclear"]:
            poor.append(f"{told}: {text['unclear']}")
            continue
        ground = reduce(lambda lower, upper: over(upper, lower), map(colour, reversed(text["behind"])))
        red, green, blue, share = colour(text["color"])
        reached = ratio(over((red, green, blue, share * text["opacity"]), ground), ground)
        # 18 point, or 14 point and bold; a point is 4/3 px.
        large = text["size"] >= 24 or (text["size"] >= 14 * 4 / 3 and text["weight"] >= 700)
        told += f" on {', '.join(text['behind'])}: {reached:.2f}"
        if reached < (least_large if large else least):
            poor.append(told)
        elif reached < enhanced:
            below.append(told)
    assert not poor, "\n".join(["", *poor])
    return below
