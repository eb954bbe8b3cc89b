"""What may be wrong with a machine's readout, by name: every source of uncertainty with its standard uncertainty.

Of n numbers that the sensors say, each has four: its zero and its case's skew, which stay as they are; its noise, anew at
each reading that counts; its drift with temperature. Then every dimension, and what gives: edge wear, pin slop, the
coupler's play, flex. What the profile does not say is taken as usual and told as such.
"""

import difflib
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly
from .errors import Fault, Refused
from .estimates import Estimates
from .machine import Range
from .parameters import NAMES, NAMES_OF, TURNS
from .sensor import Measure, Mounting, Sensor
from .sensor_set import LEAN, SensorSet
from .uncertain_inputs import Inputs

Floats = NDArray[np.float64]


class Kind(StrEnum):
    """What the parts of an uncertainty are told as. Slop, play and flex are an entered estimate of what gives."""

    ZEROS = "sensor zeros"
    SKEW = "sensors skewed"
    NOISE = "sensor noise"
    TEMPERATURE = "temperature"
    DIMENSIONS = "dimensions"
    WEAR = "edge wear"
    SLOP = "pin slop"
    PLAY = "coupler play"
    FLEX = "flex"
    BENCHMARK = "benchmark"
    CONTACT = "benchmark contact"
    LEVEL = "laser level"
    RECEIVER = "receiver"
    CURVATURE = "curvature"
    DISTANCE = "distances"


KINDS = tuple(Kind)
WEAR, SLOP, PLAY, FLEX = range(4)
"""The last four sources, counted from behind the dimensions."""
GIVES = ("edge_wear", "pin_slop", "coupler_play", "flex")
_OF_SENSOR = (("zero", Kind.ZEROS), ("skew", Kind.SKEW), ("noise", Kind.NOISE), ("drift", Kind.TEMPERATURE))
_RECTANGULAR = 1.0 / math.sqrt(12.0)  # of a full width, GUM 4.3.7
MOST_STANDARD_M, MOST_STANDARD_RAD = 1.0, math.radians(10.0)
"""Beyond, a "what if" is in another unit, and nothing would be linear."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What is taken where a profile says nothing (common practice, no source). Standard, m and rad."""

    zero_rad: float = math.radians(0.1)
    zero_m: float = 0.003
    skew: float = math.radians(1.0)
    per_kelvin_rad: float = math.radians(0.005)
    per_kelvin_m: float = 0.0
    lengths: float = 0.005
    angles: float = math.radians(0.2)
    edge_wear: float = 0.005
    pin_slop: float = 0.0015
    coupler_play: float = 0.003
    flex: float = 0.005
    noise: float = math.radians(0.1)


USUAL = Usual()


@dataclass(frozen=True, slots=True, eq=False)
class Sources:
    """The sources of one sensor set, in one order everywhere.

    `names`: "boom.zero", "body.zero.roll", "boom_length", "pin_slop"; `standard` (m,): rad or m, of a drift over the
    temperature that the job allows for; `kinds`: of each its place in `KINDS`; `numbers`: how many the sensors say;
    `lasting`: True of what stays as it is from reading to reading, `lengths`: of what is counted in m; `assumed`: in
    words, what no profile gave. `root` (m, rank) of the correlations between lasting sources, (0, 0) where none is.
    `spares`: of a sensor of two numbers one case is skewed once, "body.skew"; these hold the other's place, and are 0.
    """

    names: tuple[str, ...]
    standard: Floats
    kinds: NDArray[np.int64]
    lasting: NDArray[np.bool_]
    lengths: NDArray[np.bool_]
    numbers: int
    assumed: tuple[str, ...]
    root: Floats
    spares: frozenset[str] = frozenset()

    @property
    def known(self) -> tuple[str, ...]:
        """The names that can be asked for: all but the spares."""
        return tuple(name for name in self.names if name not in self.spares)

    @property
    def noises(self) -> slice:
        """Where the noises stand."""
        return slice(2 * self.numbers, 3 * self.numbers)

    @property
    def drifts(self) -> slice:
        """Where the drifts stand."""
        return slice(3 * self.numbers, 4 * self.numbers)

    @property
    def dimensions(self) -> slice:
        """Where the dimensions stand, in the order of `parameters.NAMES`."""
        return slice(4 * self.numbers, 4 * self.numbers + len(NAMES))


