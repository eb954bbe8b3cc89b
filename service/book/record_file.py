"""The record of a job as one JSON text that anybody can hold against itself: every event whole, an event a line.

A line is an event in canonical form: keys sorted, no spaces. Its hash is the SHA-256 of that line without
`"hash":"...",`, so that any tool that counts bytes can check it. Nothing else in the text says what was dug: there is
nothing to change that the chain does not hold.
"""

import json
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from kinematics.errors import Fault, Refused
from service.store import Misfit, NotStorable, StoredEvent, canonical_json, misfit, utc_text, utc_time

KIND = "tipdatum-record"
VERSION = 1
HOW = (
    'Each line under events: SHA-256 of it without its "hash" is its hash; previous_hash is the hash of the line before. '
    "tipdatum record verify FILE does this; compare the head with one noted elsewhere (--head SEQ:HASH)."
)
Progress = Callable[[int], None]
_HEAD = re.compile(r"([1-9][0-9]{0,17}):([0-9a-f]{64})")
_FIELDS = ("actor", "hash", "idempotency_key", "job_id", "observed_utc", "payload", "payload_version", "previous_hash",
           "recorded_utc", "request_hash", "seq", "type", "uuid")  # fmt: skip
_STEP = 500


@dataclass(frozen=True, slots=True)
class Head:
    """The last entry of a chain: whoever notes it elsewhere can tell later that nothing was cut off or made anew."""

    seq: int
    hash: str


@dataclass(frozen=True, slots=True)
class Record:
    """A record as read: its job, the head that it names, its events; `damaged`: the first that cannot be one."""

    job: str
    head: Head
    events: tuple[StoredEvent, ...]
    damaged: Misfit | None


def record_text(
    job: str, events: Sequence[StoredEvent], written: datetime, by: str, broken_at: Misfit | None = None
) -> str:
    """The record of a job as JSON. `events`: all of them, from the first, or up to where the log is `broken_at`: then the
    record says so, and holding it against itself tells the same."""
    last = events[-1]
    ends = {} if broken_at is None else {"ends_because": asdict(broken_at)}
    start = json.dumps(
        {"kind": KIND, "version": VERSION, "job": job, "written_utc": utc_text(written), "written_by": by,
         "how_to_verify": HOW, "head": {"seq": last.seq, "hash": last.hash}, **ends}, ensure_ascii=False, indent=1,
    )  # fmt: skip
    lines = ",\n".join(canonical_json(_as_json(event)) for event in events)
    return f'{start[:-2]},\n "events": [\n{lines}\n]}}\n'


def _as_json(event: StoredEvent) -> dict[str, Any]:
    return {
        "job_id": event.job_id, "seq": event.seq, "uuid": str(event.uuid), "type": event.type,
        "payload_version": event.payload_version, "payload": event.payload, "actor": event.actor,
        "observed_utc": utc_text(event.observed_utc), "recorded_utc": utc_text(event.recorded_utc),
        "idempotency_key": event.idempotency_key, "request_hash": event.request_hash,
        "previous_hash": event.previous_hash, "hash": event.hash,
    }  # fmt: skip


def read_record(text: str) -> Record:
    """A record that `record_text` wrote. `Refused` "unreadable-record" for what is none, or no whole one.

    An event that cannot be one is no reason to refuse: it is told as where the chain breaks.
    """
    try:
        told = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise _unreadable(
            f"text that is no JSON: {error}", "copy the file anew: it may have been cut off"
        ) from None
    if not isinstance(told, dict) or told.get("kind") != KIND:
        raise _unreadable(
            "JSON that is no record", "export one: tipdatum record export, or GET .../record?format=json"
        )
    if told.get("version") != VERSION:
        raise _unreadable(
            f"a record of version {told.get('version')!r}", "use the release that wrote it, or a later one"
        )
    head, listed, job = told.get("head"), told.get("events"), told.get("job")
    named = ("kind", "version", "job", "written_utc", "written_by", "how_to_verify", "head", "events")
    whole = isinstance(head, dict) and head.keys() == {"seq", "hash"} and isinstance(job, str)
    if not whole or not isinstance(listed, list) or set(told) - {"ends_because"} != set(named):
        raise _unreadable(
            "a record with parts missing, or with others", f"export it anew: it has {', '.join(named)}"
        )
    events: list[StoredEvent] = []
    damaged = _ends_because(told["ends_because"]) if "ends_because" in told else None
    for i, each in enumerate(listed):
        try:
            events.append(_event(each))
        except (ValueError, TypeError, AttributeError, NotStorable) as error:
            seq = each.get("seq") if isinstance(each, dict) else None
            seq = seq if type(seq) is int else i + 1
            damaged = Misfit(
                seq, "changed-entry", f"what no entry can be: {error}", "an entry as it was recorded"
            )
            break
    assert isinstance(head, dict)  # noqa: S101  # `whole`
    assert isinstance(job, str)  # noqa: S101
    return Record(job, Head(head["seq"], head["hash"]), tuple(events), damaged)


