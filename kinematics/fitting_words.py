"""The findings of a fitting test in words, and what a sensor's angle says once the changes fit."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from .errors import Fault, Refused
from .fitting_body import MOUNTING_RAD
from .fitting_changes import CREEP_RAD, PAST_ONE
from .fitting_guess import AS_TOLD, OTHER_WAY, Both, Fit, Guess, Judge
from .fitting_moves import QUARTER, WAYS, Moved, least_of, numbers_of
from .fitting_traits import KINDS, Numbers, Trait, half_turned
from .linkage import wrapped
from .sensing import angles_from
from .sensor import ARM, Measure, Sensor
from .sensor_set import SensorSet

UNREAD = frozenset({"near-vertical", "axis-plumb", "ambiguous"})
HELD_RAD, HELD_OF_TURN = CREEP_RAD + math.radians(2.0), 0.15
"""A joint that was held may seem to have turned so far, at most, by sinking and by mountings a little off, and noise."""
_OF_TILT = 3.0  # so much more of it shows in a tilt, whose axis may be steep
_MORE_RAD = math.radians(0.5)  # than a mounting's error itself, by noise and lean
LEANS = "on a place that leans at least half a degree, better 3"
NOT_ZEROED = (
    "set the body's zero by half a turn first and say so, or stand on ground that leans 3 deg or more"
)
Said = Mapping[str, Numbers]
_CODES = {
    "sign": "wrong-sign", "sign-pitch": "wrong-sign", "sign-roll": "wrong-sign", "sign-both": "wrong-sign",
    "unit-small": "wrong-unit", "unit-large": "wrong-unit", "stuck": "stuck", "half-turn": "half-turn",
    **dict.fromkeys(KINDS, "wrong-convention"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that the moves showed.

    `code`: "swapped", "wrong-sign", "wrong-unit", "wrong-convention", "pair-exchanged", "stuck", "elsewhere",
    "half-turn", "moved-too", "too-small", "other-way", "cannot-tell", "unexplained"; of angles that cannot be that of
    their `Fault`, and "not-held". `detail`: which of its kind ("unit-small", "sign-roll"); of "cannot-tell" nothing.
    `sensors`: of "swapped" each name, followed by the sensor that arrives under it. `moves`: places in the list of moves,
    from 0. `choices`: of "cannot-tell" the findings that fit equally well.
    """

    code: str
    sensors: tuple[str, ...]
    moves: tuple[int, ...]
    found: str
    expected: str
    advice: str
    detail: str = ""
    choices: tuple["Finding", ...] = field(default=(), repr=False)

    def __str__(self) -> str:
        return f"{', '.join(self.sensors) or 'moves'}: expected {self.expected}, found {self.found}; {self.advice}"


def findings_of(sensors: SensorSet, moves: Sequence[Moved], fit: Fit) -> Iterator[Finding]:
    """What is wrong by one explanation."""
    faulty = fit.guess.faulty()
    swapped = {name: seat[0] for name, seat in faulty.items() if seat[0] != name}
    if swapped:
        under = {channel: name for name, channel in swapped.items()}
        order = [(label, under[label]) for label in sensors.all if label in under]
        pairs = ", ".join(f"under the name {label} the sensor {name}" for label, name in order)
        yield Finding(
            "swapped", tuple(part for pair in order for part in pair), (), pairs,
            "each sensor under its own name", "exchange their plugs, addresses or names in the sensor map",
        )  # fmt: skip
    together = fit.guess.together
    if together:
        one = of_trait(sensors.all[together[0]], together[0], faulty[together[0]][1])
        yield replace(
            one, sensors=together, found="all together " + one.found,
            advice="one wrong default for all of them in the sensor map? " + one.advice,
        )  # fmt: skip
    for name, (_, trait) in faulty.items():
        if trait.code != "plain" and name not in together:
            yield of_trait(sensors.all[name], name, trait)
    for channel, at in fit.guess.loose:
        yield _loose(moves, channel, at)
    for i, how in enumerate(fit.made):
        if how != AS_TOLD:
            yield _made(sensors, moves, i, how)


