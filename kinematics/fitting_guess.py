"""Which faults, the fewest, explain what all sensors did in all moves; all explanations that do so equally well."""

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from .fitting_changes import FLOOR_RAD, OF_TURN, SIGMAS, Changes, Entry, body_entry, body_names, body_plumb
from .fitting_moves import BODY_MOVES, QUARTER, least_of
from .fitting_traits import Trait, plain, traits_of
from .machine import Point
from .sensor_set import SensorSet

CLEARLY = 16.0
"""How much better (sum of squared standard deviations) the best explanation has to be than another as simple."""
# Joints and rest are judged by eye: two thirds of what was asked for is enough.
ENOUGH = 2.0 / 3.0
FARTHEST_RAD = math.radians(200.0)
MANY = 5
ONE_MOVE, ALL_MOVES = 1.5, 2.5
AS_TOLD, SMALL, OTHER_WAY = "", "too-small", "other-way"


@dataclass(frozen=True, slots=True)
class Guess:
    """Which channel each sensor's reading really arrives on, and with which trait; `cost`: how many faults that is.

    `loose`: (channel, move or None for all) whose change is left out of account.
    """

    seats: Mapping[str, tuple[str, Trait]]
    cost: float
    loose: tuple[tuple[str, int | None], ...] = ()

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

    def __post_init__(self) -> None:
        self.traits = {name: tuple(traits_of(self.sensors, name)) for name in self.sensors.all}
        every = self.changes.sensors.all
        self.sound = Guess({name: (name, plain(sensor)) for name, sensor in every.items()}, 0.0)

    @property
    def sensors(self) -> SensorSet:
        """The set under test."""
        return self.changes.sensors

    def fit(self, guess: Guess) -> Fit | None:
        """How a guess fits; None where something is off by more than `SIGMAS`."""
        total, squares = guess.cost, 0.0
        turned: list[float | None] = []
        made: list[str] = []
        for i in range(len(self.changes.moves)):
            found = self._move(guess, i)
            if found is None:
                return None
            penalty, square, turn, how = found
            total, squares = total + penalty, squares + square
            turned.append(turn)
            made.append(how)
        return Fit(guess, total, squares, tuple(turned), tuple(made))

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
        squares = sum(entry.off**2 for entry in entries)
        seen = [entry for entry in entries if entry.spans is not None]
        if not seen:
            return 0.0, squares, None, AS_TOLD
        least = ENOUGH * least_of(self.sensors, move.what)
        way = 1.0 if move.grows else -1.0
        best: tuple[float, float, float | None, str] | None = None
        for how, low, high in (
            (AS_TOLD, least, FARTHEST_RAD), (SMALL, -least, least), (OTHER_WAY, -FARTHEST_RAD, -least),
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
        squares = sum(entry.off**2 for entry in entries)
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
        both = (Entry(), Entry()) if loose else body_entry(move, sigma, plumbs[0], plumbs[1])
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
                square = squares + body.off**2 + found[1]
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
    points = {low, high}
    for entry in seen:
        for a, b in entry.spans or ():
            points |= {min(max(p, low), high) for p in (a, 0.5 * (a + b), b) if low <= p <= high}
    exact = [
        (e.spans[0][0], e.sigma)
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
            off = away / (entry.sigma + OF_TURN * abs(turn))
            if off > SIGMAS:
                break
            squares += off * off
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
        (1.0, itertools.chain(judge.singles(), judge.exchanges())),
        (ONE_MOVE, judge.loosened()),
        (2.0, judge.doubles()),
    )
    for at_least, guesses in layers:
        least = min((fit.total for fit in fits), default=math.inf)
        if least < at_least:
            break
        fits += [
            fit for guess in guesses if guess.cost <= least for fit in [judge.fit(guess)] if fit is not None
        ]
    return best_of(fits)


def best_of(fits: list[Fit]) -> list[Fit]:
    """Those of the fewest faults whose misfit is not clearly worse than the best's."""
    if not fits:
        return []
    least = min(fit.total for fit in fits)
    simplest = [fit for fit in fits if fit.total <= least + 1e-9]
    squares = min(fit.squares for fit in simplest)
    return [fit for fit in simplest if fit.squares <= squares + CLEARLY]