def _ends_because(told: Any) -> Misfit:
    """Where the log was broken that the record was made of."""
    match told:
        case {"seq": int(seq), "code": str(code), "found": str(found), "expected": str(expected)} if (
            len(told) == 4
        ):
            return Misfit(seq, code, found, expected)
    raise _unreadable("a word on where its log ends that cannot be read", "export it anew")


def _event(told: Any) -> StoredEvent:
    if not isinstance(told, dict) or tuple(sorted(told)) != _FIELDS:
        raise ValueError("other fields than an entry has")
    texts = [told[name] for name in ("job_id", "type", "actor", "previous_hash", "hash", "uuid")]
    numbers = [told[name] for name in ("seq", "payload_version")]
    maybe = [told[name] for name in ("idempotency_key", "request_hash")]
    if not all(isinstance(each, str) for each in (*texts, *(m for m in maybe if m is not None))):
        raise ValueError("no text where an entry has one")
    if not all(type(each) is int for each in numbers) or not isinstance(told["payload"], dict):
        raise ValueError("another kind of value than an entry has")
    uuid = UUID(told["uuid"])
    if str(uuid) != told["uuid"]:
        raise ValueError("another spelling of its uuid")
    return StoredEvent(
        told["job_id"], told["seq"], uuid, told["type"], told["payload_version"], told["payload"], told["actor"],
        utc_time(told["observed_utc"]), utc_time(told["recorded_utc"]), told["idempotency_key"], told["request_hash"],
        told["previous_hash"], told["hash"],
    )  # fmt: skip


def broken(
    job: str, events: Iterable[StoredEvent], heads: Sequence[Head] = (), *, damaged: Misfit | None = None,
    progress: Progress | None = None,
) -> tuple[Misfit | None, Head | None]:  # fmt: skip
    """(the first break of a chain that is whole from entry 1, its head); `heads`: what was noted of it.

    A head noted earlier must be on the way, so that a longer log still holds it. `damaged`: what cannot be read after
    `events`. `progress` is told how many are done.
    """
    before: StoredEvent | None = None
    known: dict[int, str] = {}
    wanted = {head.seq for head in heads}
    for event in events:
        if event.job_id != job:
            return Misfit(
                event.seq, "other-job", f"an entry of job {event.job_id!r}", f"one of {job!r}"
            ), None
        if before is None and event.seq != 1:
            return Misfit(1, "missing-entry", f"entry {event.seq} as the first", "entry 1"), None
        found = misfit(before, event)
        if found is not None:
            return found, None
        if event.seq in wanted:
            known[event.seq] = event.hash
        if progress is not None and event.seq % _STEP == 0:
            progress(event.seq)
        before = event
    if damaged is not None:
        return damaged, None
    if before is None:
        return Misfit(1, "missing-entry", "no entry at all", "entry 1"), None
    for head in heads:
        if head.seq > before.seq:
            return Misfit(
                before.seq + 1,
                "cut-off",
                f"an end at entry {before.seq}",
                f"entry {head.seq}, which was noted",
            ), None
        if known[head.seq] != head.hash:
            return Misfit(
                head.seq, "other-chain", f"hash {known[head.seq]}", f"hash {head.hash}, which was noted of it"
            ), None
    return None, Head(before.seq, before.hash)


def broken_record(
    record: Record, noted: Sequence[Head] = (), progress: Progress | None = None
) -> tuple[Misfit | None, Head | None]:
    """As `broken`, of a record: its own head must be its last entry."""
    told = record.head
    found, head = broken(record.job, record.events, noted, damaged=record.damaged, progress=progress)
    if found is None and head is not None and head != told:
        if type(told.seq) is int and told.seq > head.seq:
            return Misfit(
                head.seq + 1, "cut-off", f"an end at entry {head.seq}", f"entry {told.seq}, its head"
            ), None
        return Misfit(
            head.seq, "other-chain", f"{head.seq}:{head.hash} at the end", f"{told.seq}:{told.hash}, its head"
        ), None
    return found, head


def head_of(text: str) -> Head:
    """A head as it is noted, SEQ:HASH. `Refused` "bad-head"."""
    found = _HEAD.fullmatch(text.strip())
    if found is None:
        raise Refused([
            Fault("bad-head", "--head", repr(text[:100]), "SEQ:HASH, an entry number and 64 hexadecimal digits",
                  "as the record prints it")
        ])  # fmt: skip
    return Head(int(found[1]), found[2])


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):  # readers would differ on which one counts
        raise ValueError("a name twice in one object")
    return made


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name}, which is no JSON number")


def _unreadable(found: str, advice: str) -> Refused:
    return Refused([Fault("unreadable-record", "", found, f"a record of version {VERSION}, whole", advice)])
