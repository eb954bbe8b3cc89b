"""A map of sensors held against the machine that stands on a job, before anything is fed."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from kinematics.errors import Fault
from kinematics.sensor import PLACES
from kinematics.units import Quantity

from .entries import Entry

_QUANTITY = {"deg": Quantity.ANGLE, "mm": Quantity.LENGTH}
_COUNT = {1: "one number", 2: "two numbers, pitch and roll"}


def misfits(
    welcome: Mapping[str, Any], entries: Sequence[Entry], *, partly: bool = False, receiver: bool = False
) -> Iterator[Fault]:
    """Everything in which a map does not fit what a service said that it expects; of an older service what can be seen.

    "no-sensors", "no-such-sensor", "wrong-count", "wrong-unit", "no-raw", "no-receiver", and "not-mapped-sensor" for a
    sensor of the machine that the map does not feed, unless `partly`.
    """
    machine = (welcome.get("machine") or {}).get("id") or "the machine"
    sensors: Mapping[str, Mapping[str, Any]] = welcome.get("sensors") or {}
    if not sensors:
        because = "; ".join(map(str, welcome.get("no_sensors_because") or ()))
        found = because or f"{machine} with no sensors in its profiles"
        yield Fault("no-sensors", "--job", found, "a machine and attachment on the job whose profiles give every joint "
                    "one sensor", "measure and describe its sensors first; see /guide/measuring")  # fmt: skip
        return
    for entry in entries:
        where = f"map: {entry.sensor}"
        expected = sensors.get(entry.sensor)
        if expected is None:
            yield _unknown(entry.sensor, where, machine, sensors)
        else:
            yield from _unlike(entry, where, expected)
    if receiver and welcome.get("receiver") is False:
        yield Fault("no-receiver", "map: receiver", f"a receiver, and {machine} without one", "none",
                    "leave [receiver] out, or describe it in the machine's profile")  # fmt: skip
    if not partly:
        named = {entry.sensor for entry in entries}
        for name in sensors:
            if name not in named:
                yield Fault("not-mapped-sensor", f"map: {name}", f"no entry for {name}, which {machine} has",
                            "one for every sensor, since without it there is no number",
                            "add it to the map, or say --partly where something else feeds it")  # fmt: skip


def _unknown(name: str, where: str, machine: str, sensors: Mapping[str, Mapping[str, Any]]) -> Fault:
    there = ", ".join(sensors)
    places = {str(each.get("place", key)) for key, each in sensors.items()}
    if name in PLACES and name not in places:
        found = f"{name}, where {machine} has no joint with a sensor"
    elif name in PLACES:
        named = ", ".join(key for key, each in sensors.items() if each.get("place") == name)
        found = f"{name}, a place whose sensor is called {named}"
    else:
        found = f"{name}, which {machine} does not have"
    return Fault(
        "no-such-sensor", where, found, f"one of: {there}", "a sensor is called as in the machine's profile"
    )


def _unlike(entry: Entry, where: str, expected: Mapping[str, Any]) -> Iterator[Fault]:
    if entry.raw:
        if expected.get("raw") is False:
            yield Fault("no-raw", where, "accelerometer and gyro", f"{expected.get('unit')}, of a {_kind(expected)}",
                        "only a sensor of gravity is made of raw frames")  # fmt: skip
        return
    numbers, unit = expected.get("numbers"), expected.get("unit")
    if numbers in _COUNT and entry.numbers != numbers:
        yield Fault("wrong-count", where, _COUNT.get(entry.numbers, f"{entry.numbers} numbers"), _COUNT[numbers],
                    f"as its {_kind(expected)} in the profile")  # fmt: skip
    if unit in _QUANTITY and entry.quantity is not _QUANTITY[unit]:
        wanted = f"one of {_QUANTITY[unit].value} ({unit})"
        yield Fault("wrong-unit", where, f"a number of {entry.quantity.value}", wanted,
                    f"as its {_kind(expected)} in the profile")  # fmt: skip


def _kind(expected: Mapping[str, Any]) -> str:
    return str(expected.get("measures", "kind")).replace("-", " ")
