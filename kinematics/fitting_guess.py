"""Which faults, the fewest, explain what all sensors did in all moves; all explanations that do so equally well."""

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from .fitting_body import body_entry, slack_of
from .fitting_changes import (
    CREEP_RAD,
    CREEP_SIGMA_RAD,
    FLOOR_RAD,
    OF_TURN,
    SIGMAS,
    Changes,
    Entry,
    body_names,
    body_plumb,
)  # fmt: skip
from .fitting_moves import BODY_MOVES, QUARTER, Moved, least_of
from .fitting_traits import Numbers, Trait, plain, traits_of
from .machine import Point
from .sensor_set import SensorSet

CLEARLY = 16.0
"""How much better (sum of squared standard deviations) the best explanation has to be than another as simple."""
# Joints and rest are judged by eye: two thirds of what was asked for is enough.
ENOUGH = 2.0 / 3.0
BEYOND_RAD = math.radians(10.0)  # no joint turns further than it can, but for what sensors are off
MANY = 5
ONE_MOVE, ALL_MOVES = 1.5, 2.5
TOGETHER = 1.5
"""One wrong default of a map on all sensors of a kind: rarer than one fault, likelier than two."""
BESIDE = 0.5
"""So much dearer it is still told beside an operator who erred."""
AGAIN = 0.5
"""What a joint moved the other way both there and back costs beyond the two moves: who errs so errs hardly twice."""
Both = tuple[Mapping[str, Numbers], Mapping[str, Numbers]]
AS_TOLD, SMALL, OTHER_WAY = "", "too-small", "other-way"


@dataclass(frozen=True, slots=True)
class Guess:
    """Which channel each sensor's reading really arrives on, and with which trait; `cost`: how many faults that is.

    `loose`: (channel, move or None for all) whose change is left out of account. `together`: sensors with the one same
    fault.
    """

    seats: Mapping[str, tuple[str, Trait]]
    cost: float
    loose: tuple[tuple[str, int | None], ...] = ()
    together: tuple[str, ...] = ()

    def faulty(self) -> dict[str, tuple[str, Trait]]:
        """Sensors that do not arrive as they should."""
        return {name: seat for name, seat in self.seats.items() if seat[0] != name or seat[1].code != "plain"}


@dataclass(frozen=True, slots=True)
class Fit:
    """How well a guess explains the moves: `total` faults with those of the moves, misfit `squares`, of each move how far
    the joint turned (rad, None where nothing tells) and whether it was as told."""

    guess: Guess
    total: float
    squares: float
    turned: tuple[float | None, ...]
    made: tuple[str, ...]


