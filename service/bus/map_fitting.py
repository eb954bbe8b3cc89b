"""A map's tables held against its messages: every fault at its line, then entries."""

import math
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from kinematics.errors import Fault, Refused
from kinematics.units import Quantity, sensor_unit
from service.text import nearest, shown

from .dbc import read_dbc
from .entries import Entry, Heard, Part
from .framing import LENGTH
from .items import Item
from .layouts import BUILT_IN, RECEIVED, Layout
from .map_tables import Lines, MapDocument, Of, Receiver, Wired

_MOST_NAMED = 40
_UNITS = {
    Quantity.ANGLE: "deg or rad", Quantity.LENGTH: "mm, cm, m, in or ft", Quantity.ACCELERATION: "m/s2 or g",
    Quantity.RATE: "deg/s or rad/s",
}  # fmt: skip
_CSV = "[csv] with time and time_unit"
_FACTOR = "a factor other than 0, and finite"
_PLAIN = (Quantity.ANGLE, Quantity.LENGTH)


class Fitting:
    """`faults`: all that is wrong; where there is none, `entries`, `receiver` and `layouts` are the map's."""

    def __init__(self, document: MapDocument, lines: Lines, folder: Path) -> None:
        self.faults: list[Fault] = []
        self._lines, self._csv = lines, document.csv is not None
        self._used: dict[tuple[object, ...], str] = {}
        self._unread = False
        own = tuple(layout for i, name in enumerate(document.dbc) for layout in self._dbc(i, folder / name))
        self.layouts: tuple[Layout, ...] = (*own, *BUILT_IN.values(), RECEIVED)
        self.receiver: Heard | None = None
        names = Counter(each.sensor for each in document.sensors)
        made = []
        for i, wired in enumerate(document.sensors):
            at = f"sensors.{i}"
            if names[wired.sensor] > 1:
                self._fault(
                    "name-taken",
                    f"{at}.sensor",
                    f"{shown(wired.sensor)} {names[wired.sensor]} times",
                    "each sensor once",
                )
            parts = self._parts(at, wired)
            if wired.degraded == "take" and not self._unread and not any(_rated(part) for part in parts):
                self._fault(
                    "incomplete",
                    f"{at}.degraded",
                    "degraded, and no signal of merit",
                    "no degraded, or merits",
                )
            made.append(Entry(wired.sensor, parts, wired.degraded, lines.line(at)))
        self.entries: tuple[Entry, ...] = tuple(made)
        if document.receiver is not None:
            self.receiver = self._heard(document.receiver)

    def _fault(self, code: str, at: str, found: str, expected: str, advice: str = "") -> None:
        self.faults.append(Fault(code, self._lines.words(at), found, expected, advice))

    def _dbc(self, i: int, file: Path) -> tuple[Layout, ...]:
        try:
            return read_dbc(file)
        except Refused as refused:
            self._unread = True
            for fault in refused.faults:
                self._fault(
                    fault.code, f"dbc.{i}", f"{file.name}: {fault.found}", fault.expected, fault.advice
                )
            return ()

    def _parts(self, at: str, wired: Wired) -> tuple[Part, ...]:
        raw = [
            (name, getattr(wired, name))
            for name in ("accelerometer", "gyro")
            if getattr(wired, name) is not None
        ]
        if not raw:
            part = self._part(at, wired, None, (1, 2), _PLAIN)
            if len(part.signals) == 2 and any(
                u is not None and u[0] is Quantity.LENGTH for u in part.units()
            ):
                self._fault("wrong-count", at, "2 lengths", "one, or two angles")
            return (part,)
        if len(raw) == 1:
            lacking = "gyro" if raw[0][0] == "accelerometer" else "accelerometer"
            self._fault("incomplete", at, f"{raw[0][0]} without {lacking}", "accelerometer and gyro",
                        "both, or neither and signals that tell the angle")  # fmt: skip
        for key in ("message", "signals", "columns", "unit", "merits", "latency"):
            if getattr(wired, key) is not None:
                self._fault(
                    "incomplete",
                    f"{at}.{key}",
                    f"{key} beside {raw[0][0]}",
                    f"{key} within accelerometer and gyro",
                )
        wanted = {"accelerometer": Quantity.ACCELERATION, "gyro": Quantity.RATE}
        parts = tuple(self._part(f"{at}.{name}", of, wired.source, (3,), (wanted[name],)) for name, of in raw)
        if len({part.layout is None for part in parts}) > 1 and not self._unread:
            self._fault("incomplete", at, "one part a message, the other columns", "both the same")
        return parts

    def _part(
        self, at: str, of: Of, source: int | None, counts: Sequence[int], wanted: Sequence[Quantity]
    ) -> Part:
        if of.source is not None and source is not None and not isinstance(of, Wired):
            self._fault("given-twice", f"{at}.source", "source here and at the sensor", "one of them")
        source = source if of.source is None else of.source
        if of.message is not None and of.columns is not None:
            self._fault("incomplete", at, "message and columns", "one of them")
        if of.columns is not None and of.message is None:
            return self._columns(at, of, counts, wanted)
        names = tuple(of.signals or ())
        if of.message is None:
            self._fault("incomplete", at, "neither message nor columns", "message with signals, or columns")
            return Part(None, source, ())
        self._count(f"{at}.signals", "signals", names, counts)
        layout = self._layout(f"{at}.message", of.message, names, at, "signals")
        if layout is None:
            return Part(None, source, ())
        self._addressed(at, layout, source)
        part = Part(layout, source, names, of.unit, tuple(of.merits or ()), of.latency)
        self._extras(at, part)
        self._units(at, part, wanted)
        self._once(at, part)
        return part

    def _columns(self, at: str, of: Of, counts: Sequence[int], wanted: Sequence[Quantity]) -> Part:
        names = tuple(of.columns or ())
        if not self._csv:
            self._fault("incomplete", f"{at}.columns", "columns, and no table [csv]", _CSV)
        for key in ("signals", "source", "merits", "latency"):
            if getattr(of, key) is not None:
                self._fault("incomplete", f"{at}.{key}", f"{key} beside columns", f"no {key}")
        self._count(f"{at}.columns", "columns", names, counts)
        part = Part(None, None, names, of.unit)
        self._units(at, part, wanted)
        self._once(at, part)
        return part

    def _count(self, at: str, what: str, names: Sequence[str], counts: Sequence[int]) -> None:
        if len(names) not in counts:
            wanted = " or ".join(map(str, counts))
            self._fault(
                "wrong-count",
                at,
                f"{len(names)} {what}",
                wanted + (": ahead, left, up" if counts == (3,) else ""),
            )

    def _layout(self, at: str, name: str, signals: Sequence[str], place: str, key: str) -> Layout | None:
        here = [layout for layout in self.layouts if layout.name == name and layout is not RECEIVED]
        if not here and self._unread:  # it may stand in the file that was not read
            return None
        if not here:
            known = sorted({layout.name for layout in self.layouts if layout is not RECEIVED})
            self._fault("unknown-message", at, shown(name), "one of: " + _few(known), nearest(name, known))
            return None
        plain = [each.removeprefix("-") for each in signals]
        fit = [layout for layout in here if all(each in layout.items for each in plain)]
        if len(fit) == 1:
            if fit[0].length > LENGTH:
                self._fault("too-long", at, f"{name} of {fit[0].length} bytes", f"at most {LENGTH} bytes",
                            "messages in several frames (transport protocol) and CAN FD are not read")  # fmt: skip
            return fit[0]
        if fit:
            where = ", ".join(each.origin or "built in" for each in fit)
            self._fault(
                "unknown-message", at, f"{shown(name)} {len(fit)} times: {where}", "one", "take one out"
            )
            return None
        if self._unread and all(layout.origin for layout in here):
            return None
        known = [item for layout in here for item in layout.items]
        unknown = [each for each in plain if each not in known]
        for each in unknown:
            self._fault(
                "unknown-signal", f"{place}.{key}", shown(each), f"one of {name}: " + _few(known), nearest(each, known)
            )  # fmt: skip
        if not unknown:
            self._fault(
                "unknown-signal", f"{place}.{key}", f"signals of {len(here)} messages {name}", "those of one"
            )
        return None

    def _addressed(self, at: str, layout: Layout, source: int | None) -> None:
        if source is not None and layout.pgn is None:
            self._fault("no-source", f"{at}.source", f"a source, and {layout.name} not known by its PGN",
                        'VFrameFormat "J1939PG" of the message in its DBC',
                        f"or leave source out: then it is identifier 0x{layout.can_id or 0:X} alone")  # fmt: skip
        if source is None and layout.can_id is None:
            self._fault("no-source", at, "no source", f"the source address of the unit that sends {layout.name}",
                        "tipdatum sniff tells which there are")  # fmt: skip

    def _extras(self, at: str, part: Part) -> None:
        layout = part.layout
        assert layout is not None  # noqa: S101 - asked of messages only
        named = [("merits", each) for each in part.merits]
        named += [] if part.latency is None else [("latency", part.latency)]
        if named and not layout.origin:
            self._fault(
                "incomplete",
                f"{at}.{named[0][0]}",
                f"{named[0][0]} of a message built in",
                f"no {named[0][0]}: it is known",
            )
            return
        for key, each in named:
            if each not in layout.items:
                known = list(layout.items)
                self._fault(
                    "unknown-signal",
                    f"{at}.{key}",
                    shown(each),
                    f"one of {layout.name}: " + _few(known),
                    nearest(each, known),
                )
            elif key == "latency" and layout.items[each].unit not in ("ms", "s"):
                self._fault(
                    "no-unit",
                    f"{at}.{key}",
                    f"the unit {shown(layout.items[each].unit)}",
                    "ms or s in the DBC",
                )

    def _units(self, at: str, part: Part, wanted: Sequence[Quantity]) -> None:
        words = " or ".join(_UNITS[each] for each in wanted)
        given = None if part.unit is None else sensor_unit(part.unit)
        if part.unit is not None and (given is None or given[0] not in wanted):
            self._fault("no-unit", f"{at}.unit", shown(part.unit), words)
            return
        seen = set()
        for name, unit in zip(part.names, part.units(), strict=True):
            own = "" if part.layout is None else part.layout.items[name].unit
            if part.layout is not None and not scaled(part.layout.items[name]):
                self._fault(
                    "bad-factor", at, f"{name} with a factor of {part.layout.items[name].bit:g}", _FACTOR
                )
            if unit is None:
                found = "no unit" if not own else f"{name} in {shown(own)}, a unit that is not known"
                self._fault("no-unit", at, found, f"unit = {words}")
            elif unit[0] not in wanted:
                self._fault("no-unit", at, f"{name} in {shown(own)}", words)
            elif given is not None and given != unit:
                self._fault(
                    "contradicts",
                    f"{at}.unit",
                    f"{shown(part.unit)}, and {name} in {shown(own)}",
                    "no unit here",
                )
            else:
                seen.add(unit[0])
        if len(seen) > 1:
            self._fault("no-unit", at, "an angle and a length", "numbers of one kind")

    def _once(self, at: str, part: Part) -> None:
        for name in part.names:
            layout = part.layout
            what = ("", name) if layout is None else (layout.origin, layout.name, part.source, name)
            first = self._used.setdefault(what, at)
            if first != at or part.names.count(name) > 1:
                self._fault(
                    "given-twice", at, f"{name}, as at {self._lines.words(first)}", "each number once"
                )

    def _heard(self, told: Receiver) -> Heard | None:
        if told.message is None and told.column is None:
            return self._own_frame(told)
        at = "receiver"
        if told.tells is None:
            self._fault("incomplete", at, "no tells", 'tells = "hit" or "above"')
        if told.tells == "hit" and told.unit is not None:
            self._fault("incomplete", f"{at}.unit", "a unit of hit or not", "no unit")
        part = self._heard_in_column(told) if told.column is not None else self._heard_in_message(told)
        if part is None:
            return None
        if told.tells == "above":
            self._units(at, part, (Quantity.LENGTH,))
        self._once(at, part)
        return Heard(part, told.tells)

    def _own_frame(self, told: Receiver) -> Heard:
        for key in ("signal", "tells", "unit"):
            if getattr(told, key) is not None:
                self._fault(
                    "incomplete", f"receiver.{key}", f"{key} without message or column", "source alone"
                )
        if told.source is None:
            self._fault("incomplete", "receiver", "nothing of it", "source, or message and signal, or column")
        return Heard(Part(RECEIVED, told.source, ("hit", "above")))

    def _heard_in_column(self, told: Receiver) -> Part | None:
        if told.message is not None or told.signal is not None or told.source is not None:
            self._fault("incomplete", "receiver", "column beside message, signal or source", "one of them")
            return None
        if not self._csv:
            self._fault("incomplete", "receiver.column", "a column, and no table [csv]", _CSV)
        return Part(None, None, (told.column or "",), told.unit)

    def _heard_in_message(self, told: Receiver) -> Part | None:
        if told.signal is None or told.message is None:
            self._fault("incomplete", "receiver", "message without signal", "signal = one of the message's")
            return None
        layout = self._layout("receiver.message", told.message, (told.signal,), "receiver", "signal")
        if layout is None:
            return None
        self._addressed("receiver", layout, told.source)
        return Part(layout, told.source, (told.signal,), told.unit)


def _rated(part: Part) -> bool:
    """Whether a part's message tells how good its numbers are."""
    merits = {} if part.layout is None else part.layout.merits
    return bool(part.merits) or any(name in merits for name in part.names)


def scaled(item: Item) -> bool:
    """Whether other bits give another number."""
    return item.bit != 0.0 and math.isfinite(item.bit) and math.isfinite(item.offset)


def _few(names: Sequence[str]) -> str:
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
