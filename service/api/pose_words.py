"""A drawing of poses as asked, and its numbers in words: the figures on the sheet and the text that stands for it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from kinematics.explain import Side, Turn, turn_between
from kinematics.grade import CutFill, cut_fill
from kinematics.units import RESOLUTION_M, LengthUnit, percent_from_ratio, show
from service.book.state import Named

from .corrections import part
from .pose_picture import View, edge_width, of_place, seen_whole, target_at

ADVICE = "Advisory only: see /guide/cautions"
REVISION_LETTERS = 8
_LEVEL_WITHIN = 0.0005
"""A cross-slope that shows as 0.0 %."""
_PRESENT = {"side": "Side view, seen from the right", "front": "Front view, seen from behind, looking ahead"}


@dataclass(frozen=True, slots=True)
class Told:
    """What a sheet shows: one pose, or the first and the second of two, in a view and in units."""

    machine: Named
    attachment: Named
    sides: tuple[Side, ...]
    view: View
    units: LengthUnit
    title: str | None
    width: int

    @property
    def last(self) -> Side:
        """The pose in solid ink."""
        return self.sides[-1]

    def of(self, which: int) -> str:
        """Before words of one pose: nothing where there is only one."""
        return "" if len(self.sides) == 1 else ("first: ", "second: ")[which]

    def turn(self) -> Turn | None:
        """What one joint alone turned the point about; None of anything else. Poses are drawn about one body origin, so
        another elevation of it, or another target, is no turn the less."""
        if len(self.sides) == 1:
            return None
        return turn_between(*(Side(side.pose, side.point, stood=side.stood) for side in self.sides))


def figure(metres: float, units: LengthUnit) -> str:
    """A length as people read it, its minus as wide as a digit."""
    return show(metres, units).replace("-", "\u2212")


def heading(told: Told) -> str:
    """The sheet's title: the asker's, else what is on it."""
    pair = f"{told.machine.id} with {told.attachment.id}"
    return told.title or (pair if len(told.sides) == 1 else f"{pair}: two poses")


def presented(told: Told) -> str:
    """Which view."""
    return _PRESENT[told.view]


def upright(side: Side, point: str, units: LengthUnit) -> str:
    """ "elevation 98.580 m" of a point, or "height -2.920 m" over the body origin where that has no elevation."""
    high = side.pose.height(point)
    if side.origin is None:
        return f"height {figure(high, units)}"
    return f"elevation {figure(side.origin + high, units)}"


def left_to_do(side: Side, view: View, units: LengthUnit) -> CutFill | None:
    """Cut or fill of the point that is read. A drawing knows no tolerance: on grade where the figure shows nothing."""
    across, high = of_place(side.pose.level(side.point), view)
    target = target_at(side, view, across)
    return None if target is None else cut_fill(high, target, 0.5 * RESOLUTION_M[units])


def cut_words(told: CutFill, units: LengthUnit) -> str:
    """ "CUT 0.120 m"."""
    return f"{told.word.upper()} {figure(told.amount_m, units)}"


def target_words(side: Side, view: View, units: LengthUnit) -> str:
    """ "target 98.580 m", at the point that is read where it slopes."""
    across, _ = of_place(side.pose.level(side.point), view)
    level = target_at(side, view, across)
    if level is None or side.origin is None or side.target is None:
        raise ValueError("no target")
    slopes = side.target.ahead != 0.0 or side.target.left != 0.0
    return f"target {figure(level + side.origin, units)}{' at the point' if slopes else ''}"


def slope_words(side: Side) -> tuple[str, str]:
    """(the cross-slope with its value, which corner is higher)."""
    slope = side.pose.cross_slope
    value = f"{percent_from_ratio(slope) + 0.0:+.1f} %".replace("-", "\u2212")
    if abs(slope) < _LEVEL_WITHIN:
        return "cross-slope 0.0 %", "both corners alike"
    return f"cross-slope {value}", f"{'right' if slope > 0.0 else 'left'} corner higher"


def turn_words(turn: Turn, units: LengthUnit) -> tuple[str, str]:
    """(how far it turned, on which radius)."""
    return f"turned {math.degrees(turn.angle):.1f}\u00b0", f"radius {figure(turn.radius, units)}"


def sentence(words: str) -> str:
    """The same with a capital."""
    return words[0].upper() + words[1:]


def notes(told: Told) -> Iterator[str]:
    """What has to be said beside the lines."""
    if len(told.sides) == 2:
        yield "Thin broken ink: first pose; full ink: second."
        if told.sides[0].origin != told.sides[1].origin:
            yield "The body origin has another elevation in each; both are drawn about it."
    if told.view == "side":
        yield "From pin to pin; the bucket by its measured points."
        return
    for k, side in enumerate(told.sides):
        if side.pose.past_square:
            yield f"{told.of(k)}bucket turned past square: its own left corner is at the right."
        elif not seen_whole(side.pose):
            yield f"{told.of(k)}edge turned, seen shorter than it is."


def described(told: Told, *, scenery: bool = False) -> str:
    """The sheet in words with its numbers, for who does not see it; `scenery`: ground is drawn too."""
    units, sentences = told.units, []
    for k, side in enumerate(told.sides):
        what, which = part(side.point), told.of(k)
        reach = figure(side.pose.level(side.point)[0], units)
        said = [f"{what} at reach {reach}", upright(side, side.point, units)]
        if side.origin is not None:
            said.append(f"body origin at elevation {figure(side.origin, units)}")
        if told.view == "front":
            said += [*slope_words(side), f"edge width {figure(edge_width(side.pose), units)}"]
        todo = left_to_do(side, told.view, units)
        if todo is not None:
            said += [target_words(side, told.view, units), cut_words(todo, units)]
        sentences.append(f"{which}{', '.join(said)}.")
    turn = told.turn()
    if turn is not None:
        sentences.append(f"The {part(told.last.point)} {', '.join(turn_words(turn, units))}.")
    if scenery:
        sentences.append("Ground as it was given.")
    head = f"{presented(told)}: {told.machine.id} with {told.attachment.id}."
    return " ".join([head, *map(sentence, [*sentences, *notes(told)]), f"{ADVICE}."])
