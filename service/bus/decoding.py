"""Frames to readings, by a map. A bad frame is told, and its sensor says that it has no value; the rest goes on."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from kinematics.errors import Fault, Refused
from kinematics.units import Quantity

from .entries import Entry, Heard, Part
from .frames import Frame
from .framing import Lack, Said, State, apart, named
from .items import Item
from .layouts import Layout
from .pairing import Half, Pairing
from .reading import Reading
from .sensor_map import SensorMap

DECIMALS = 6
"""Of a degree or mm: below every step a sensor has."""
DOOR = {Quantity.ANGLE: ("deg", math.degrees(1.0)), Quantity.LENGTH: ("mm", 1000.0)}
"""What the readings door calls an angle or a length, and how many of it a rad or m is."""
_DEGRADED, _ERROR = 1, 2


@dataclass(frozen=True, slots=True)
class Taken:
    """What one frame gave. `layout`, `values`: what is known of it, mapped or not; `entries`: those it feeds."""

    readings: tuple[Reading, ...] = ()
    faults: tuple[Fault, ...] = ()
    layout: Layout | None = None
    values: Mapping[str, Said] | None = None
    entries: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True)
class _Use:
    """One part of an entry, made ready: items, factors to SI with sign, items of merit, latency and its unit (s)."""

    entry: Entry
    which: int
    layout: Layout
    items: tuple[Item, ...]
    factors: tuple[float, ...]
    merits: tuple[Item, ...]
    latency: str | None
    latency_s: float


class Decoder:
    """Frames of one bus or log, in order. One decoder has the halves of raw sensors that wait, and what was told once."""

    def __init__(self, by: SensorMap) -> None:
        self._groups: dict[tuple[int, int], list[_Use]] = {}
        self._whole: dict[tuple[int, bool], list[_Use]] = {}
        self._pairs: dict[str, Pairing] = {}
        self._told: set[tuple[object, ...]] = set()
        for entry in by.entries:
            if entry.on_bus:
                for which, part in enumerate(entry.parts):
                    use = _use(entry, which, part)
                    self._put(use.layout, part.source, use)
                if entry.raw:
                    self._pairs[entry.sensor] = Pairing(entry.sensor)
        heard = by.receiver
        if heard is not None and heard.part.layout is None:
            heard = None
        self._receiver = heard
        self._heard = None if heard is None else _place(heard.part)
        self._mapped = frozenset(pgn for pgn, _ in self._groups)
        self._layouts: dict[object, Layout] = {}
        for each in by.layouts:
            if each.can_id is not None:
                self._layouts.setdefault((each.can_id, each.extended), each)
            if each.pgn is not None:
                self._layouts.setdefault(each.pgn, each)

    def _put(self, layout: Layout, source: int | None, use: _Use) -> None:
        if source is not None and layout.pgn is not None:
            self._groups.setdefault((layout.pgn, source), []).append(use)
        elif layout.can_id is not None:
            self._whole.setdefault((layout.can_id, layout.extended), []).append(use)

    def take(self, frame: Frame) -> Taken:
        """Readings and faults of one frame; never raises. A frame that is not "data" gives nothing."""
        if frame.kind != "data":
            return Taken()
        whole = (frame.can_id, frame.extended)
        group = apart(frame.can_id) if frame.extended else (-1, -1)
        uses = self._whole.get(whole, []) + self._groups.get(group, [])
        heard = self._receiver if self._heard in (whole, group) else None
        layout = self._layouts.get(whole) or self._layouts.get(group[0])
        if uses:
            layout = uses[0].layout
        elif heard is not None:
            layout = heard.part.layout
        if layout is None:
            return Taken()
        where = named(frame.can_id, extended=frame.extended)
        told: list[Reading | Fault] = []
        values: Mapping[str, Said] | None = None
        try:
            values = layout.read(frame.data, where)
        except Refused as refused:
            if uses or heard is not None:
                told += refused.faults
        for use in uses:
            told += self._used(use, frame, where, values if use.layout is layout else None)
        if heard is not None and values is not None:
            told += _received(heard, frame, where)
        if not uses and heard is None and group[0] in self._mapped and self._first("not-mapped", group):
            told.append(
                Fault("not-mapped", where, f"{layout.name} of a unit that no sensor of the map is", "a sensor for it",
                      "add it to the map, or leave it: nothing of it is read")
            )  # fmt: skip
        entries = {use.entry.sensor: use.entry for use in uses}
        return Taken(
            tuple(each for each in told if isinstance(each, Reading)),
            tuple(each for each in told if isinstance(each, Fault)), layout, values, tuple(entries.values()),
        )  # fmt: skip

    def _first(self, *what: object) -> bool:
        if what in self._told:
            return False
        self._told.add(what)
        return True

    def _used(
        self, use: _Use, frame: Frame, where: str, values: Mapping[str, Said] | None
    ) -> Iterator[Reading | Fault]:
        entry, layout, data = use.entry, use.layout, frame.data
        if len(data) != layout.length:
            yield self._no_value(entry, frame, "wrong length")
            return
        if values is None:
            values = layout.read(data, where)
        if not all(item.name in values for item in use.items):
            return  # another selection of a multiplexed message
        numbers = []
        lack = ""
        for item, factor in zip(use.items, use.factors, strict=True):
            said = values[item.name]
            if isinstance(said, float):
                numbers.append(said * factor)
                continue
            lack = lack or words_of(said)
            if isinstance(said, State) and said.code != "state":
                yield Fault(said.code, f"{where}: {item.name}", str(said), f"a number of {entry.sensor}")
        merits = [int(item.raw(data)) for item in use.merits]
        if _DEGRADED in merits:
            advice = "" if entry.degraded == "take" else 'degraded = "take" in the map takes it all the same'
            yield Fault("degraded", f"{where}: {entry.sensor}", "a merit of degraded", "good", advice)
        if not lack:
            lack = _unfit(merits, entry)
        if lack:
            yield self._no_value(entry, frame, lack)
            return
        late_s = 0.0
        if use.latency is not None:
            late = values.get(use.latency)
            if isinstance(late, float):
                late_s = late * use.latency_s
            elif self._first("late", entry.sensor, use.which):
                yield Fault("latency-not-told", f"{where}: {entry.sensor}", "no latency in its frames", "a latency",
                            "its readings are dated by arrival and the latency of the machine's file")  # fmt: skip
        yield from self._told_as(use, Half(frame.at_s, numbers, late_s))

    def _told_as(self, use: _Use, half: Half) -> Iterator[Reading | Fault]:
        entry = use.entry
        if not entry.raw:
            word, per = DOOR[entry.quantity]
            told = [round(each * per, DECIMALS) for each in half.numbers]
            said = {"sensor": entry.sensor, word: told[0] if len(told) == 1 else told}
            yield Reading(half.at_s, said, half.late_s)
            return
        pair, fault = self._pairs[entry.sensor].take(use.which, half)
        if fault is not None:
            yield fault
        if pair is not None:
            yield raw_reading(entry.sensor, *pair)

    def _no_value(self, entry: Entry, frame: Frame, words: str) -> Reading:
        if entry.raw:
            self._pairs[entry.sensor].drop()
        return Reading(frame.at_s, {"sensor": entry.sensor, "error": words})


def raw_reading(sensor: str, accelerometer: Half, gyro: Half) -> Reading:
    """The reading of a pair, dated by the later half and as old as the older tells."""
    said: dict[str, Any] = {
        "sensor": sensor, "accelerometer_m_s2": [round(each, DECIMALS) for each in accelerometer.numbers],
        "gyro_rad_s": [round(each, DECIMALS + 2) for each in gyro.numbers],
    }  # fmt: skip
    late_s = max(accelerometer.late_s, gyro.late_s)
    return Reading(max(accelerometer.at_s, gyro.at_s), said, late_s)


def _use(entry: Entry, which: int, part: Part) -> _Use:
    layout = part.layout
    assert layout is not None  # noqa: S101 - an entry on the bus has one in each part
    names = part.names
    merits = part.merits or tuple(layout.merits[name] for name in names if name in layout.merits)
    latency = part.latency or layout.latency
    return _Use(
        entry, which, layout, tuple(layout.items[name] for name in names),
        tuple(sign * unit[1] for sign, unit in zip(part.signs, part.units(), strict=True) if unit is not None),
        tuple(layout.items[name] for name in dict.fromkeys(merits)), latency,
        1.0 if latency is not None and layout.items[latency].unit == "s" else 1e-3,
    )  # fmt: skip


def _unfit(merits: Sequence[int], entry: Entry) -> str:
    """Why figures of merit make a sensor's numbers none, "" where they do not."""
    if _ERROR in merits:
        return "error"
    return "degraded" if _DEGRADED in merits and entry.degraded == "error" else ""


