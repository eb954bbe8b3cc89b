"""How far what is computed from readings moves with each of them: how their noise is carried on."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from .errors import Refused
from .reading_series import Floats, Told
from .sensing import angles_from
from .sensing_solve import Angles
from .sensor_set import SensorSet

_STEP = 1e-5  # rad or m: a curvature of 1 a rad costs 5e-6 of the rate, rounding 1e-10


@dataclass(frozen=True, slots=True)
class Rates:
    """`value` (k,): outputs at the readings. `by`: of each sensor, by name, d output / d number, shape (numbers, k)."""

    value: Floats
    by: Mapping[str, Floats]


def rates(sensors: SensorSet, readings: Mapping[str, Told], outputs: Callable[[Angles], Floats]) -> Rates:
    """Outputs (k,) of the angles that readings give, and their rates by every number read; checks move nothing.

    The edge 8 m ahead, body sensed by gravity and the boom by an encoder: 8 m of height a rad of the encoder.
    Raises `Refused` as `angles_from` and `outputs` do.
    """
    value = outputs(angles_from(sensors, readings))
    plain = SensorSet(sensors.assembly, sensors.sensors) if sensors.checks else sensors
    own = {name: readings[name] for name in plain.sensors}

    def moved(name: str, index: int, step: float) -> Floats:
        said = own[name]
        if isinstance(said, tuple):
            stepped: Told = (said[0] + step, said[1]) if index == 0 else (said[0], said[1] + step)
        else:
            stepped = said + step
        there: Floats = (outputs(angles_from(plain, own | {name: stepped})) - value) / step
        return there

    by: dict[str, Floats] = {}
    for name, said in own.items():
        rows = []
        for index in range(2 if isinstance(said, tuple) else 1):
            try:
                rows.append(moved(name, index, _STEP))
            except Refused:  # at the end of a range or of a joint: the other way
                rows.append(moved(name, index, -_STEP))
        by[name] = np.stack(rows)
    return Rates(value, by)