def of_trait(sensor: Sensor, name: str, trait: Trait) -> Finding:
    """What is wrong with one sensor, in words."""
    code, _, besides = trait.code.partition("+")
    also = ", and its sign turned" if besides else ""
    if code == "exchanged":
        return Finding(
            "pair-exchanged", (name,), (), "pitch where roll is expected and roll where pitch is" + also,
            "pitch, then roll, with the profile's signs", "exchange its two signals in the sensor map", trait.code,
        )  # fmt: skip
    if code.startswith("elsewhere"):
        place = code.partition("-")[2]
        return Finding(
            "elsewhere", (name,), (), f"a sensor that turns as one on the {place} does" + also, f"one on {sensor.place}",
            "see which link it is bolted to, or state its place in the profile", trait.code,
        )  # fmt: skip
    small, large = ("mm", "m") if sensor.unit == "m" else ("degrees", "radians")
    found, expected, advice = {
        "sign": ("a change the other way", "the sign of the profile",
                 "turn its sign in the profile or its case about; or its specific force has the other sign"),
        "sign-pitch": ("a pitch that changes the other way", "the sign of the profile", "turn the sign in the profile"),
        "sign-roll": ("a roll that changes the other way", "the profile's side_sign", "turn side_sign in the profile"),
        "sign-both": ("pitch and roll that change the other way", "a case that looks ahead",
                      "it sits turned to the back: turn the case, or both signs in the profile"),
        "unit-small": (f"a change {trait.factor:.4g} times too small", f"a reading in {large}",
                       f"{large} arrive where {small} are declared: state the unit in the sensor map"),
        "unit-large": (f"a change {1.0 / trait.factor:.4g} times too large", f"a reading in {large}",
                       f"{small} arrive where {large} are declared: state the unit in the sensor map"),
        "joint-angle": ("its joint's own angle: the joints before it leave it still", "an angle from plumb",
                        'state measures = "angle" in the profile, or have the sensor send its gravity angle'),
        "link-angle": ("an angle from plumb: it turns with the joints before its own too", "its joint's own angle",
                       'state measures = "gravity-angle" in the profile, or have the sensor send the joint angle'),
        "inclination": ("an inclination, which folds at the vertical", "a gravity angle",
                        'state measures = "inclination" in the profile'),
        "gravity-angle": ("a gravity angle", "an inclination, which folds at the vertical",
                          'state measures = "gravity-angle" in the profile'),
        "stuck": ("no change in any move", "a reading that turns with its link",
                  "see that it is on its link, live and not frozen"),
        "half-turn": ("an angle half a turn off", "an angle within the joint's range",
                      "specific force is +1 g up at rest: turn its sign, or the case, or add 180 deg to nose_up"),
    }[code]  # fmt: skip
    return Finding(_CODES[code], (name,), (), found + also, expected, advice, trait.code)


def _loose(moves: Sequence[Moved], channel: str, at: int | None) -> Finding:
    if at is None:
        return Finding(
            "unexplained", (channel,), (), "changes that fit no one fault", "those of its link",
            "see where it sits, its unit, sign and kind, that it is tight, and move its joint alone again",
        )  # fmt: skip
    before, after = numbers_of(moves[at].before[channel]), numbers_of(moves[at].after[channel])
    steps = ", ".join(f"{b - a:+.3f}" for a, b in zip(before, after, strict=True))
    return Finding(
        "moved-too", (channel,), (at,), f"a change of {steps} (rad or m) that does not go with {moves[at].what}",
        "the change of its link by this one joint", "another joint crept, or the sensor is loose: make the move again",
    )  # fmt: skip


def _made(sensors: SensorSet, moves: Sequence[Moved], i: int, how: str) -> Finding:
    move = moves[i]
    up, down = WAYS[move.what]
    told, other = (up, down) if move.grows else (down, up)
    if how == OTHER_WAY:
        return Finding(
            "other-way", (), (i,), f"every sensor the other way: {other}", told,
            "make the move as told, or correct which way it was made",
        )  # fmt: skip
    least = math.degrees(least_of(sensors, move.what))
    return Finding(
        "too-small", (), (i,), f"hardly a change: {told}", f"at least {least:.0f} deg",
        "make the move again, further",
    )  # fmt: skip


def cannot_tell(choices: Sequence[Finding], decides: str) -> Finding:
    """Findings that explain the moves equally well."""
    names = tuple(dict.fromkeys(name for one in choices for name in one.sensors))
    found = "; or ".join(f"{', '.join(one.sensors) or 'the move'}: {one.found}" for one in choices)
    at = tuple(sorted({i for one in choices for i in one.moves}))
    return Finding("cannot-tell", names, at, found, "one explanation", decides, choices=tuple(choices))


