"""The level book of a machine: benchmark touch, strike, move, re-strike, misclosure.

Differential levelling with the machine as the rod. h is the elevation of the body origin, P that of the laser
plane; a touch of the edge on a known point gives h = B - z_edge, a strike gives P = h + z_receiver or, after a
move, h = P - z_receiver. A plane with a fall g is carried by P' = P + g s. Metres; elevations positive up.
Each value says which entries of the log it hangs on, so that withdrawing one withdraws the rest, and how much it owes to
what each of them measured, so that an error made at one place cancels at another as it does in truth.

Source: differential levelling as in C. Ghilani and P. Wolf, Elementary Surveying (HI = BM + BS, elevation =
HI - FS), with BS = z_receiver - z_edge at the touch and FS the same at the dig.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from types import MappingProxyType

from .errors import Fault, Refused


class Role(StrEnum):
    """What a touch or a strike did in the book."""

    SETS_HEIGHT = "sets the height"
    CHECKS = "checks"
    SETS_PLANE = "sets the laser plane"
    CARRIES_HEIGHT = "carries the height from the laser plane"
    WAITS = "waits for a touch"
    PLANE_ONLY = "gives depth below the plane only"
    SETS_POINT = "sets a turning point"
    TURNED_DOWN = "turned down"


class Enters(StrEnum):
    """What of an entry enters an elevation: a benchmark's elevation, the edge's height, the receiver's height, the plane
    carried from one receiver place to another, a distance along its fall."""

    BENCHMARK = "benchmark"
    EDGE = "edge"
    RECEIVER = "receiver"
    CARRIED = "carried"
    DISTANCE = "distance"


Terms = Mapping[tuple[int, Enters], float]
"""d elevation / d what an entry measured, by entry and what of it: m/m. A touch (entry 4) on a slab (entry 2) gives the
origin {(2, benchmark): 1, (4, edge): -1}: an edge thought 1 mm too high puts the origin 1 mm too low."""


def added(one: Terms, more: Terms, factor: float = 1.0) -> Terms:
    """Terms of a sum, one + factor * more; what cancels is left out."""
    total = {key: one.get(key, 0.0) + factor * more.get(key, 0.0) for key in {**one, **more}}
    return MappingProxyType({key: value for key, value in total.items() if value != 0.0})


@dataclass(frozen=True, slots=True)
class Known:
    """An elevation (m), the entries of the log it hangs on, and its `terms`."""

    elevation: float
    hangs_on: frozenset[int]
    terms: Terms = field(default_factory=dict, kw_only=True, compare=False)


@dataclass(frozen=True, slots=True)
class Plane(Known):
    """The laser plane's elevation (m) at the receiver place of strike `at`."""

    at: int


@dataclass(frozen=True, slots=True)
class Laser:
    """A laser set-up: head speed (revolutions a second) and fall (ratio, positive where it rises along +s)."""

    revolutions_per_s: float
    fall: float