def sources_of(
    sensors: SensorSet, estimates: Estimates, correlations: Sequence[tuple[str, str, float]] = (),
    apart: Collection[str] = (),
) -> Sources:  # fmt: skip
    """Every source of a sensor set's readouts; `correlations`: (source, source, coefficient), both lasting.

    Each takes the place of what the set itself says of that pair (`SensorSet.correlations`: found together by a
    calibration); a source of `apart` hangs together with nothing but what is named here.
    A boom sensor of noise 0.05 deg: "boom.noise" with 0.00087 rad. Raises `Refused`: "unknown-parameter",
    "not-correlated-so" for what is anew at each reading, "given-twice" for a pair named again either way round,
    "not-a-correlation" for a source with itself or coefficients that cannot be together.
    """
    assumed: dict[str, None] = {}
    told = [*_numbers_of(sensors)]
    columns = [_of_sensor(name, sensor, part, assumed) for name, sensor, part in told]
    names = [f"{name}.{what}{part}" for what, _ in _OF_SENSOR for name, _, part in told]
    standard = [column[what] for what in range(len(_OF_SENSOR)) for column in columns]
    n = len(told)
    spares: set[str] = set()
    for i, (name, _, part) in enumerate(told, start=n):
        if part == f".{LEAN[0]}":
            names[i] = f"{name}.skew"
        elif part:
            spares.add(names[i])
            standard[i] = 0.0
    standard[3 * n :] = [value * estimates.temperature for value in standard[3 * n :]]
    kinds = [KINDS.index(kind) for _, kind in _OF_SENSOR for _ in told]
    names += [*NAMES, *GIVES]
    standard += [*_dimensions(sensors.assembly, assumed), *_gives(sensors.assembly, assumed)]
    kinds += [KINDS.index(Kind.DIMENSIONS)] * len(NAMES)
    kinds += [KINDS.index(kind) for kind in (Kind.WEAR, Kind.SLOP, Kind.PLAY, Kind.FLEX)]
    lasting = np.ones(len(names), dtype=np.bool_)
    lasting[2 * n : 4 * n] = False
    lasting[[names.index(name) for name in GIVES[SLOP:]]] = False
    values = np.array(standard)
    said = {frozenset(pair) for *pair, _ in correlations}
    own = [
        each for each in sensors.correlations
        if frozenset(each[:2]) not in said and not {*each[:2]} & {*apart}
    ]  # fmt: skip
    root = _root(tuple(names), values, lasting, frozenset(spares), [*correlations, *own])
    lengths = np.array([
        *[sensor.measures == Measure.LENGTH for _, sensor, _ in told] * len(_OF_SENSOR),
        *[name not in TURNS for name in NAMES], *[name != GIVES[PLAY] for name in GIVES],
    ])  # fmt: skip
    for array in (values, lasting, lengths, root):
        array.flags.writeable = False
    return Sources(
        tuple(names), values, np.array(kinds), lasting, lengths, n, tuple(assumed), root, frozenset(spares)
    )


def with_standard(sources: Sources, standard: Mapping[str, float]) -> Sources:
    """The same sources with other standard uncertainties (m or rad), by the names of `known`.

    Raises `Refused` with all faults: "unknown-parameter", "not-finite", "negative-uncertainty", "out-of-range" beyond
    `MOST_STANDARD_M`, `MOST_STANDARD_RAD`.
    """
    faults: list[Fault] = []
    values, known = sources.standard.copy(), sources.known
    for name, value in standard.items():
        at = sources.names.index(name) if name in known else -1
        if at < 0:
            faults.append(unknown(name, name, known))
        elif not math.isfinite(value):
            faults.append(Fault("not-finite", name, str(value), "a finite number"))
        elif value < 0.0:
            faults.append(
                Fault("negative-uncertainty", name, f"{value:g}", "0 or more", "a size has no sign")
            )
        elif value > (MOST_STANDARD_M if sources.lengths[at] else MOST_STANDARD_RAD):
            unit, most = ("m", MOST_STANDARD_M) if sources.lengths[at] else ("rad", MOST_STANDARD_RAD)
            expected = f"0 to {_shown(most, unit)}"
            faults.append(
                Fault("out-of-range", name, _shown(value, unit), expected, "is it in another unit?")
            )
        else:
            values[at] = value
    if faults:
        raise Refused(faults)
    values.flags.writeable = False
    return replace(sources, standard=values)


def plain_sensors(assembly: Assembly) -> SensorSet:
    """Sensors to reckon with where a profile has none: the body's lean by gravity, each joint by an encoder."""
    turn = Range(-2.0 * math.pi, 2.0 * math.pi)
    body = Sensor(
        place="body", measures=Measure.PITCH_ROLL, sign=1, side_sign=1, mounting=Mounting(0.0),
        range=Range(-math.pi, math.pi), noise=USUAL.noise, latency_s=0.0, age_limit_s=1.0,
    )  # fmt: skip
    encoders = {
        joint: Sensor(
            place=joint, measures=Measure.ANGLE, sign=1, mounting=0.0, range=turn, noise=USUAL.noise, latency_s=0.0,
            age_limit_s=1.0,
        )
        for joint in assembly.ranges
    }  # fmt: skip
    return SensorSet(assembly, {"body": body, **encoders})


def unknown(where: str, name: str, names: Sequence[str]) -> Fault:
    """The fault of a name that is no source."""
    like = difflib.get_close_matches(name, names, n=5, cutoff=0.4) or list(names[:5])
    return Fault(
        "unknown-parameter", where, repr(name[:60]), "a source of uncertainty, such as " + ", ".join(like),
        "ask without it: what comes back lists every source",
    )  # fmt: skip