def decided_by(what: str | None, *, zeroed: bool) -> str:
    """The advice of a further move."""
    lean = LEANS if zeroed else NOT_ZEROED
    if what is None:
        return f"move each of these joints alone, there and back; {lean}"
    up, down = WAYS[what]
    return f"this move decides: {up}, then {down}" + (f"; {lean}" if what == QUARTER else "")


def by_lean(doubt: Finding, sensors: SensorSet, *, zeroed: bool) -> Finding:
    """A doubt about a body sensor with what would show it."""
    if not any(sensors.all[name].place == "body" for name in doubt.sensors):
        return doubt
    return replace(doubt, advice=f"{LEANS if zeroed else NOT_ZEROED}; if it is so: {doubt.advice}")


# What the angles say once the changes fit.


def angles_wrong(trial: Judge, guess: Guess) -> list[tuple[int, Fault]] | None:
    """Faults with their moves, as `angles_from` finds them with the guess put right, and joints that were held but whose
    angle changed by more than mountings a little off make of it; None where the guess says nothing of where a sensor
    stands, or three in four of the postures cannot be read. What a body whose zero is not set may make is no fault."""
    sensors, moves, raw = trial.sensors, trial.changes.moves, trial.changes.raw
    tolerated = 0.0 if trial.changes.body_zeroed else MOUNTING_RAD + _MORE_RAD
    cured = _cured_set(sensors, guess)
    if cured is None:
        return None
    sensors = cured
    wrong: dict[tuple[str, str], tuple[int, Fault]] = {}
    read = 0
    for i, both in enumerate(raw):
        found: list[dict[str, float]] = []
        for said in both:
            try:
                found.append(angles_from(sensors, _cured(sensors, guess, said)))
            except Refused as refused:
                for fault in refused.faults:
                    if not (_of_posture(fault) or _of_body(sensors, fault, tolerated)):
                        wrong.setdefault((fault.code, fault.where.partition(".")[0]), (i, fault))
        if len(found) > 1:
            for fault in _not_held(sensors, moves[i].what, *found, zeroed=trial.changes.body_zeroed):
                wrong.setdefault((fault.code, fault.where), (i, fault))
        read += len(found)
    return list(wrong.values()) if wrong or 2 * read >= len(raw) else None


def turned_exactly(trial: Judge, fit: Fit, raw: Sequence[Both]) -> tuple[float | None, ...]:
    """How far each joint turned (rad), by the angles themselves, else by a sensor that sees just that joint; None where
    neither can be read: what a cylinder, a linkage or a link further out shows without the angles is a rough guess. Of a
    quarter turn the change of the pitch."""
    cured = _cured_set(trial.sensors, fit.guess)
    found: list[float | None] = []
    for i, move in enumerate(trial.changes.moves):
        try:
            if cured is None:
                raise Refused([])
            before, after = (angles_from(cured, _cured(cured, fit.guess, said)) for said in raw[i])
        except Refused:
            found.append(_alone(trial, fit, i))
            continue
        joint = move.what if move.what in after else "pitch"
        found.append(wrapped(after[joint] - before[joint], 0.0))
    return tuple(found)


def _alone(trial: Judge, fit: Fit, i: int) -> float | None:
    """The turn by an encoder of this very joint, or by a sensor of gravity on the first link of the arm."""
    what = trial.changes.moves[i].what
    if fit.made[i] not in (AS_TOLD, OTHER_WAY):
        return None
    for channel, trait in fit.guess.seats.values():
        sensor = trait.sensor
        exact = sensor.measures in (Measure.ANGLE, Measure.GRAVITY_ANGLE, Measure.PITCH_ROLL)
        loose = any(one == channel and at in (None, i) for one, at in fit.guess.loose)
        if exact and sensor.place == what and what in ARM and not trait.stuck and not loose:
            entry = trial.changes.entry(channel, trait, i, trial.changes.plumb(fit.guess.seats, i))
            if entry.spans is not None and len(entry.spans) == 1 and not entry.creep:
                return entry.spans[0][0]
    return None


def _cured_set(sensors: SensorSet, guess: Guess) -> SensorSet | None:
    """The sensors as a guess has them; None where it says nothing of where one stands."""
    if guess.loose or any(t.stuck for _, t in guess.seats.values()):
        return None
    kinds = {name: t.sensor for name, (_, t) in guess.seats.items() if t.sensor != sensors.all[name]}
    if any(not _same_place(one, sensors.all[name]) for name, one in kinds.items()):
        return None
    halves = (
        {name: kinds.get(name, one) for name, one in half.items()}
        for half in (sensors.sensors, sensors.checks)
    )
    return SensorSet(sensors.assembly, *halves) if kinds else sensors


