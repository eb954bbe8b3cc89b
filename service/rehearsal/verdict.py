"""A round held against the database, whether all that was acknowledged is there once, and against the truth, whether what
was shown is right."""

import math
from bisect import bisect_left
from collections.abc import Iterator
from typing import Any

from service.bus.any_feeder import AnyFeeder
from service.shift import JOB, at_targets, scored, second_of
from service.simulation.dig import Dig
from service.simulation.play import Played
from service.simulation.tables import Pass, Place
from service.simulation.truth import Score, true_lines
from service.store import StoredEvent, events, open_database, verify_chain

from .fleet import Fleet
from .happened import AWAY_S, Happened

STRIKES = 2
MEAN_OFF_M, OFF_AT_REST_M = 0.010, 0.020
"""As of the demo on one service: Forestry and Forest Products Research Institute bulletin 19(3) 269, 10.3 mm measured. At
rest the invented sensors' constant errors are some 5 mm; what is shown from before an outage would be off by the pass."""
RESTS_S, RESTS_M = 1.0, 0.0005


def verdict(
    fleet: Fleet, happened: Happened, dig: Dig, played: Played, feeder: AnyFeeder, ended: float
) -> dict[str, Any]:
    """For programs; `ok` where every check holds."""
    strikes = [each for each in feeder.strikes if each["seq"] is not None]
    log = _log(fleet)
    seen = {target.name: _messages(happened, target.name) for target in dig.document.targets}
    readouts = list(at_targets(dig, played, seen))
    off = [_off(each, true) for each, true in zip(readouts, _true(dig), strict=True)]
    shown = [each for some in seen.values() for each in some if each["readout"]]
    at_reading, when_told = scored(dig, played, shown)
    at_rest, _ = scored(dig, played, list(_at_rest(dig, played, shown)))
    blank = {
        "service_killed": _blank(happened, happened.killed_s, happened.away_s),
        "broker_stopped": _blank(happened, happened.away_s, ended),
    }  # fmt: skip
    checks = list(_checks(happened, dig, played, feeder, strikes, log, off, at_reading, at_rest))
    return {
        "ok": all(each["ok"] for each in checks), "checks": checks, "entries": len(log),
        "acknowledged": len(happened.acknowledged), "strikes": strikes, "readouts": len(readouts),
        "blank_s": blank, "off_at_reading": at_reading.as_json(), "off_at_rest": at_rest.as_json(),
        "off_when_told": when_told.as_json(),
        "sent": feeder.sent, "lost": feeder.lost, "refused_readings": feeder.refused, **feeder.told,
        "viewer_breaks": [each.breaks for each in happened.viewers],
    }  # fmt: skip


def _log(fleet: Fleet) -> list[StoredEvent]:
    with open_database(fleet.database.url()) as database:
        return database.read(lambda session: events.read_events(session, JOB))


def _messages(happened: Happened, target: str) -> list[dict[str, Any]]:
    """What the viewers of a target were told, in the order of its making."""
    told = [message for each in happened.viewers if each.target == target for _, message in list(each.seen)]
    return sorted(told, key=lambda message: str(message["at"]))


def _blank(happened: Happened, since: float, until: float) -> float:
    return round(max((each.blank_s(since, until) for each in happened.viewers), default=0.0), 2)


def _checks(
    happened: Happened, dig: Dig, played: Played, feeder: AnyFeeder, strikes: list[dict[str, Any]],
    log: list[StoredEvent], off: list[float], shown: Score, at_rest: Score,
) -> Iterator[dict[str, Any]]:  # fmt: skip
    check = _check
    yield check("what was to happen happened", happened.fault, "")
    yield check("every step was recorded", "; ".join(map(str, played.refused)), "")
    yield check("viewers were cut off by the kill", happened.cut, "one or more", ok=happened.cut >= 1)
    taken = [each for each in strikes if each["verdict"] == "taken"]
    yield check("strikes came out of the stream and were taken", len(taken), STRIKES)
    broken = verify_chain(log)
    yield check("the chain holds", "it holds" if broken is None else f"broken at {broken}", "it holds")
    yield check(
        "entries are numbered without a gap", [each.seq for each in log], list(range(1, len(log) + 1))
    )
    missing = [
        (seq, uuid)
        for seq, uuid in happened.acknowledged
        if sum(each.seq == seq and uuid in {None, str(each.uuid)} for each in log) != 1
    ]
    yield check("every acknowledged entry is there once", missing, [])
    struck = [each["seq"] for each in strikes]
    known = sorted([*(seq for seq, _ in happened.acknowledged), *struck])
    yield check("nothing else is there", known, [each.seq for each in log])
    told = feeder.told
    yield check("every frame was taken", told["frames_taken"], told["frames_spooled"])
    yield check("no reading was lost", feeder.lost, 0)
    back = [
        bool([at for at, _ in each.shown() if at > happened.away_s + AWAY_S]) for each in happened.viewers
    ]
    yield check("every viewer sees again", back, [True] * len(happened.viewers))
    tolerance = min(target.tolerance_m for target in dig.document.targets)
    found = [round(each, 4) if math.isfinite(each) else "no height" for each in off]
    yield check(
        "dug to the targets, as shown",
        found,
        f"each within {tolerance} m",
        ok=all(m <= tolerance for m in off),
    )
    mean, most = round(shown.mean_absolute, 4), round(abs(at_rest.greatest), 4)
    yield check("all that was shown, in the mean", mean, f"below {MEAN_OFF_M} m off", ok=mean < MEAN_OFF_M)
    yield check("all that was shown at rest", most, f"below {OFF_AT_REST_M} m off", ok=most < OFF_AT_REST_M)


def _at_rest(dig: Dig, played: Played, shown: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """What was shown of an edge that had been at rest since a second before its oldest reading."""
    lines = [
        (line["t_s"], *line["elevations_m"].values(), line["reach_m"])
        for line in true_lines(dig, played.course)
    ]
    times = [line[0] for line in lines]
    for each in shown:
        at = second_of(played.pacer, each)
        some = lines[bisect_left(times, at - each["age_s"] - RESTS_S) : bisect_left(times, at)]
        if some and all(max(column) - min(column) < RESTS_M for column in list(zip(*some, strict=True))[1:]):
            yield each


def _check(words: str, found: Any, expected: Any, *, ok: bool | None = None) -> dict[str, Any]:
    return {
        "check": words,
        "ok": found == expected if ok is None else ok,
        "found": found,
        "expected": expected,
    }


def _off(readout: dict[str, Any], true: float) -> float:
    """How far from the truth (m); infinitely, where the height is not known."""
    shown = readout["points"]["centre"]["elevation"]
    return math.inf if shown is None else abs(shown["m"] - true)


def _true(dig: Dig) -> list[float]:
    """Where the edge truly comes to rest over each target, in the order of the steps (m)."""
    document = dig.document
    names = {target.name for target in document.targets}
    return [
        document.slab.elevation_m + dig.datums[step.over] + step.height_m
        for step in document.steps if isinstance(step, Place | Pass) and step.over in names
    ]  # fmt: skip
