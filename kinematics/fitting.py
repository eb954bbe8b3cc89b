"""The move-one-joint test of newly fitted sensors: what moved tells which sensor is which, and which way round.

The machine rests, one joint is moved a good bit, the machine rests again. Every guess of what may be wrong
(`fitting_traits`, `fitting_guess`) says how far the joint turned by each channel (`fitting_changes`); the fewest faults
that make all channels agree in all moves are the finding. Where others fit as well, all are named, and the move that
decides.
"""

import math
import numbers
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from .errors import Fault, refuse
from .fitting_changes import Changes
from .fitting_guess import CLEARLY, Both, Fit, Guess, Judge, explained
from .fitting_moves import BODY_MOVES, WAYS, Move, Moved, moves_for, names_for, numbers_of, seen
from .fitting_traits import KINDS, Numbers
from .fitting_words import (
    Finding,
    angles_wrong,
    by_lean,
    cannot_tell,
    decided_by,
    findings_of,
    half_turns,
    of_fault,
    turned_exactly,
)  # fmt: skip
from .sensor import Measure
from .sensor_set import SensorSet

__all__ = ["Doubt", "Finding", "Move", "Moved", "Verdict", "judge", "moves_for"]

GOOD, FAULTY, CANNOT_TELL, UNTESTED = "good", "faulty", "cannot-tell", "untested"
_TRIES = 3