@dataclass(slots=True)
class Judge:
    """Guesses tried against the changes of some moves."""

    changes: Changes
    sound: Guess = field(init=False)
    traits: Mapping[str, tuple[Trait, ...]] = field(init=False)
    _order: list[int] = field(init=False)  # moves, the ones that guesses last failed on first

    def __post_init__(self) -> None:
        self.traits = {name: tuple(traits_of(self.sensors, name)) for name in self.sensors.all}
        self._order = list(range(len(self.changes.moves)))
        every = self.changes.sensors.all
        self.sound = Guess({name: (name, plain(sensor)) for name, sensor in every.items()}, 0.0)

    @property
    def sensors(self) -> SensorSet:
        """The set under test."""
        return self.changes.sensors

    def fit(self, guess: Guess, most: float = math.inf) -> Fit | None:
        """How a guess fits; None where something is off by more than `SIGMAS`, or it takes more than `most` faults."""
        total, squares = guess.cost, 0.0
        found: dict[int, tuple[float | None, str]] = {}
        if total > most:
            return None
        for at, i in enumerate(self._order):
            move = self._move(guess, i)
            if move is not None:
                penalty, square, turn, how = move
                total, squares = total + penalty, squares + square
                found[i] = turn, how
            if move is None or total > most:
                self._order.insert(0, self._order.pop(at))
                return None
        turned, made = zip(*(found[i] for i in range(len(found))), strict=True) if found else ((), ())
        total += AGAIN * self._both_ways(made)
        return Fit(guess, total, squares, turned, made) if total <= most else None

    def _both_ways(self, made: Sequence[str]) -> int:
        """Joints that were moved the other way both there and back."""
        ways = {
            (move.what, move.grows)
            for move, how in zip(self.changes.moves, made, strict=True)
            if how == OTHER_WAY
        }
        return sum((what, not grows) in ways for what, grows in ways) // 2

    def of(self, moves: tuple[Moved, ...], raw: tuple[Both, ...]) -> "Judge":
        """The same of other moves."""
        return Judge(Changes(self.sensors, moves, raw, self.changes.body_zeroed))

    def _move(self, guess: Guess, i: int) -> tuple[float, float, float | None, str] | None:
        move = self.changes.moves[i]
        entries: list[Entry] = []
        plumb = self.changes.plumb(guess.seats, i)
        for name, (channel, trait) in guess.seats.items():
            if any(loose == channel and at in (None, i) for loose, at in guess.loose):
                continue
            if move.what in BODY_MOVES and trait.sensor.place == "body" and name in self.sensors.sensors:
                continue
            entry = self.changes.entry(channel, trait, i, plumb)
            if entry.off > SIGMAS:
                return None
            entries.append(entry)
        if move.what in BODY_MOVES:
            return self._body(guess, i, entries)
        squares = sum(entry.square for entry in entries)
        seen = [entry for entry in entries if entry.spans is not None]
        if not seen:
            return 0.0, squares, None, AS_TOLD
        least = ENOUGH * least_of(self.sensors, move.what)
        way = 1.0 if move.grows else -1.0
        reach = self.sensors.assembly.ranges[move.what]
        most = reach.high - reach.low + BEYOND_RAD
        best: tuple[float, float, float | None, str] | None = None
        for how, low, high in (
            (AS_TOLD, least, most), (SMALL, -least, least), (OTHER_WAY, -most, -least),
        ):  # fmt: skip
            found = consensus(seen, *sorted((way * low, way * high)))
            if found is not None:
                penalty = 0.0 if how == AS_TOLD else 1.0
                if best is None or penalty < best[0] or (penalty == best[0] and found[1] + squares < best[1]):
                    best = penalty, found[1] + squares, found[0], how
            if best is not None and how == AS_TOLD:
                break
        return best

    def _body(
        self, guess: Guess, i: int, entries: list[Entry]
    ) -> tuple[float, float, float | None, str] | None:
        move = self.changes.moves[i]
        squares = sum(entry.square for entry in entries)
        plumbs: list[Point | None] = []
        sigma, loose = 0.0, False
        for side in (0, 1):
            parts = []
            for name in body_names(self.sensors):
                channel, trait = guess.seats[name]
                loose = loose or trait.stuck or any(c == channel and at in (None, i) for c, at in guess.loose)
                if trait.stuck and self.changes.entry(channel, trait, i, (0.0, 0.0, 1.0)).off > SIGMAS:
                    return None
                said = trait.cured(self.changes.raw[i][side][channel])
                parts.append((trait.sensor, self.sensors.axes[name], said))
                sigma = max(sigma, math.hypot(math.sqrt(2.0) * trait.sensor.noise, FLOOR_RAD))
            plumbs.append(body_plumb(parts))
        slack = slack_of(parts, zeroed=self.changes.body_zeroed)
        both = (Entry(), Entry()) if loose else body_entry(move, sigma, plumbs[0], plumbs[1], slack)
        best: tuple[float, float, float | None, str] | None = None
        way = 1.0 if move.grows else -1.0
        for how, body in zip((AS_TOLD, OTHER_WAY), both, strict=True):
            if body.off > SIGMAS:
                continue
            seen = [entry for entry in (*entries, body) if entry.spans is not None]
            if not seen:
                return 0.0, squares, None, AS_TOLD
            low, high = -0.5 * math.pi, 0.5 * math.pi
            if move.what != QUARTER:
                least = ENOUGH * least_of(self.sensors, move.what)
                up = way if how == AS_TOLD else -way
                low, high = sorted((up * least, up * high))
            found = consensus(seen, low, high)
            if found is not None:
                penalty = 0.0 if how == AS_TOLD else 1.0
                square = squares + body.square + found[1]
                if best is None or penalty < best[0]:
                    best = penalty, square, found[0], how
        return best

    # Guesses, from the simplest on.

    def singles(self) -> Iterator[Guess]:
        """One thing wrong with one sensor."""
        for name in self.sensors.all:
            for trait in self.traits[name]:
                yield self._with({name: (name, trait)}, trait.cost)

    def exchanges(self) -> Iterator[Guess]:
        """Sensors that arrive under each other's names: two, three, of few all ways."""
        for names in self._alike():
            for size in range(2, min(len(names), MANY if len(names) <= MANY else 3) + 1):
                for some in itertools.combinations(names, size):
                    for order in itertools.permutations(some):
                        if all(a != b for a, b in zip(some, order, strict=True)):
                            seats = {a: (b, self.sound.seats[a][1]) for a, b in zip(some, order, strict=True)}
                            yield self._with(seats, 1.0 + 0.25 * (size - 2))

    def _alike(self) -> Iterable[list[str]]:
        kinds: dict[tuple[str, bool], list[str]] = {}
        for name, sensor in self.sensors.all.items():
            kinds.setdefault((sensor.unit, sensor.side_sign is None), []).append(name)
        return kinds.values()

    def _with(self, seats: Mapping[str, tuple[str, Trait]], cost: float) -> Guess:
        return Guess({**self.sound.seats, **seats}, cost)

    def loosened(self) -> Iterator[Guess]:
        """One sensor, or one joint's and all beyond it, that did something else in one move; one that always does."""
        for name in self.sensors.all:
            for i in range(len(self.changes.moves)):
                yield Guess(self.sound.seats, ONE_MOVE, ((name, i),))
        for name in self.sensors.all:
            yield Guess(self.sound.seats, ALL_MOVES, ((name, None),))

    def collectives(self) -> Iterator[Guess]:
        """The one same fault on all sensors of a kind, as one wrong default of a map makes it."""
        every = self.sensors.all
        gravity = [name for name, one in every.items() if one.by_gravity]
        angles = [name for name, one in every.items() if one.unit == "rad"]
        wires = [name for name in every if name not in angles]
        encoders = [name for name in angles if name not in gravity]
        arm = [name for name in gravity if every[name].place != "body"]
        kinds = dict.fromkeys(tuple(names) for names in (arm, gravity, encoders, wires, angles, every))
        for group in (names for names in kinds if len(names) > 1):
            yield self._together(group, ("sign", "sign-both"))
            if len({every[name].unit for name in group}) == 1:
                yield self._together(group, ("unit-small",))
                yield self._together(group, ("unit-large",))

    def _together(self, group: tuple[str, ...], codes: tuple[str, ...]) -> Guess:
        seats = {name: (name, trait) for name in group for trait in self.traits[name] if trait.code in codes}
        return replace(self._with(seats, TOGETHER), together=group)

    def signs(self) -> Iterator[Guess]:
        """Three sensors, each with its sign turned."""
        ones = {n: t for n, of in self.traits.items() for t in of if t.code == "sign"}
        for some in itertools.combinations(ones, 3):
            yield self._with({name: (name, ones[name]) for name in some}, 3.0)

    def doubles(self) -> Iterator[Guess]:
        """Two things wrong at once: of two sensors, of two that are exchanged one more."""
        ones = [guess for guess in (*self.singles(), *self.exchanges()) if guess.cost == 1.0]
        for a, b in itertools.combinations(ones, 2):
            one, other = a.faulty(), b.faulty()
            if not one.keys() & other.keys():
                yield self._with({**one, **other}, 2.0)
        for guess in self.exchanges():
            for name, (channel, trait) in guess.faulty().items():
                for worse in self.traits[name]:
                    if worse.cost == 1.0 and worse.sensor == trait.sensor:
                        yield self._with({**guess.faulty(), name: (channel, worse)}, guess.cost + 1.0)