@dataclass(frozen=True, slots=True)
class StrikeHere:
    """The latest strike taken in this setup: its entry and the receiver's height (m) over the origin."""

    seq: int
    receiver_height: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an entry did: role, elevation (m) it found, misclosure (m, computed minus known), what it hangs on."""

    role: Role
    elevation: float | None
    misclosure: float | None
    hangs_on: frozenset[int]


@dataclass(frozen=True, slots=True)
class Book:
    """What is known at one point of the log. `setup` counts the stands from 1; 0 before the first."""

    setup: int = 0
    height: Known | None = None
    plane: Plane | None = None
    laser: Laser | None = None
    waiting: StrikeHere | None = None
    struck: StrikeHere | None = None
    points: Mapping[str, Known] = field(default_factory=lambda: MappingProxyType({}))

    def placed(self) -> "Book":
        """A machine put on the job: a new stand, with another receiver; height and plane are void."""
        return replace(self.moved(), plane=None)

    def moved(self) -> "Book":
        """The tracks moved: the height is void until the next strike or touch; the plane stays."""
        return replace(self, setup=self.setup + 1, height=None, waiting=None, struck=None)

    def swung(self) -> "Book":
        """The body swung: on a plane with a fall the receiver's place is gone, and depth below it with it."""
        falls = self.laser is not None and self.laser.fall != 0.0
        return replace(self, struck=None) if falls else self

    def laser_set_up(self, laser: Laser) -> "Book":
        """The laser was set up, reset or knocked: the plane and what it gave are void; the height stays."""
        return replace(self, laser=laser, plane=None, waiting=None, struck=None)

    def receiver_clamped(self) -> "Book":
        """The receiver was clamped elsewhere: as a laser set-up, without a new laser."""
        return replace(self, plane=None, waiting=None, struck=None)

    def declared(self, seq: int, name: str, elevation: float) -> "Book":
        """A benchmark of known elevation (m). Raises `Refused` "name-taken", "not-finite"."""
        if not math.isfinite(elevation):
            raise Refused([Fault("not-finite", "elevation", str(elevation), "a finite elevation")])
        self.free_name(name)
        return self._with_point(
            name, Known(elevation, frozenset({seq}), terms={(seq, Enters.BENCHMARK): 1.0})
        )

    def free_name(self, name: str) -> None:
        """Raise `Refused` "name-taken" if a benchmark or turning point has this name."""
        if name in self.points:
            found = f"{name!r}, already at {self.points[name].elevation:.4f} m"
            raise Refused([
                Fault("name-taken", "name", found, "a name that no benchmark or turning point has",
                      "choose another name, or withdraw the earlier one")
            ])  # fmt: skip

    def _with_point(self, name: str, known: Known) -> "Book":
        return replace(self, points=MappingProxyType({**self.points, name: known}))

    def touched(
        self, seq: int, point: str, edge_height: float, *, check: bool, gives_plane: bool = True
    ) -> tuple["Book", Outcome]:
        """The chosen edge point rests on a known point; `edge_height` (m) is its height over the origin.

        h = B - z_e: slab at 100.000, edge 1.850 below the origin (-1.850): the origin is at 101.850.
        A check changes nothing and needs a height; its misclosure is computed minus known. A strike that was
        waiting gives the plane at once, unless `gives_plane` is false: a log read again must not find more in a
        touch than was found when it was recorded. Raises `Refused` "no-setup", "unknown-benchmark", "height-unknown".
        """
        self.needs_setup()
        known = self.point(point)
        computed = None if self.height is None else self.height.elevation + edge_height
        misclosure = None if computed is None else computed - known.elevation
        if check:
            height = self.needs_height("check touch")
            return self, Outcome(Role.CHECKS, computed, misclosure, height.hangs_on | known.hangs_on)
        height = Known(
            known.elevation - edge_height, known.hangs_on | {seq},
            terms=added(known.terms, {(seq, Enters.EDGE): -1.0}),
        )  # fmt: skip
        book = replace(self, height=height)
        if gives_plane and self.plane is None and self.waiting is not None:
            first = self.waiting
            plane = _plane_of(height, first)
            book = replace(book, plane=plane, waiting=None)
        return book, Outcome(Role.SETS_HEIGHT, height.elevation, misclosure, known.hangs_on)

    def turning_point(self, seq: int, name: str, edge_height: float) -> tuple["Book", Outcome]:
        """The edge rests on a firm new point: it gets the elevation h + z_e and can be touched after a move.

        Raises `Refused` "no-setup", "height-unknown", "name-taken".
        """
        self.needs_setup()
        height = self.needs_height("turning point")
        self.free_name(name)
        known = Known(
            height.elevation + edge_height, height.hangs_on | {seq},
            terms=added(height.terms, {(seq, Enters.EDGE): 1.0}),
        )  # fmt: skip
        outcome = Outcome(Role.SETS_POINT, known.elevation, None, height.hangs_on)
        return self._with_point(name, known), outcome

    def struck_by_laser(
        self, seq: int, receiver_height: float, along_fall: float | None
    ) -> tuple["Book", Outcome]:
        """A strike that was taken; `receiver_height` (m) over the origin, `along_fall` s (m) along the fall
        from the receiver place of the strike `plane.at`, positive where the plane rises for a positive fall.

        Plane at 103.000 falling 1 %, s = -12: struck here it is at 102.880.
        Raises `Refused` "no-setup", "no-laser", "distance-missing", "distance-useless".
        """
        self.needs_setup()
        laser = self.needs_laser()
        here = StrikeHere(seq, receiver_height)
        book = replace(self, struck=here)
        if self.plane is None:
            _no_distance(along_fall, "there is no earlier strike to count from")
            return self._first_strike(book, here)
        if laser.fall == 0.0:
            _no_distance(along_fall, "the laser is level")
            along_fall = 0.0
        if along_fall is None:
            return self._without_distance(book)
        at_place = self.plane.elevation + laser.fall * along_fall
        hangs_on = self.plane.hangs_on
        if self.height is not None:
            computed = self.height.elevation + receiver_height
            return book, Outcome(Role.CHECKS, computed, computed - at_place, hangs_on | self.height.hangs_on)
        moved = added(self.plane.terms, {(seq, Enters.CARRIED): 1.0, (seq, Enters.DISTANCE): laser.fall})
        height = Known(
            at_place - receiver_height, hangs_on | {seq}, terms=added(moved, {(seq, Enters.RECEIVER): -1.0})
        )
        plane = Plane(at_place, hangs_on | {seq}, seq, terms=moved) if laser.fall else self.plane
        return (
            replace(book, height=height, plane=plane),
            Outcome(Role.CARRIES_HEIGHT, height.elevation, None, hangs_on),
        )

    def _first_strike(self, book: "Book", here: StrikeHere) -> tuple["Book", Outcome]:
        if self.height is not None:
            known = self.height.hangs_on
            plane = _plane_of(self.height, here)
            return replace(book, plane=plane), Outcome(Role.SETS_PLANE, plane.elevation, None, known)
        if self.waiting is None:
            return replace(book, waiting=here), Outcome(Role.WAITS, None, None, frozenset())
        if self.laser is not None and self.laser.fall:
            # Struck elsewhere on a falling plane: the difference is fall as well as misclosure.
            return book, Outcome(Role.PLANE_ONLY, None, None, frozenset())
        apart = here.receiver_height - self.waiting.receiver_height
        return book, Outcome(Role.CHECKS, None, apart, frozenset({self.waiting.seq}))

    def _without_distance(self, book: "Book") -> tuple["Book", Outcome]:
        if self.height is not None:
            raise Refused([
                Fault("distance-missing", "along_fall", "no distance",
                      f"the distance along the fall from the receiver's place at strike {self.plane_from()}",
                      "a plane with a fall cannot check a strike without it: tape it between the receiver places")
            ])  # fmt: skip
        hangs_on: frozenset[int] = frozenset() if self.plane is None else self.plane.hangs_on
        return book, Outcome(Role.PLANE_ONLY, None, None, hangs_on)

    def plane_from(self) -> int | None:
        """The strike at whose receiver place the plane's elevation holds; distances along a fall count from it."""
        return None if self.plane is None else self.plane.at

    def predicted_receiver_height(self, along_fall: float | None) -> float | None:
        """Where the receiver should meet the plane (m over the origin) if nothing moved; None if unknown."""
        if self.plane is not None and self.height is not None and self.laser is not None:
            if self.laser.fall and along_fall is None:
                return None
            rise = self.laser.fall * (along_fall or 0.0)
            return self.plane.elevation + rise - self.height.elevation
        if self.waiting is None or (self.laser is not None and self.laser.fall):
            return None
        return self.waiting.receiver_height

    def needs_setup(self) -> None:
        """Raise `Refused` "no-setup" before a machine was put on the job."""
        if self.setup == 0:
            raise Refused([
                Fault("no-setup", "", "a job without a machine", "a setup that names machine and attachment",
                      "record a setup first")
            ])  # fmt: skip

    def needs_laser(self) -> Laser:
        """The laser, or `Refused` "no-laser"."""
        if self.laser is None:
            raise Refused([
                Fault("no-laser", "", "a job without a laser", "a laser set-up",
                      "record the laser's head speed and fall first, or work from touches alone")
            ])  # fmt: skip
        return self.laser

    def needs_height(self, what: str) -> Known:
        """The origin's elevation, or `Refused` "height-unknown" with what would make it known."""
        if self.height is None:
            raise Refused([
                Fault("height-unknown", "", f"a {what} while the machine's height is unknown",
                      "a known height", self.how_to_know_height())
            ])  # fmt: skip
        return self.height

    def how_to_know_height(self) -> str:
        """Advice in words: what would give this setup its height."""
        ways = ["touch a benchmark or turning point"] if self.points else ["declare a benchmark and touch it"]
        if self.plane is not None and self.laser is not None:
            ways.append(
                "strike the laser with the distance along its fall" if self.laser.fall else "strike the laser"
            )
        return " or ".join(ways)

    def point(self, name: str) -> Known:
        """A benchmark or turning point, or `Refused` "unknown-benchmark" with the names there are."""
        if name not in self.points:
            names = ", ".join(self.points) or "none: declare one first"
            raise Refused(
                [Fault("unknown-benchmark", "point", repr(name), f"a benchmark or turning point: {names}")]
            )
        return self.points[name]


