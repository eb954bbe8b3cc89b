"""A file's text with what a calibration found: zeros, dimensions, how well each is known, and where that came from."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from kinematics.errors import Fault, refuse
from kinematics.parameters import NAMES, TURNS, values_of
from kinematics.sensor import Mounting, Sensor
from kinematics.sources import USUAL

from .calibrated import of_file
from .keys import Holder, Key, NoKey, dotted, holders, not_written
from .loader import Profile, parse_profile
from .remounted import put_turn
from .rewriting import DECIMALS, Rewriting, known_to, per, written

_STEPS = 1.5
"""Half a digit of the key itself, half of the one it is less, and as much again of rounding."""


@dataclass(frozen=True, slots=True)
class NewValue:
    """What was found of one unknown, rad or m: its value and its standard uncertainty."""

    value: float
    standard: float


@dataclass(frozen=True, slots=True)
class Also:
    """A key that was no unknown and changes all the same, in the file's units, and why."""

    key: str
    was: float | None
    now: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Recalibrated:
    """The new text, and what else it changes than what was found."""

    text: str
    also: tuple[Also, ...]


def recalibrated(
    profile: Profile, found: Mapping[str, NewValue], table: Mapping[str, Any], observed: Collection[str] = ()
) -> Recalibrated:  # fmt: skip
    """The text of `profile` with `found` in it, by the names of `sources.Sources` that are this file's own.

    `table`: [calibration] but for `of` and `from_revision`. `observed`: the points of the bucket that anything was seen
    of; a row of points that one key moves can be written as one of them was found only where the others were not.
    A boom_length of 4.6062 m in a file in mm: `length = 4606.2`, and the foot of the stick's cylinder, taped from the
    boom foot, goes along. Raises `Refused` with every fault: "unknown-parameter", "not-written-so" for what no single
    key holds, and as `Rewriting.done`.
    """
    writer = _Writer(profile, found, observed)
    refuse(writer.faults())
    writer.dimensions()
    writer.zeros()
    writer.lost()
    writer.text.drop_table("restored")  # what was restored ends here
    unit_of = writer.unit_of
    of = {
        name: {
            "was": written(writer.before[name], unit_of(name)),
            "found": written(new.value, unit_of(name)),
            "standard": known_to(new.standard, unit_of(name)),
        }
        for name, new in found.items()
    }
    writer.text.put_table("calibration", {**table, "from_revision": profile.content_hash, "of": of})
    text = writer.text.done()
    writer.prove(text)
    return Recalibrated(text, tuple(writer.also))