def _same_place(one: Sensor, other: Sensor) -> bool:
    """Whether one stands as the other does, so that its mounting is the other's."""
    return one.place == other.place and one.mounting == other.mounting and one.by_gravity


def _not_held(
    sensors: SensorSet, what: str, before: Mapping[str, float], after: Mapping[str, float], *, zeroed: bool
) -> Iterator[Fault]:
    turned = abs(after.get(what, 0.0) - before.get(what, 0.0))
    most = HELD_RAD + HELD_OF_TURN * turned
    for joint in sensors.assembly.ranges:
        step = after[joint] - before[joint]
        if joint == "tilt" and not zeroed:
            continue  # a body's mounting shows in it as far as its axis is steep, without bound
        if joint != what and abs(wrapped(step, 0.0)) > most:
            yield Fault(
                "not-held", sensors.by_joint[joint][0],
                f"{joint} {math.degrees(step):+.1f} deg while only {what} was moved",
                f"at most {math.degrees(most):.1f} deg", "set the mountings, from the body outwards",
                {"step_deg": math.degrees(step)},
            )  # fmt: skip


def _of_posture(fault: Fault) -> bool:
    """The posture's doing, no sensor's fault: another posture would be read. A hair past the vertical is noise."""
    return fault.code in UNREAD or abs(fault.numbers.get("sine", math.inf)) <= PAST_ONE


def _of_body(sensors: SensorSet, fault: Fault, tolerated: float) -> bool:
    """Whether a body's mounting off by so much (rad) may have made it: it shows in the first link told by gravity."""
    if fault.code == "sensors-disagree":
        return sensors.all[fault.where].unit == "rad" and fault.numbers.get("apart", math.inf) <= tolerated
    if fault.code != "beyond-joint":
        return False
    angle, low, high = (
        math.radians(fault.numbers.get(f"{n}_deg", math.inf)) for n in ("angle", "low", "high")
    )
    if fault.where.endswith(".tilt"):
        tolerated *= _OF_TILT
    return max(low - angle, angle - high) <= tolerated


def _cured(
    sensors: SensorSet, guess: Guess, said: Mapping[str, Numbers]
) -> dict[str, float | tuple[float, ...]]:
    told: dict[str, float | tuple[float, ...]] = {}
    for name, (channel, trait) in guess.seats.items():
        sensor, numbers = sensors.all[name], trait.cured(said[channel])
        if trait.code != "plain" and sensor.unit == "rad":
            middle = 0.5 * (sensor.range.low + sensor.range.high)
            numbers = tuple(
                v if sensor.range.low <= v <= sensor.range.high else wrapped(v, middle) for v in numbers
            )
        told[name] = numbers if len(numbers) > 1 else numbers[0]
    return told


def half_turns(trial: Judge, sound: Guess) -> list[Finding]:
    """Each sensor whose reading turned half a turn would have, or leave, all angles right."""
    found = []
    for name, sensor in trial.sensors.all.items():
        halves = list(half_turned(sensor))
        if sensor.measures == Measure.ANGLE:
            halves = [Trait("half-turn", sensor, shift=(math.pi, 0.0))]
        for trait in halves:
            guess = Guess({**sound.seats, name: (name, trait)}, 1.0)
            angles = angles_wrong(trial, guess)
            if angles is not None and not angles:
                found.append(of_trait(sensor, name, trait))
    return found


def of_fault(move: int, fault: Fault) -> Finding:
    """A fault of the angles as a finding with a likely cause."""
    name, _, _ = fault.where.partition(".")
    cause = {
        "beyond-joint": "its mounting is not set, or half a turn off; an inner sensor's error shows in the next one too",
        "too-steep": "the body sensor's mounting is not set, or half a turn off",
        "out-of-range": "its unit, or a range in the profile that is too narrow",
        "out-of-stroke": "its zero is not set, or the length is not pin to pin",
        "impossible-reading": "its kind is another than described, or the body sensor's mounting is not set",
        "not-held": "a mounting is off by some degrees",
        "sensors-disagree": "one of their mountings is not set",
    }.get(fault.code, "its mounting is not set")
    return Finding(
        fault.code, (name,), (move,), fault.found, fault.expected, f"likely {cause}; {fault.advice}", "angle"
    )
