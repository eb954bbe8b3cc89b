"""The guided fitting test as a client of the service: which joint to move, what the sensors said, the verdict."""

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx

from kinematics.errors import Fault, Refused, refuse

from .bus.address import address_faults
from .bus.any_feeder import Say, told

Ask = Callable[[str], str]
PATIENCE_S = 60.0
CAUTION = (
    "Nobody in the swing radius, nobody under a raised link; one person works the levers, looks at the arm, and types "
    "only while it rests."
)
_SAYS = {"grows": "up", "falls": "down", "still": "not at all", "either": "either way"}


class Service:
    """The fitting routes of one job. Raises `Refused` "bad-option" for what is no address."""

    def __init__(self, address: str, job: str, token: str | None) -> None:
        refuse(address_faults(address))
        self._headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        self._base = f"{address.rstrip('/')}/v1/jobs/{quote(job, safe='')}/fitting"
        self._address = address

    def get(self, what: str) -> dict[str, Any]:
        """An answer. Raises `Refused` with what the service refused, "no-service" where there is none."""
        return self._ask("GET", what, None)

    def post(self, what: str, body: Mapping[str, Any]) -> dict[str, Any]:
        """The same of a request with a body."""
        return self._ask("POST", what, body)

    def _ask(self, method: str, what: str, body: Mapping[str, Any] | None) -> dict[str, Any]:
        try:
            answer = httpx.request(
                method, f"{self._base}/{what}", json=body, headers=self._headers, timeout=PATIENCE_S
            )
            said = answer.json()
        except (httpx.HTTPError, httpx.InvalidURL, ValueError) as error:
            raise Refused([
                Fault("no-service", "--to", f"{self._address}: {error}", "a running service",
                      "start one with: tipdatum serve")
            ]) from None  # fmt: skip
        if answer.status_code != 200 or not isinstance(said, dict):
            raise told(said, f"status {answer.status_code}")
        return said


def guided(service: Service, ask: Ask, say: Say) -> list[dict[str, Any]]:
    """Walk through the moves of this machine, there and back; the moves that were made, as /fitting/verdicts takes them.

    `ask` shows a line and waits for an answer: "" done, "s" leave this joint out, "q" enough. Raises `Refused` as the
    service does, but for readings that may come right: those are told and asked for again.
    """
    moves = service.get("moves")["moves"]
    say(CAUTION)
    say(
        f"{len(moves)} joints to move, one at a time, there and back. Enter when it rests; s: leave out; q: enough."
    )
    made: list[dict[str, Any]] = []
    here = _posture(
        service, ask, say, "Rest the bucket where every joint can move a little. Enter when it rests"
    )
    if not here:
        return made
    for number, move in enumerate(moves, 1):
        say(f"\n{number} of {len(moves)}: {move['move']}. {_expected(move['changes'])}")
        for way in ("up", "down"):
            words = f"{move[way].capitalize()}, {_least(move)}, and nothing else. Enter when it rests"
            there = _moved(service, ask, say, words, move, way, here)
            if there is None:
                return made
            if there is _LEFT_OUT:
                break
            made.append({"move": move["move"], "way": way, "before": here, "after": there})
            here = there
    return made


_LEFT_OUT: dict[str, Any] = {}


def _moved(
    service: Service,
    ask: Ask,
    say: Say,
    words: str,
    move: Mapping[str, Any],
    way: str,
    here: Mapping[str, Any],
) -> dict[str, Any] | None:
    """The posture after a move; asked for again, once, where it hardly changed anything or went the other way."""
    there = _posture(service, ask, say, words)
    if there and (doubt := _doubt(move, way, here, there)):
        say(doubt)
        there = _posture(service, ask, say, f"{words}, if need be again")
    return there