def words_of(said: Lack | State) -> str:
    """What stands in place of a number, in words."""
    return said.value if isinstance(said, Lack) else str(said)


def _place(part: Part) -> tuple[int | None, int | bool | None]:
    """How a part's frame is known: (PGN, source) or (identifier, extended)."""
    layout = part.layout
    assert layout is not None  # noqa: S101 - asked of parts on the bus only
    return (layout.can_id, layout.extended) if part.source is None else (layout.pgn, part.source)


def _received(heard: Heard, frame: Frame, where: str) -> Iterator[Reading | Fault]:
    """What the receiver says, as the door takes it; nothing of a frame that tells nothing."""
    layout = heard.part.layout
    assert layout is not None  # noqa: S101 - asked of a receiver on the bus only
    if heard.tells is None:
        yield from _own_frame(layout, frame, where)
        return
    [name], [sign], [unit] = heard.part.names, heard.part.signs, heard.part.units()
    item = layout.items[name]
    if not layout.there(item, frame.data):
        return
    if heard.tells == "hit":
        raw = item.raw(frame.data)
        if raw in (0, 1):
            yield Reading(frame.at_s, {"receiver_hit": (raw == 1) != (sign < 0.0)})
        else:
            yield Fault("out-of-range", f"{where}: {name}", f"{raw:g}", "0 or 1 of the receiver")
        return
    assert unit is not None  # noqa: S101 - a map with a unit not known was refused
    said = item.read(frame.data)
    if isinstance(said, float):
        yield Reading(frame.at_s, {"receiver_above_mm": round(said * unit[1] * sign * 1e3, DECIMALS)})
    else:
        yield Fault("no-value", f"{where}: {name}", words_of(said), "the beam's height over the receiver")


def _own_frame(layout: Layout, frame: Frame, where: str) -> Iterator[Reading | Fault]:
    """Our own frame: the height where it has one, else the bit."""
    above, hit = (layout.items[name].read(frame.data) for name in ("above", "hit"))
    for said in (above, hit):
        if isinstance(said, State) or said is Lack.ERROR:
            yield Fault("no-value", f"{where}: receiver", words_of(said), "a number, or that there is none")
    if isinstance(above, float):
        yield Reading(frame.at_s, {"receiver_above_mm": round(above, DECIMALS)})
    elif isinstance(hit, float):
        yield Reading(frame.at_s, {"receiver_hit": hit == 1.0})