class _Writer:
    def __init__(self, profile: Profile, found: Mapping[str, NewValue], observed: Collection[str]) -> None:
        self.profile, self.found, self.observed = profile, found, observed
        self.text = Rewriting(profile)
        self.held: dict[str, Holder] = holders(profile.document)
        self.values = values_of(profile.geometry)
        self.zeros_at = dict(_zeros(profile))
        self.before = {
            name: self.values[name] if name in self.values else self._zero(name)
            for name in found
            if name in self.values or name in self.zeros_at
        }
        self.also: list[Also] = []

    def unit_of(self, name: str) -> str:
        """The file's unit of a source."""
        units = self.text.units
        if name in NAMES:
            return units["angle" if name in TURNS else "length"]
        return units["length" if self.profile.sensors[self.zeros_at[name][0]].unit == "m" else "angle"]

    def faults(self) -> list[Fault]:
        faults: list[Fault] = []
        for name, new in self.found.items():
            held = self.held.get(name)
            if name not in self.before or (held is None and name in NAMES):
                known = ", ".join([*self.zeros_at, *self.held])
                faults.append(Fault("unknown-parameter", name, repr(name[:60]), f"one of {known}"))
            elif isinstance(held, NoKey):
                faults.append(not_written(name, held, self._as_plane(held)))
            elif held is not None:
                apart = [
                    each for each in held.shared
                    if each in self.found and abs(self.found[each].value - self.values[each]
                                                  - (new.value - self.values[name])) > per(self.unit_of(name)) * 0.01
                ]  # fmt: skip
                if apart and name < apart[0]:
                    faults.append(Fault(
                        "not-written-so", name, f"{name} and {', '.join(apart)} moved unlike, at {dotted(held.path)}",
                        "points of one key that move alike", "one of them as unknown, or bucket.edge.points",
                    ))  # fmt: skip
                stay = [
                    each for each in held.shared
                    if each not in self.found and each.rpartition("_")[0] in self.observed
                ]  # fmt: skip
                if stay:
                    faults.append(Fault(
                        "not-written-so", name, f"{name} without {', '.join(stay)}, which were observed where they are, "
                        f"at {dotted(held.path)}", "points of one key that move alike",
                        "all of them as unknowns, or give them by bucket.edge.points",
                    ))  # fmt: skip
        for name, held in self.held.items():
            if isinstance(held, NoKey) and held.between in self.found and name.endswith("_x"):
                faults.append(not_written(held.between, NoKey(held.paths, "moves what is taped from both its pins"),
                                          self._as_plane(held)))  # fmt: skip
        return faults

    def _as_plane(self, held: NoKey) -> str:
        """How the point would be said so that it can be written: x and z as the tapes give them now."""
        if held.plane is None:
            return ""
        unit = self.text.units["length"]
        stem = next(name for name, each in self.held.items() if each == held or (
            isinstance(each, NoKey) and each.plane == held.plane)).rpartition("_")[0]  # fmt: skip
        x, z = (
            written(self.values[f"{stem}_{axis}"] + self._less(f"{stem}_{axis}", self.values), unit)
            for axis in "xz"
        )
        return f"write it as {dotted(held.plane)} = {{ x = {x}, z = {z} }} first: it is the same point"

    def _less(self, name: str, values: Mapping[str, float]) -> float:
        held = self.held[name]
        return values[held.less] if held.less else 0.0

    def lost(self) -> None:
        """What was found together earlier, still stands, and counts by itself from now on: the table is made anew."""
        said = of_file(self.profile.document)
        kept = [] if said is None else [name for name in said.names if name not in self.found]
        if said is not None and len(said.names) > 1 and kept:
            why = f"{', '.join(kept)} found together earlier count by themselves now: name all that hang together again"
            self.also.append(Also("calibration.correlations", None, None, why))

    def dimensions(self) -> None:
        """Every key whose parameter was found, and those that are reckoned from one that moved."""
        new = {
            **self.values,
            **{name: each.value for name, each in self.found.items() if name in self.values},
        }
        for name, held in self.held.items():
            if not isinstance(held, Key):
                continue
            own = name in self.found
            if own or held.less in self.found:
                unit = self.unit_of(name)
                was, now = self.text.get(held.path), written(new[name] + self._less(name, new), unit)
                if was != now:
                    self.text.put(held.path, now)
                if was != now and not own:
                    why = f"taped from the pin that {held.less} is measured from, so that {name} stays"
                    self.also.append(Also(dotted(held.path), was, now, why))
            if own:
                standard = known_to(self.found[name].standard, self.unit_of(name))
                self.text.put(("uncertainty", "of", name), standard)

    def zeros(self) -> None:
        """Every sensor's zero that was found, and how well it is known."""
        for name, new in self.found.items():
            if name not in self.zeros_at:
                continue
            sensor, key = self.zeros_at[name]
            unit = self.unit_of(name)
            if key:
                put_turn(self.text, sensor, key, new.value)
            else:
                self.text.put(("sensors", sensor, "mounting"), written(new.value, unit))
            known = {"zero": "zero_uncertainty", "skew": "skew_uncertainty"}.get(name.rpartition(".")[2])
            if known is not None:
                self.text.put(("sensors", sensor, known), known_to(new.standard, unit))
        for sensor in dict.fromkeys(self.zeros_at[name][0] for name in self.found if name in self.zeros_at):
            if any(name.startswith(f"{sensor}.zero.") for name in self.found):
                self._both(sensor)

    def _both(self, sensor: str) -> None:
        """A pitch-roll's two zeros; the one that was not found stays as well known as it was."""
        unit, at = self.text.units["angle"], ("sensors", sensor, "zero_uncertainty")
        before = self.profile.sensors[sensor].zero_uncertainties or (USUAL.zero_rad,) * 2
        table = {}
        for part, old in zip(("pitch", "roll"), before, strict=True):
            new = self.found.get(f"{sensor}.zero.{part}")
            table[part] = known_to(old if new is None else new.standard, unit)
            if new is None and self.text.get(at) is None:
                self.also.append(
                    Also(f"{dotted(at)}.{part}", None, table[part], "as is usual where a file says nothing")
                )
        self.text.put(at, table)

    def _zero(self, name: str) -> float:
        sensor, key = self.zeros_at[name]
        mounting = self.profile.sensors[sensor].mounting
        return mounting if isinstance(mounting, float) else float(getattr(mounting, key))

    def prove(self, text: str) -> None:
        """Raise `Refused` unless the new file gives every parameter as it was found, and all others as they were."""
        read = parse_profile(text)
        faults = []
        for name, value in values_of(read.geometry).items():
            held = self.held.get(name)
            new = self.found.get(name)
            if new is None and isinstance(held, Key) and any(each in self.found for each in held.shared):
                continue
            wanted = self.values[name] if new is None else new.value
            unit = self.unit_of(name)
            if abs(value - wanted) > _STEPS * 10.0 ** -DECIMALS[unit] * per(unit):
                faults.append(Fault(
                    "not-written-so", name, f"{name}, which would be {value:.6g} in the file", f"{wanted:.6g}",
                    "leave it out of the unknowns",
                ))  # fmt: skip
        refuse(faults)


def _zeros(profile: Profile) -> list[tuple[str, tuple[str, str]]]:
    """(name of the source, (sensor, key of its mounting)) of every zero and skew of a file; "" where the mounting is a
    number."""
    return [pair for name, sensor in profile.sensors.items() for pair in _zeros_of(name, sensor)]


def _zeros_of(name: str, sensor: Sensor) -> list[tuple[str, tuple[str, str]]]:
    if not isinstance(sensor.mounting, Mounting):
        return [(f"{name}.zero", (name, ""))]
    skew = (f"{name}.skew", (name, "to_left"))
    if sensor.side_sign is not None:
        return [(f"{name}.zero.pitch", (name, "nose_up")), (f"{name}.zero.roll", (name, "left_up")), skew]
    return [(f"{name}.zero", (name, "left_up" if sensor.axis == "left" else "nose_up")), skew]