def _numbers_of(sensors: SensorSet) -> Iterator[tuple[str, Sensor, str]]:
    """(sensor's name, sensor, what is put behind its sources) of each number said, in the order of a `Program`."""
    for name, sensor in sensors.sensors.items():
        parts = tuple(f".{lean}" for lean in LEAN) if sensor.measures == Measure.PITCH_ROLL else ("",)
        for part in parts:
            yield name, sensor, part


def _of_sensor(
    name: str, sensor: Sensor, part: str, assumed: dict[str, None]
) -> tuple[float, float, float, float]:
    by_length = sensor.measures == Measure.LENGTH
    zeros, drift, skew = sensor.zero_uncertainties, sensor.per_kelvin, sensor.skew_uncertainty
    if zeros:
        zero = zeros[1 if part == f".{LEAN[1]}" else 0]
    else:
        zero = USUAL.zero_m if by_length else USUAL.zero_rad
        assumed[f"zero of {name}: {_shown(zero, sensor.unit)}"] = None
    if drift is None:
        drift = USUAL.per_kelvin_m if by_length else USUAL.per_kelvin_rad
        assumed[f"drift of {name}: {_shown(drift, sensor.unit)} per K"] = None
    if not sensor.by_gravity:
        skew = 0.0
    elif skew is None:
        skew = USUAL.skew
        assumed[f"skew of {name}: {_shown(skew, 'rad')}"] = None
    return zero, skew, sensor.noise, drift


def _dimensions(assembly: Assembly, assumed: dict[str, None]) -> Iterator[float]:
    known = {"machine": assembly.machine.uncertainty, "attachment": assembly.attachment.uncertainty}
    owner = {name: kind for kind, names in NAMES_OF.items() for name in names}
    missing = np.isnan(assembly.parameters.view(np.float64)).tolist()
    for name, absent in zip(NAMES, missing, strict=True):
        said = known[owner[name]]
        if absent or name in assembly.lacks:
            yield 0.0
            continue
        of, every = (
            (None, None)
            if said is None
            else (said.of.get(name), said.angles if name in TURNS else said.lengths)
        )
        usual, what, unit = (
            (USUAL.angles, "angles", "rad") if name in TURNS else (USUAL.lengths, "lengths", "m")
        )
        if of is not None:
            yield of
        elif every is not None:
            yield every
        else:
            assumed[f"{what} of the {owner[name]}: {_shown(usual, unit)}"] = None
            yield usual


def _gives(assembly: Assembly, assumed: dict[str, None]) -> Iterator[float]:
    machine, attachment = assembly.machine.uncertainty, assembly.attachment.uncertainty
    told = {
        "edge wear": (None if attachment is None else attachment.edge_wear, USUAL.edge_wear, 1.0),
        "pin slop": (None if machine is None else machine.pin_slop, USUAL.pin_slop, _RECTANGULAR),
        "coupler play": (
            assembly.attachment.coupler_play if assembly.attachment.coupler else 0.0,
            USUAL.coupler_play,
            _RECTANGULAR,
        ),
        "flex": (None if machine is None else machine.flex, USUAL.flex, 1.0),
    }
    for what, (value, usual, factor) in told.items():
        if value is None:
            assumed[f"{what}: {_shown(usual, 'rad' if what == 'coupler play' else 'm')}"] = None
        yield factor * (usual if value is None else value)


def _root(
    names: tuple[str, ...], standard: Floats, lasting: NDArray[np.bool_], spares: frozenset[str],
    correlations: Sequence[tuple[str, str, float]],
) -> Floats:  # fmt: skip
    if not correlations:
        return np.empty((0, 0))
    faults: list[Fault] = []
    table, known = np.eye(len(names)), [name for name in names if name not in spares]
    pairs: set[frozenset[str]] = set()
    for k, (one, other, coefficient) in enumerate(correlations):
        pair = frozenset((one, other))
        if one == other:
            faults.append(
                Fault("not-a-correlation", f"correlations.{k}", f"{one[:60]!r} with itself", "two sources")
            )
        elif pair in pairs:
            faults.append(Fault(
                "given-twice", f"correlations.{k}", f"{one[:60]!r} and {other[:60]!r} again", "each pair once",
                "which was meant is not guessed",
            ))  # fmt: skip
        pairs.add(pair)
        for name in dict.fromkeys((one, other)):
            if name not in known:
                faults.append(unknown(f"correlations.{k}", name, known))
            elif not lasting[names.index(name)]:
                faults.append(Fault(
                    "not-correlated-so", f"correlations.{k}", f"{name!r}, which is anew at each reading",
                    "two sources that stay as they are", "give zeros, skews or dimensions",
                ))  # fmt: skip
        if not faults:
            i, j = names.index(one), names.index(other)
            table[i, j] = table[j, i] = coefficient
    if faults:
        raise Refused(faults)
    try:
        root = Inputs(names, standard, table).root
    except Refused as refused:
        raise Refused(replace(fault, where="correlations") for fault in refused.faults) from None
    if root is None:
        return np.empty((0, 0))
    return np.ascontiguousarray(root)


def _shown(value: float, unit: str) -> str:
    return f"{math.degrees(value):g} deg" if unit == "rad" else f"{value * 1e3:g} mm"