@dataclass(frozen=True, slots=True)
class Doubt:
    """What the moves made could not show: `finding` would look the same. `essential`: it keeps the verdict from being
    good; not so a kind that only a lean or the vertical shows, and half a turn that only a zero check shows."""

    finding: Finding
    essential: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the moves showed.

    `good`: nothing was found, every sensor was seen to be the one it is called, with its sign and unit, and the angles
    lie within their joints. It says nothing of zeros: a mounting 8 deg off shows in no change; see `mounting`. `status`
    of each sensor: "good", "faulty", "cannot-tell", "untested" (no fault seen, not all of that shown). `turned`: how far
    the joint turned in each move (rad, as its angle grows; of a quarter turn the change of the pitch), None where no
    sensor tells. `untested`: what would have looked the same. `next_move`: of `WAYS`, what would tell most; None: no move
    would.
    """

    good: bool
    findings: tuple[Finding, ...]
    status: Mapping[str, str]
    turned: tuple[float | None, ...]
    untested: tuple[Doubt, ...]
    next_move: str | None


def judge(
    sensors: SensorSet, moves: Sequence[Moved | tuple[Any, ...]], *, body_zeroed: bool = False
) -> Verdict:
    """What is wrong with the sensors, from moves made one joint at a time; see `Moved`, `moves_for`.

    The boom raised 20 deg: a boom sensor of gravity that says 20 deg more is as it should be, one that says 20 less has
    the wrong sign, or, where all say so, the boom was lowered or all signs are wrong. Raw readings in rad and m, beyond
    their range too. Other joints may sink 2 deg in each move. `body_zeroed`: whether the body's mounting was set by half
    a turn first; if not, it may be up to 2 deg off in any direction, which keeps a small lean from showing its signs.
    Raises `Refused` with every fault: "no-such-move", "no-such-sensor", "missing-reading", "not-a-number", "not-finite",
    "not-moved" for a move with the same readings before and after.
    """
    made = tuple(Moved(*move) for move in moves)
    raw = _checked(sensors, made)
    trial = Judge(Changes(sensors, made, raw, body_zeroed))
    fits = explained(trial)
    if not fits:
        return _unexplained(trial)
    if len(fits) > 1:
        read = [(fit, angles_wrong(trial, fit.guess)) for fit in fits]
        clean = [fit for fit, angles in read if angles is not None and not angles]
        unknown = [fit for fit, angles in read if angles is None]
        # A mounting not set yet spoils the angles of sound sensors too: that the operator erred stays possible.
        erred = [fit for fit, angles in read if angles and any(fit.made)]
        alike = any(fit.guess.together for fit in clean) and not any(any(fit.made) for fit in clean)
        fits = [*clean, *unknown, *(erred if alike else ())] if clean else fits
    if len(fits) > 1:
        return _several(trial, fits)
    return _one(trial, raw, fits[0])


def _one(trial: Judge, raw: Sequence[Both], fit: Fit) -> Verdict:
    """The verdict of the one explanation: its findings, what the angles say besides, and what would look the same."""
    sensors, moves = trial.sensors, trial.changes.moves
    findings = list(findings_of(sensors, moves, fit))
    angles = angles_wrong(trial, fit.guess)
    others = _others(trial, fit)
    halves: list[Finding] = []
    if angles is not None:
        halves = half_turns(trial, fit.guess) if not findings else []
        others = [
            guess for guess in others if all(trait.code != "half-turn" for _, trait in guess.seats.values())
        ]
        read = [(guess, angles_wrong(trial, guess)) for guess in others]
        if angles:
            right = [guess for guess, wrong in read if wrong == []]
            findings += _angles(trial, fit, angles, right, halves)
            halves = []
        else:
            others = [guess for guess, wrong in read if not wrong]
    doubts = [
        Doubt(by_lean(finding, sensors, zeroed=trial.changes.body_zeroed), not _kind_only(guess))
        for guess in others
        for finding in findings_of(sensors, moves, _bare(guess, fit))
    ]
    doubts += [Doubt(finding, essential=False) for finding in halves]
    essential = [guess for guess in others if not _kind_only(guess)]
    status = dict.fromkeys(sensors.all, GOOD)
    for doubt in doubts:
        if doubt.essential:
            status |= dict.fromkeys(doubt.finding.sensors, UNTESTED)
    _mark(status, findings)
    again = next((moves[i].what for i, how in enumerate(fit.made) if how), None)
    told = again or (_deciding(trial, fit.guess, essential) if essential else None)
    turned = turned_exactly(trial, fit, raw)
    return Verdict(not findings and not essential, tuple(findings), status, turned, tuple(doubts), told)


def _angles(
    trial: Judge, fit: Fit, angles: Sequence[tuple[int, Fault]], right: Sequence[Guess], halves: Sequence[Finding]
) -> list[Finding]:  # fmt: skip
    """What is wrong where the changes fit and the angles do not: half a turn where that alone puts all right, of an
    inclination its sign, which is the same; else what the changes leave open, if it would put them right; else a
    mounting."""
    told = [
        (guess, f)
        for guess in right
        for f in findings_of(trial.sensors, trial.changes.moves, _bare(guess, fit))
    ]
    over = [*halves, *(finding for guess, finding in told if _is_inclination(guess))]
    if len(over) == 1 and len(told) + len(halves) == 1:
        return over
    if len(told) == 1 and {fault.code for _, fault in angles} == {"out-of-range"}:
        return [told[0][1]]  # a number that no sensor of this kind can say is no mounting's
    mountings = [of_fault(i, fault) for i, fault in angles]
    if told or halves:
        decides = decided_by(_deciding(trial, fit.guess, right), zeroed=trial.changes.body_zeroed)
        return [cannot_tell([*halves, *(finding for _, finding in told), *mountings], decides)]
    return mountings


def _several(trial: Judge, fits: list[Fit]) -> Verdict:
    sensors, moves = trial.sensors, trial.changes.moves
    choices = [finding for fit in fits for finding in findings_of(sensors, moves, fit)]
    again = next((moves[i].what for fit in fits for i, how in enumerate(fit.made) if how), None)
    first = next((fit for fit in fits if _can_arrive(fit.guess)), fits[0])
    rest = [fit.guess for fit in fits if fit is not first]
    told = again or _deciding(trial, first.guess, rest)
    finding = cannot_tell(list(dict.fromkeys(choices)), decided_by(told, zeroed=trial.changes.body_zeroed))
    status = dict.fromkeys(sensors.all, UNTESTED)
    _mark(status, [finding])
    same = [
        a if all(b is not None and a is not None and abs(a - b) <= 0.05 for b in each) else None
        for each in zip(*(turned_exactly(trial, fit, trial.changes.raw) for fit in fits), strict=True)
        for a in [each[0]]
    ]
    return Verdict(
        good=False, findings=(finding,), status=status, turned=tuple(same), untested=(), next_move=told
    )


def _unexplained(trial: Judge) -> Verdict:
    """No guess explains the moves: for every move the sensors that do not go with it."""
    sensors, moves = trial.sensors, trial.changes.moves
    at: dict[str, list[int]] = {}
    for i in range(len(moves)):
        alone = trial.of((moves[i],), (trial.changes.raw[i],))
        if alone.fit(alone.sound) is not None:
            continue
        blamed = [
            name for name in sensors.all if alone.fit(Guess(alone.sound.seats, 0.0, ((name, 0),))) is not None
        ]
        for name in blamed or sensors.all:
            at.setdefault(name, []).append(i)
    findings = tuple(
        Finding("unexplained", (name,), tuple(places), "changes that fit no one or two faults", "those of its link",
                "see where it sits, its unit, sign and kind, that it is tight; then move this joint alone again")
        for name, places in at.items()
    )  # fmt: skip
    status = dict.fromkeys(sensors.all, UNTESTED) | dict.fromkeys(at, CANNOT_TELL)
    first = min(places[0] for places in at.values())
    return Verdict(
        good=False, findings=findings, status=status, turned=(None,) * len(moves), untested=(),
        next_move=moves[first].what,
    )  # fmt: skip


def _mark(status: dict[str, str], findings: Sequence[Finding]) -> None:
    for finding in findings:
        mark = CANNOT_TELL if finding.code in ("cannot-tell", "unexplained", "moved-too") else FAULTY
        status |= {name: mark for name in finding.sensors if name in status}


def _others(trial: Judge, fit: Fit) -> list[Guess]:
    """One fault more than the fit has, of sensors it calls sound, that would look the same."""
    base, faulty = fit.guess, fit.guess.faulty()
    alike = []
    for guess in (*trial.singles(), *trial.exchanges()):
        more = guess.faulty()
        if len(more) > 2 or guess.cost > 1.0 or more.keys() & faulty.keys():
            continue
        tried = replace(guess, seats={**base.seats, **more}, loose=base.loose)
        found = trial.fit(replace(tried, cost=base.cost), fit.total)
        if found is not None and found.total <= fit.total and found.squares <= fit.squares + CLEARLY:
            alike.append(tried)
    return alike


def _bare(guess: Guess, base: Fit) -> Fit:
    """The fit of what a guess has over its base, for its words alone."""
    seats = {n: s for n, s in guess.seats.items() if base.guess.seats[n] != s}
    return Fit(Guess(seats, guess.cost), guess.cost, 0.0, (), ())


def _kind_only(guess: Guess) -> bool:
    """Also the roll of a pair on the arm: without a lean it says nothing of the link's angle."""
    return any(
        trait.code in KINDS or (trait.code == "sign-roll" and trait.sensor.place != "body")
        for _, trait in guess.seats.values()
    )