def _doubt(move: Mapping[str, Any], way: str, here: Mapping[str, Any], there: Mapping[str, Any]) -> str:
    """What is odd about a move of a joint, as long as it can still be made anew; "" where nothing is."""
    if move["move"] in ("quarter", "nose"):
        return ""
    most, ways = 0.0, set()
    for name, goes in move["changes"].items():
        for step, go in zip(_steps(here[name], there[name]), goes, strict=True):
            part = abs(step) / (_SMALL_MM if "mm" in there[name] else 0.5 * move["least_deg"])
            most = max(most, part)
            if part >= 1.0 and go in ("grows", "falls"):
                ways.add((go == "grows") == (step > 0.0))
    if most < 1.0:
        return f"Hardly a change. Was it {_least(move)}? Move it further, or Enter once more to leave it at that."
    if ways == {way == "down"}:
        return "Every sensor says that it went the other way. Make the move as asked, or Enter once more to leave it."
    return ""


_SMALL_MM = 30.0


def _steps(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[float]:
    """How far each number of a sensor went, angles the short way."""
    unit = next(iter(after))
    pairs = zip(
        *(each if isinstance(each, list) else [each] for each in (before[unit], after[unit])), strict=True
    )
    steps = [b - a for a, b in pairs]
    return steps if unit == "mm" else [(step + 180.0) % 360.0 - 180.0 for step in steps]


def _posture(service: Service, ask: Ask, say: Say, words: str) -> dict[str, Any] | None:
    """What the sensors say once they rest; None where the user has had enough, `_LEFT_OUT` where he passes over."""
    while True:
        answer = ask(words).strip().lower()
        if answer == "q":
            return None
        if answer == "s":
            return _LEFT_OUT
        if answer:
            say("Enter, s or q.")
            continue
        try:
            said: dict[str, Any] = service.get("posture")["said"]
        except Refused as refused:
            if any(fault.code not in _MAY_PASS for fault in refused.faults):
                raise
            for fault in refused.faults:
                say(str(fault))
            continue
        return said


_MAY_PASS = frozenset({"arm-moves", "sensor-quiet", "too-few-readings"})


def _least(move: Mapping[str, Any]) -> str:
    if move["move"] == "quarter":
        return "on ground that leans half a degree or more"
    return f"at least {move['least_deg']:.0f} deg"


def _expected(changes: Mapping[str, list[str]]) -> str:
    if not changes:
        return "No sensor should change."
    return "On the way up should go: " + ", ".join(
        f"{name} {' and '.join(_SAYS[each] for each in goes)}" for name, goes in changes.items()
    )


def run_fit(
    *,
    to: str,
    job: str,
    token: str | None,
    record: Path | None,
    again: Path | None,
    body_zeroed: bool,
    ask: Ask,
    say: Say,
) -> dict[str, Any]:
    """The whole test; what came of it, for programs. `again`: moves of a file instead, against the job's profiles as
    they are now. `record`: a new file for moves and verdict. `body_zeroed`: the body's zero has been set.
    Raises `Refused`."""
    if record is not None and record.exists():
        raise Refused([
            Fault("file-exists", "--record", str(record), "a new file", "name another, or remove it")
        ])  # fmt: skip
    service = Service(to, job, token)
    made = guided(service, ask, say) if again is None else _recorded(again)
    if not made:
        raise Refused([
            Fault("nothing-moved", "", "no move", "at least one", "move the joints one at a time as asked")
        ])  # fmt: skip
    verdict = service.post("verdicts", {"moves": made, "body_zeroed": body_zeroed})
    found = {"ok": verdict["good"], "job": job, "moves": made, "verdict": verdict}
    if record is not None:
        with record.open("x", encoding="utf-8") as out:
            out.write(json.dumps(found, allow_nan=False, indent=1) + "\n")
        say(f"Moves and verdict are in {record}.")
    return found


def _recorded(file: Path) -> list[dict[str, Any]]:
    try:
        moves = json.loads(file.read_text(encoding="utf-8"))["moves"]
    except (OSError, ValueError, TypeError, KeyError, RecursionError) as error:
        raise Refused([
            Fault("unreadable", str(file), str(error) or type(error).__name__, "what --record wrote")
        ]) from None  # fmt: skip
    if not isinstance(moves, list):
        raise Refused([Fault("unreadable", str(file), "no list of moves", "what --record wrote")])
    return moves
