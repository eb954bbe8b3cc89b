"""What the live door runs thousands of times a second, made ready on a thread before the first reading comes.

Machine code is made at the first call and kept on disk; the first ever takes seconds, which no stream should wait for.
"""

import contextlib
from functools import cache
from itertools import product

import numpy as np

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.digits import PLAIN, Figure, Plate
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.grade import Layer, Target
from kinematics.leaf import Leaf
from kinematics.levelling import Book, Known
from kinematics.machine import Attachment, Machine
from kinematics.observed import chained
from kinematics.rates_at import RatesAt
from kinematics.readout import Aim, readout
from kinematics.sensing import angles_from, readings_of
from kinematics.sensitivity import coupler_play
from kinematics.sensor_set import SensorSet
from kinematics.sources import sources_of
from kinematics.trials import trials
from kinematics.trust import Trust
from machine_profiles import shipped
from machine_profiles.sensor_pair import sensor_set


@cache
def warm_shipped() -> None:
    """Have it compiled for the first pair of shipped profiles that has sensors, before the service says where it is."""
    profiles = shipped().values()
    pairs = product(
        *(
            [each for each in profiles if each.kind == kind and each.sensors]
            for kind in ("machine", "attachment")
        )
    )
    for machine, attachment in pairs:
        carrier, tool = machine.geometry, attachment.geometry
        if isinstance(carrier, Machine) and isinstance(tool, Attachment):
            with contextlib.suppress(Refused):  # not every pair fits
                sensors = sensor_set(machine, attachment, assemble(carrier, tool))
                if sensors is not None:
                    warm(sensors)
                    return


def warm(sensors: SensorSet) -> None:
    """Have all of it compiled, by readings that are none."""
    zero = Known(0.0, frozenset())
    aim = Aim(Target("none", "none", (Layer("none", 1.0),), 0.0, 0.03), zero)
    book = Book(setup=1, height=zero)
    estimates = Estimates()
    sources = sources_of(sensors, estimates)
    nothing = chained({}, {}, {}, estimates, sensors, sources)
    trust = Trust(sensors, sources, estimates, nothing, nothing)
    leaf = Leaf(sensors, book, aim, trust=trust)
    none = np.full(len(leaf.said_by), np.nan)
    leaf.read(none)
    trust.judge(none, leaf.q)
    Plate([b"", b""], [Figure(0, 1.0, 3, PLAIN)]).fill(np.zeros(1))
    # And the way that tells every fault and warning.
    middle = {name: 0.5 * (each.low + each.high) for name, each in sensors.assembly.ranges.items()}
    with contextlib.suppress(Refused):  # of a machine that cannot stand so the first readout is a slow one
        found = pose(sensors.assembly, pitch=0.0, roll=0.0, **middle)
        readout(found, book, aim)
        coupler_play(found, "centre")
        RatesAt(sensors, sources).of_height(found, "centre")
        trials(sensors, sources, estimates, {}, {}, {}, found, count=100)
        angles_from(sensors, readings_of(sensors, found))