def _is_inclination(guess: Guess) -> bool:
    """Whether it turns the sign of an inclination, which is half a turn of its specific force."""
    return all(
        trait.code == "sign" and trait.sensor.measures == Measure.INCLINATION
        for _, trait in guess.faulty().values()
    )


def _can_arrive(guess: Guess) -> bool:
    """Whether what a guess sends can be made up from what sound sensors read."""
    return not any(
        trait.code in KINDS or trait.code.startswith("elsewhere") for _, trait in guess.seats.values()
    )


def _deciding(trial: Judge, base: Guess, others: Sequence[Guess]) -> str | None:
    """The move that would tell most of the others from the base, made up from what sound sensors would read."""
    if not others or not _can_arrive(base):
        return None
    sensors = trial.sensors
    best: tuple[int, str | None] = (0, None)
    for what in names_for(sensors):
        told = [0] * len(others)
        for _, both in zip(range(_TRIES), seen(sensors, what), strict=False):
            raw = _arrives(
                base,
                {n: numbers_of(v) for n, v in both[0].items()},
                {n: numbers_of(v) for n, v in both[1].items()},
            )
            made = Moved(what=what, grows=True, before=raw[0], after=raw[1])
            alone = trial.of((made,), (raw,))
            for k, guess in enumerate(others):
                fit = alone.fit(replace(guess, loose=()))
                told[k] += fit is None or fit.total > guess.cost or fit.squares > CLEARLY
        count = sum(2 * each >= _TRIES for each in told)
        if count > best[0]:
            best = count, what
    return best[1]


