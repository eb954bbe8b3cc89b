"""What a job says of its surroundings that no sensor reads: how well the edge rests, how level the laser is, how far
things are and how much warmer it gets. From it and from the profiles comes how far a readout is to be trusted.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from .errors import Fault, refuse

# Beyond these a number was meant in another unit. Metres, but for the laser's tilt (rad) and the temperature (K).
MOST: Mapping[str, float] = MappingProxyType({
    "contact": 1.0, "benchmark": 1.0, "receiver": 1.0, "laser_level": math.radians(0.5),
    "places_apart": 2000.0, "laser_distance": 2000.0, "temperature": 100.0, "distance": 1.0,
})  # fmt: skip
_UNIT: Mapping[str, str] = MappingProxyType({"laser_level": "rad", "temperature": "K"})


@dataclass(frozen=True, slots=True)
class Estimates:
    """Sizes without a sign, each 0 or more and at most `MOST`; all defaults are common practice, no source.

    Standard uncertainties: `contact` (m) of the edge's rest on a benchmark or turning point; `benchmark` (m) of a
    benchmark's elevation where it was given none of its own, against the job's datum; `receiver` (m) of one crossing of
    the plane; `laser_level` (rad) of the plane's tilt; `temperature` (K) of how far it has gone since the height was
    set; `distance` (m) of a taped distance or a touched station. Distances that these act over: `places_apart` (m) of
    the receiver's places before and after a move, `laser_distance` (m) the farthest that the receiver is from the
    laser, for the curvature of the earth.

    A plane that tilts by 10 arc seconds is 1.454 mm too high or too low at 30 m.
    Raises `Refused` with every fault: "not-finite"; "out-of-range" with the limit in its numbers.
    """

    contact: float = 0.003
    benchmark: float = 0.0
    receiver: float = 0.0015
    laser_level: float = math.radians(10.0 / 3600.0)
    places_apart: float = 20.0
    laser_distance: float = 50.0
    temperature: float = 10.0
    distance: float = 0.05

    def __post_init__(self) -> None:
        refuse(self.faults())

    def faults(self) -> Iterator[Fault]:
        """What is wrong with it: not finite, negative, or larger than any site has."""
        for name, most in MOST.items():
            value, unit = getattr(self, name), _UNIT.get(name, "m")
            if not math.isfinite(value):
                yield Fault("not-finite", name, str(value), "a finite number")
            elif not 0.0 <= value <= most:
                yield Fault(
                    "out-of-range", name, f"{value:g} {unit}", f"0 to {most:g} {unit}",
                    "a size has no sign: check the unit and the decimal point", {"least": 0.0, "most": most},
                )  # fmt: skip