def consensus(seen: list[Entry], low: float, high: float) -> tuple[float, float] | None:
    """(turn, misfit) of the turn in these bounds (rad) that fits all entries best; None where it does not fit one."""
    widest = OF_TURN * max(abs(low), abs(high))
    for entry in seen:  # most fail here, soon
        wide = entry.creep + SIGMAS * (entry.sigma + widest)
        low = max(low, min((a for a, _ in entry.spans or ()), default=math.inf) - wide)
        high = min(high, max((b for _, b in entry.spans or ()), default=-math.inf) + wide)
        if low > high:
            return None
    points = {low, high}
    for entry in seen:
        for a, b in entry.spans or ():
            ends = (a - entry.creep, a, 0.5 * (a + b), b, b + entry.creep)
            points |= {p for p in ends if low <= p <= high}
    exact = [
        (e.spans[0][0], math.hypot(e.sigma, e.creep * CREEP_SIGMA_RAD / CREEP_RAD))
        for e in seen
        if e.spans is not None and len(e.spans) == 1 and e.spans[0][0] == e.spans[0][1]
    ]
    if exact:
        weight = sum(1.0 / s**2 for _, s in exact)
        points.add(min(max(sum(v / s**2 for v, s in exact) / weight, low), high))
    best: tuple[float, float] | None = None
    for turn in points:
        squares = 0.0
        for entry in seen:
            away = min((max(a - turn, turn - b, 0.0) for a, b in entry.spans or ()), default=math.inf)
            sigma = entry.sigma + OF_TURN * abs(turn)
            if away - entry.creep > SIGMAS * sigma:
                break
            if entry.creep:
                sigma = math.hypot(sigma, entry.creep * CREEP_SIGMA_RAD / CREEP_RAD)
            squares += (away / sigma) ** 2
        else:
            if best is None or squares < best[1] or (squares == best[1] and abs(turn) > abs(best[0])):
                best = turn, squares
    return best