def _arrives(base: Guess, before: Mapping[str, Numbers], after: Mapping[str, Numbers]) -> Both:
    sides: tuple[dict[str, Numbers], dict[str, Numbers]] = ({}, {})
    for name, (channel, trait) in base.seats.items():
        sides[0][channel] = trait.arrives(before[name])
        sides[1][channel] = sides[0][channel] if trait.stuck else trait.arrives(after[name])
    return sides


def _checked(sensors: SensorSet, moves: Sequence[Moved]) -> tuple[Both, ...]:
    faults: list[Fault] = []
    raw = []
    known = [*sensors.assembly.ranges, *BODY_MOVES]
    for i, move in enumerate(moves):
        where = f"moves.{i}"
        if move.what not in known:
            faults.append(
                Fault("no-such-move", f"{where}.what", repr(move.what), "one of " + ", ".join(known),
                      "this machine and attachment do not have it" if move.what in WAYS else "check the name")
            )  # fmt: skip
        if not isinstance(move.grows, bool):
            faults.append(Fault("not-a-choice", f"{where}.grows", repr(move.grows), "true or false"))
        sides = [
            dict(_said(sensors, f"{where}.{side}", getattr(move, side), faults))
            for side in ("before", "after")
        ]
        if sides[0] and sides[0] == sides[1]:
            faults.append(
                Fault("not-moved", where, "the same readings before and after", "readings of two postures",
                      "rest, take all readings, move the joint, rest and take them again")
            )  # fmt: skip
        raw.append((sides[0], sides[1]))
    refuse(faults)
    return tuple(raw)


def _said(
    sensors: SensorSet, where: str, given: Mapping[str, Any], faults: list[Fault]
) -> Iterator[tuple[str, Numbers]]:
    for name in given:
        if name not in sensors.all:
            faults.append(
                Fault(
                    "no-such-sensor",
                    f"{where}.{name}",
                    "a reading",
                    "one of " + ", ".join(sensors.all),
                    "check the name",
                )
            )
    for name, sensor in sensors.all.items():
        if name not in given:
            faults.append(
                Fault("missing-reading", f"{where}.{name}", "none", "a reading", "read all sensors")
            )
            continue
        value = given[name]
        pair = sensor.measures == Measure.PITCH_ROLL
        parts = value if pair and isinstance(value, Sequence) and not isinstance(value, str) else (value,)
        if len(parts) != 1 + pair or not all(_is_number(part) for part in parts):
            expected = "two numbers: pitch, roll" if pair else "a number"
            faults.append(Fault("not-a-number", f"{where}.{name}", repr(value), expected))
        elif not all(math.isfinite(part) for part in parts):
            faults.append(
                Fault("not-finite", f"{where}.{name}", repr(value), "finite numbers", "read the sensor again")
            )
        else:
            yield name, tuple(float(part) for part in parts)


def _is_number(value: Any) -> bool:
    return isinstance(value, numbers.Real) and not isinstance(value, bool)
