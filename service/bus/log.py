"""Any log as readings in order: NDJSON, CSV, CAN frames."""

import time
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from kinematics.errors import Fault, Refused
from service.text import shown

from .can_log import LOGS, read_frames
from .csv_log import CSV, read_csv
from .decoding import Decoder
from .ndjson_log import NDJSON, read_ndjson
from .reading import Reading
from .sensor_map import SensorMap, map_beside, read_map, refuse_columns, refuse_messages
from .watch import Watch

ENDINGS = (NDJSON, CSV, *LOGS)
MOST_FAULTS = 100
TELL_EVERY_S, _LOOK_EVERY = 10.0, 100


@dataclass(frozen=True, slots=True)
class Log:
    """Readings in order of time, `t_s` as in the log.

    Of a CAN log: `frames` in all; `ignored` gave no reading and had no fault; `kinds`: those that are no data frames, by
    kind, and "passed over", lines of others; `faults`: what was wrong on the bus, as `Watch` tells it. `broken`: why it
    was read no further. `map`: what it was read by.
    """

    signals: tuple[Reading, ...]
    frames: int = 0
    ignored: int = 0
    kinds: dict[str, int] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    broken: Fault | None = None
    map: SensorMap | None = None


def read_log(
    file: Path,
    map_file: Path | None = None,
    *,
    as_far: bool = False,
    say: Callable[[str], None] = lambda _: None,
) -> Log:
    """A log by its ending: .ndjson, or .csv and CAN logs with a map, the one beside the log if none is given.

    `say` is told that reading begins, and every 10 s how far it has come. Raises `Refused` with every faulty line, by
    number, at most 100, and what `read_frames`, `read_csv`, `read_ndjson` and `read_map` refuse; "wrong-map",
    "empty-log". With `as_far` what comes before the first fault of the log itself is taken.
    """
    ending = file.suffix.lower()
    if ending not in ENDINGS:
        raise Refused([wrong_ending("LOG", file)])
    if ending == NDJSON:
        if map_file is not None:
            raise Refused(
                [Fault("bad-option", "--map", str(map_file), f"no map for {NDJSON}: it names its sensors")]
            )
        say(f"Reading {file.name}.")
        log = _lines(read_ndjson(file), _Progress("readings", say), as_far=as_far)
    else:
        map_file = map_beside(file) if map_file is None else map_file
        by = read_map(map_file)
        if ending in LOGS:
            refuse_columns(by, map_file, "a CAN log")
        else:
            refuse_messages(by, map_file)
        say(f"Reading {file.name}.")
        log = (
            _frames(file, by, _Progress("frames", say), as_far=as_far)
            if ending in LOGS
            else _lines(read_csv(file, by), _Progress("readings", say), as_far=as_far, by=by)
        )
    if not log.signals:
        told = list(log.faults[:MOST_FAULTS])
        told += [] if log.broken is None else [log.broken]
        found = f"no reading, {log.ignored} frames of others"
        raise Refused([Fault("empty-log", str(file), found, "at least one"), *told])
    return log


class _Progress:
    """Says every 10 s how many of a log were read, and how many of its seconds."""

    def __init__(self, what: str, say: Callable[[str], None]) -> None:
        self._what, self._say = what, say
        self._count = 0
        self._first_s = 0.0
        self._told = time.monotonic()

    def take(self, at_s: float) -> None:
        """One more, got at a second of the log."""
        if not self._count:
            self._first_s = at_s
        self._count += 1
        if not self._count % _LOOK_EVERY and (now := time.monotonic()) - self._told >= TELL_EVERY_S:
            self._told = now
            self._say(f"{self._count} {self._what} so far, {at_s - self._first_s:.0f} s of the log.")


def wrong_ending(option: str, file: Path, endings: Iterable[str] = ENDINGS) -> Fault:
    """The fault of a log whose ending says no kind."""
    return Fault("bad-option", option, shown(file.name), "a name that ends in " + ", ".join(endings))


def _lines(
    items: Iterable[Reading | Fault], progress: _Progress, *, as_far: bool, by: SensorMap | None = None
) -> Log:
    signals: list[Reading] = []
    faults: list[Fault] = []
    for item in items:
        if isinstance(item, Reading):
            signals.append(item)
            progress.take(item.t_s)
            continue
        if as_far:
            return Log(tuple(signals), broken=item, map=by)
        faults.append(item)
        if len(faults) == MOST_FAULTS:
            break
    if faults:
        raise Refused(faults)
    return Log(tuple(signals), map=by)


def _frames(file: Path, by: SensorMap, progress: _Progress, *, as_far: bool) -> Log:
    decoder, watch = Decoder(by), Watch(by)
    signals: list[Reading] = []
    kinds: Counter[str] = Counter()
    last_s = 0.0
    frames = ignored = 0
    broken = None
    try:
        for frame in read_frames(file, kinds):
            frames += 1
            last_s = frame.at_s
            progress.take(last_s)
            if frame.kind != "data":
                kinds[frame.kind] += 1
            taken = decoder.take(frame)
            signals += watch.take(frame, taken)
            # A half of a raw pair gives no reading yet, and is none of others' frames.
            ignored += frame.kind == "data" and not (taken.readings or taken.faults or taken.entries)
    except Refused as refused:
        if not (as_far and frames):
            raise
        broken = refused.faults[0]
    findings = watch.end(last_s)
    if (channels := kinds.pop("channels", 0)) > 1:
        findings.append(
            Fault("channels", str(file), f"frames of {channels} buses in one log", "one",
                  "they are read as if they were of one: log the buses apart if they share addresses")
        )  # fmt: skip
    signals.sort(key=lambda signal: signal.t_s)
    return Log(tuple(signals), frames, ignored, dict(kinds), tuple(findings), broken, by)
