"""The border of all that a row of joints reaches, as closed loops of arcs.

Every candidate arc (`joint_arcs`) is cut wherever another meets it; of each part it is asked, exactly, whether the point
gets a hundredth of a micrometre to either side. A part with one side out of reach is border; parts are joined where they
meet.
"""

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .errors import Fault, Refused
from .joint_arcs import Arc, Complexes, Row

# How far to either side of a part its border is felt for; the next where slivers thinner than one leave a gap.
ASIDE_M = (1e-8, 1e-9, 1e-7, 1e-6, 1e-5)
# Parts shorter than this are the rounding of one meeting (tangent circles meet to the root of a rounding); ends of
# parts nearer than this are one place.
SHORTEST_M, JOINED_M = 1e-6, 3e-6
_MEETS_M = 1e-9


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of an outline: of `arc`, from direction `start` to `end` (rad from its centre), what is reached on the
    left as one goes; clockwise where `end` is less."""

    arc: Arc
    start: float
    end: float

    @property
    def ends(self) -> tuple[complex, complex]:
        """Its first and last place (m)."""
        return self.arc.at(self.start), self.arc.at(self.end)

    @property
    def heading(self) -> complex:
        """The direction one sets off in."""
        return cmath.rect(1.0, self.start) * (1j if self.end > self.start else -1j)

    @property
    def arriving(self) -> complex:
        """The direction one comes to its end in."""
        return cmath.rect(1.0, self.end) * (1j if self.end > self.start else -1j)

    def holds_angle(self, angle: float) -> bool:
        """Whether a direction (rad) from the centre is on the piece, its ends included to a rounding."""
        low, high = min(self.start, self.end), max(self.start, self.end)
        past = (angle - low) % (2.0 * math.pi)
        return past <= high - low + 1e-9 or 2.0 * math.pi - past <= 1e-9

    def sampled(self, chord_error: float) -> list[complex]:
        """Places from its start up to, not with, its end, chords no further than `chord_error` (m) from the arc."""
        widest = 2.0 * math.acos(max(1.0 - chord_error / self.arc.radius, 0.0))
        count = max(1, math.ceil(abs(self.end - self.start) / widest))
        return [self.arc.at(self.start + (self.end - self.start) * k / count) for k in range(count)]


Loop = tuple[Piece, ...]


def outline(row: Row) -> tuple[Loop, ...]:
    """Closed loops, outer first: anticlockwise around what is reached, clockwise around a hole in it.

    Slivers thinner than 10 micrometres may be left out. Raises `Refused` "no-outline" where the pieces do not close, as
    where joints hardly move.
    """
    arcs = row.arcs
    parts = [(arc, low, high) for arc, low, high in _parts(arcs) if (high - low) * arc.radius > SHORTEST_M]
    middles = np.array([0.5 * (low + high) for _, low, high in parts])
    centres: Complexes = np.array([arc.centre for arc, _, _ in parts])
    radii = np.array([arc.radius for arc, _, _ in parts])
    ways: Complexes = np.exp(1j * middles)
    for aside in ASIDE_M:
        inner, outer = (row.contains(centres + (radii + way * aside) * ways) for way in (-1.0, 1.0))
        pieces = [
            Piece(arc, low, high) if within else Piece(arc, high, low)
            for (arc, low, high), within, beyond in zip(parts, inner.tolist(), outer.tolist(), strict=True)
            if within != beyond
        ]
        joined = max(JOINED_M, 3.0 * aside)
        loops = _loops(_alone(pieces, joined), joined)
        if loops:
            return tuple(sorted(loops, key=lambda loop: -area(loop)))
    raise Refused([
        Fault("no-outline", "", "joints that reach no area with a closed border", "joints that move far enough to go "
              "around an area", "widen the joints' ranges")
    ])  # fmt: skip


def area(loop: Sequence[Piece]) -> float:
    """What a loop goes around (m^2); a hole's is negative. Green's theorem, exact on arcs."""
    total = 0.0
    for piece in loop:
        (a, b), turn = piece.ends, piece.end - piece.start
        total += 0.5 * (a.conjugate() * b).imag  # up to the chord
        total += 0.5 * piece.arc.radius**2 * (turn - math.sin(turn))  # between chord and arc
    return total


def _parts(arcs: Sequence[Arc]) -> list[tuple[Arc, float, float]]:
    """Each arc cut at every place where another meets it: (arc, low, high) in rad, ascending."""
    centre, radius = np.array([arc.centre for arc in arcs]), np.array([arc.radius for arc in arcs])
    start, sweep = np.array([arc.start for arc in arcs]), np.array([arc.sweep for arc in arcs])
    ends = np.concatenate(
        [centre + radius * np.exp(1j * start), centre + radius * np.exp(1j * (start + sweep))]
    )
    found = []
    for arc in arcs:
        between = centre - arc.centre
        apart = np.abs(between)
        with np.errstate(divide="ignore", invalid="ignore"):
            along = (apart**2 + arc.radius**2 - radius**2) / (2.0 * apart)
            square = arc.radius**2 - along**2
            touches = (apart > _MEETS_M) & (square > -2.0 * arc.radius * _MEETS_M)
            up = np.sqrt(np.maximum(square, 0.0))
            ahead = between / apart
            meets = [arc.centre + ahead * (along + side * 1j * up) for side in (1.0, -1.0)]
        cuts = [arc.start, arc.start + arc.sweep]
        for places in meets:
            here = np.where(touches, places, np.nan)
            past = (np.angle(here - centre) - start) % (2.0 * math.pi)
            slack = JOINED_M / radius
            on_other = (past <= sweep + slack) | (past >= 2.0 * math.pi - slack)
            cuts += _on(arc, here[touches & on_other])
        cuts += _on(arc, ends[np.abs(np.abs(ends - arc.centre) - arc.radius) <= _MEETS_M])
        angles = np.unique(np.array(cuts))
        found += [(arc, low, high) for low, high in pairwise(angles.tolist())]
    return found


def _on(arc: Arc, places: Complexes) -> list[float]:
    """Directions (rad, from the arc's start on) of those places that lie on it."""
    past = (np.angle(places - arc.centre) - arc.start) % (2.0 * math.pi)
    return [arc.start + turned for turned in past.tolist() if turned < arc.sweep]


def _alone(pieces: list[Piece], joined: float) -> list[Piece]:
    """Without a second piece on the same course: two arcs of one circle that overlap."""
    kept: list[Piece] = []
    for piece in pieces:
        middle = piece.arc.at(0.5 * (piece.start + piece.end))
        ends = piece.ends
        if not any(
            abs(middle - other.arc.at(0.5 * (other.start + other.end))) <= joined
            and abs(ends[0] - other.ends[0]) <= joined
            and abs(ends[1] - other.ends[1]) <= joined
            for other in kept
        ):
            kept.append(piece)
    return kept


def _loops(pieces: list[Piece], joined: float) -> list[Loop]:
    """The pieces in closed loops; none at all where some stay open that lie on none of these."""
    loops: list[Loop] = []
    left = sorted(pieces, key=lambda piece: -abs(piece.end - piece.start) * piece.arc.radius)
    opened = []
    while left:
        course = _closed(left, joined)
        if course is None:
            opened.append(left.pop(0))
        else:
            left = [piece for piece in left if piece not in course]
            loops.append(_merged(course))
    beside = all(any(_beside(piece, other, joined) for loop in loops for other in loop) for piece in opened)
    return loops if beside else []


def _closed(pieces: list[Piece], joined: float) -> list[Piece] | None:
    """A closed course from the first piece on, each piece once; None where there is none.

    Where pieces meet, the one that keeps to the same reached ground comes first, the others where that leads nowhere.
    """
    course = [pieces[0]]
    tried: list[list[Piece]] = [_onward(pieces, course, joined)]
    while tried:
        if abs(course[-1].ends[1] - course[0].ends[0]) <= joined:
            return course
        if tried[-1]:
            course.append(tried[-1].pop(0))
            tried.append(_onward(pieces, course, joined))
        else:
            tried.pop()
            course.pop()
    return None


def _onward(pieces: list[Piece], course: list[Piece], joined: float) -> list[Piece]:
    here, arriving = course[-1].ends[1], course[-1].arriving
    found = [piece for piece in pieces if piece not in course and abs(piece.ends[0] - here) <= joined]
    return sorted(found, key=lambda piece: _clockwise(-arriving, piece.heading))


def _beside(piece: Piece, other: Piece, joined: float) -> bool:
    """Whether a piece lies on another to all that matters: its middle, between that one's ends."""
    way = piece.arc.at(0.5 * (piece.start + piece.end)) - other.arc.centre
    return abs(abs(way) - other.arc.radius) <= joined and other.holds_angle(cmath.phase(way))


def _clockwise(a: complex, b: complex) -> float:
    """From a clockwise to b (rad, 0 to a turn)."""
    return -cmath.phase(b / a) % (2.0 * math.pi)


def _merged(course: list[Piece]) -> Loop:
    """Neighbours on one arc joined to one piece."""
    kept = [course[0]]
    for piece in course[1:]:
        if _goes_on(kept[-1], piece):
            kept[-1] = Piece(piece.arc, kept[-1].start, piece.end)
        else:
            kept.append(piece)
    if len(kept) > 1 and _goes_on(kept[-1], kept[0]):
        kept[0] = Piece(kept[0].arc, kept.pop().start, kept[0].end)
    return tuple(kept)


def _goes_on(piece: Piece, following: Piece) -> bool:
    return piece.arc is following.arc and abs(following.start - piece.end) * piece.arc.radius <= JOINED_M