def explained(judge: Judge) -> list[Fit]:
    """The fits with the fewest faults that fit equally well; none where nothing explains the moves."""
    sound = judge.fit(judge.sound)
    if sound is not None and sound.total == 0.0:
        return [sound]
    fits = [] if sound is None else [sound]
    layers: tuple[tuple[float, Iterator[Guess]], ...] = (
        (1.0, itertools.chain(judge.singles(), judge.exchanges(), judge.collectives())),
        (ONE_MOVE, judge.loosened()),
        (2.0, judge.doubles()),
        (3.0, judge.signs()),
    )
    for at_least, guesses in layers:
        least = min((fit.total for fit in fits), default=math.inf)
        if least < at_least:
            break
        for guess in guesses:
            fit = judge.fit(guess, least + BESIDE)
            if fit is not None:
                fits.append(fit)
                least = min(least, fit.total)
    return best_of(fits)


def best_of(fits: list[Fit]) -> list[Fit]:
    """Those of the fewest faults whose misfit is not clearly worse than the best's; where they say that the operator
    erred or that all sensors of a kind err alike, the other of these two as well, though it costs a little more."""
    if not fits:
        return []
    least = min(fit.total for fit in fits)
    simplest = [fit for fit in fits if fit.total <= least + 1e-9]
    squares = min(fit.squares for fit in simplest) + CLEARLY
    best = [fit for fit in simplest if fit.squares <= squares]
    erred, alike = any(any(fit.made) for fit in best), any(fit.guess.together for fit in best)
    for fit in fits:
        if least + 1e-9 < fit.total <= least + BESIDE and fit.squares <= squares:
            other = not any(fit.made) if fit.guess.together else not fit.guess.faulty()
            if other and (erred if fit.guess.together else alike):
                best.append(fit)
    return best
