"""Which sources of uncertainty are one thing: met again in another stand, each errs there as it did before.

What is believed of a part less what is true of it is one and the same error for as long as the part and its value stay,
however well either is known: so it goes by owner, name and value, not by uncertainties.
"""

import dataclasses
import math
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .parameters import MACHINE_NAMES, NAMES
from .sensor import Mounting, Sensor
from .sensor_set import SensorSet
from .sources import GIVES, Sources

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
_BELOW = ("coupler", "tilt", "rotate")
_OF_RECEIVER = ("receiver_", "mast_")


@dataclass(frozen=True, slots=True)
class Owners:
    """Which machine and which attachment it is, by anything that tells one from another, such as its profile's id; None:
    not known, one is then known by its geometry as a whole, and of two revisions nothing is the same."""

    machine: Hashable = None
    attachment: Hashable = None


class Columns:
    """The sources of several stands, each thing once: those of the present stand first, in their order, then others as
    they are met.

    `standard` of each: the present stand's, of others as they were met last.
    """

    def __init__(self, sensors: SensorSet, sources: Sources, owners: Owners) -> None:
        self._sensors, self._sources, self._owners = sensors, sources, owners
        self.ours = len(sources.names)
        self._standard = sources.standard.tolist()
        self._kinds, self._lasting = sources.kinds.tolist(), sources.lasting.tolist()
        self._keys: dict[Hashable, int] = {}
        self._met: dict[tuple[int, Owners], tuple[Sources, Whole]] = {}

    def meet(self, sensors: SensorSet, sources: Sources, owners: Owners) -> None:
        """Take in the sources of a stand; in the order in which stands followed each other."""
        if sources is self._sources or (id(sources), owners) in self._met:
            return
        if not self._keys:
            keys = keys_of(self._sensors, self._sources, self._owners)
            self._keys = {key: i for i, key in enumerate(keys)}
        at = np.empty(len(sources.names), dtype=np.int64)
        for i, key in enumerate(keys_of(sensors, sources, owners)):
            at[i] = self._keys.setdefault(key, len(self._standard))
            if at[i] == len(self._standard):
                self._standard.append(0.0)
                self._kinds.append(int(sources.kinds[i]))
                self._lasting.append(bool(sources.lasting[i]))
            if at[i] >= self.ours:
                self._standard[at[i]] = float(sources.standard[i])
        self._met[id(sources), owners] = sources, at

    def of(self, sources: Sources, owners: Owners) -> Whole:
        """(sources,): in which column each source of a stand that was met stands."""
        return np.arange(self.ours) if sources is self._sources else self._met[id(sources), owners][1]

    @property
    def standard(self) -> Floats:
        """(columns,): standard uncertainties (rad or m)."""
        return np.array(self._standard)

    @property
    def kinds(self) -> Whole:
        """(columns,): places in `sources.KINDS`."""
        return np.array(self._kinds)

    @property
    def lasting(self) -> NDArray[np.bool_]:
        """(columns,): what stays as it is through all stands."""
        return np.array(self._lasting)


def keys_of(sensors: SensorSet, sources: Sources, owners: Owners) -> list[Hashable]:
    """For each source what makes it the same thing elsewhere: its owner, name and own value.

    A boom_length of 4.6 m of machine "a": ("boom_length", "a", 4.6), of whatever uncertainty and in any of its stands. A
    receiver is one thing with its mast: clamped elsewhere, its place was measured anew. Wear goes with the edge that was
    measured; a zero with how the sensor is mounted; skew with its own turn; drift with the sensor alone.
    """
    assembly = sensors.assembly
    machine, attachment = assembly.machine, assembly.attachment
    carrier = owners.machine
    if carrier is None:
        carrier = dataclasses.replace(machine, receiver=None, uncertainty=None)
    tool = owners.attachment
    if tool is None:
        tool = dataclasses.replace(attachment, coupler_play=None, uncertainty=None)
    values = dict(zip(NAMES, assembly.parameters.view(np.float64).tolist(), strict=True))
    of_gives: dict[str, Hashable] = dict.fromkeys(GIVES, (carrier, tool))
    of_gives[GIVES[0]] = (tool, attachment.edge, attachment.teeth)

    def key(name: str) -> Hashable:
        if name in GIVES:
            return name, of_gives[name]
        if name in values:
            value = None if math.isnan(values[name]) else values[name]
            if name.startswith(_OF_RECEIVER):
                return name, carrier, machine.receiver
            return name, carrier if name in MACHINE_NAMES else tool, value
        named, _, what = name.partition(".")
        sensor = sensors.sensors[named]
        owner = _owner(sensors, named, sensor, carrier, tool)
        return name, owner, _sensed_by(sensor), _mounted(sensor, what.partition(".")[0])

    return [key(name) for name in sources.names]


def _owner(sensors: SensorSet, name: str, sensor: Sensor, carrier: Hashable, tool: Hashable) -> Hashable:
    """Of the attachment's own sensors it alone; a sensor of the machine that sits on the bucket is another on each."""
    if name in sensors.attached or sensor.place in _BELOW:
        return tool
    return (carrier, tool) if sensor.place == "bucket" and sensor.by_gravity else carrier


def _sensed_by(sensor: Sensor) -> Hashable:
    return sensor.place, sensor.measures, sensor.sign, sensor.axis, sensor.side_sign


def _mounted(sensor: Sensor, what: str) -> Hashable:
    """As much of the mounting as this source is an error of."""
    mounting = sensor.mounting
    if what == "zero":
        return mounting
    return mounting.to_left if what == "skew" and isinstance(mounting, Mounting) else None