def _plane_of(height: Known, strike: StrikeHere) -> Plane:
    """The plane that was met where the receiver stood, the origin's height being known."""
    return Plane(
        height.elevation + strike.receiver_height, height.hangs_on | {strike.seq}, strike.seq,
        terms=added(height.terms, {(strike.seq, Enters.RECEIVER): 1.0}),
    )  # fmt: skip


def _no_distance(along_fall: float | None, why: str) -> None:
    if along_fall is not None:
        raise Refused([
            Fault("distance-useless", "along_fall", f"{along_fall:g} m", "no distance along the fall",
                  f"{why}: leave it out", {"along_fall_m": along_fall})
        ])  # fmt: skip


def void_entries(
    withdrawals: Iterable[tuple[int, int]], hangs_on: Mapping[int, Iterable[int]]
) -> frozenset[int]:
    """Entries of a log that no longer count.

    `withdrawals`: (entry, the entry it withdraws), in log order; a later one may withdraw an earlier
    withdrawal. `hangs_on`: entry to the entries it hangs on. Withdrawing a strike withdraws all that hangs on it.
    """
    pairs = sorted(withdrawals, reverse=True)
    out: set[int] = set()
    for entry, target in pairs:
        if entry not in out:
            out.add(target)
    for entry in sorted(hangs_on):
        if any(cause in out for cause in hangs_on[entry]):
            out.add(entry)
    return frozenset(out)
