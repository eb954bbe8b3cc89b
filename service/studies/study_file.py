"""A study's file read: TOML text to a `Plan`, every fault at its line."""

import math
from collections.abc import Iterable, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from kinematics.assembly import Assembly
from kinematics.envelope import DIMENSIONS, FLOOR_M
from kinematics.errors import Fault, Refused, refuse
from kinematics.hydraulics import Hydraulics
from kinematics.study import Metric, Study, asked_faults, parameter_faults, study
from kinematics.study_design import MOST_ROWS, Design, Levels, Normal, Uniform, Variation, designed
from kinematics.study_envelope import EnvelopeAsked
from kinematics.study_poses import MOST_POSES, Poses, poses_for

from . import tables
from .plan import Plan, angle_factor, identity, length_factor, output_column, parameter_column
from .reading import Find, caught, read_head
from .tables import StudyDocument, Vary

_SOMEWHERE = {"angles": 0.0, "cylinders": 1.0, "travel": 0.5}
_FILLERS = {
    "schema": 1, "kind": "study", "name": "?", "machine": "?", "attachment": "?",
    "units": {"length": "m", "angle": "rad"}, "design": {"kind": "random", "rows": 1, "seed": 0},
    "vary": {"boom_length": {"standard": 1.0}}, "poses": {"combine": "together"}, "results": {"each": "pose"},
}  # fmt: skip


def read_study(text: str, file: str, find: Find) -> Plan:
    """A study from TOML text. Raises `Refused` with every fault at once, each at its line: of keys and types, of
    profiles, and of all that does not fit them; alone where the text is no TOML."""
    head = read_head(text, file, find, StudyDocument, _FILLERS)
    document, machine, attachment = head.document, head.machine, head.attachment
    asked: Study | None = None
    if document is not None and machine is not None and head.assembly is not None:
        asked, faults = asked_of(document, head.assembly, machine.hydraulics, head.broken)
        head.add(faults)
    refuse(head.faults)
    if document is None or machine is None or attachment is None or asked is None:
        raise TypeError("no fault, and yet no study")
    return Plan(text, document, machine, attachment, asked, identity(document, machine, attachment))


def asked_of(
    document: StudyDocument, assembly: Assembly, hydraulics: Hydraulics | None, broken: frozenset[str] = frozenset()
) -> tuple[Study | None, list[Fault]]:  # fmt: skip
    """The study of a document, in metres and radians, or every fault at its dotted place. `broken`: keys that stand in
    part or not at all for those of a file; what hangs on them is not looked at."""
    faults: list[Fault] = []
    design = poses = None
    if broken & {"design", "units"}:
        faults += (
            []
            if "vary" in broken
            else [f.at("vary") for f in parameter_faults(assembly, tuple(document.vary))]
        )
    else:
        design = caught(
            faults, lambda: _design(document, assembly, whole=not broken & {"vary", "correlations"})
        )
    if not broken & {"poses", "units"}:
        poses = caught(faults, lambda: _poses(document, assembly))
    metrics = [_metric(each, document) for each in document.metrics]
    results, envelope = document.results, _envelope(document)
    if "results" not in broken:
        faults += _result_faults(document)
        found = asked_faults(
            assembly, tuple(document.vary), None if poses is None else poses.count, outputs=results.outputs,
            traits=results.traits, metrics=metrics, hydraulics=hydraulics, envelope=envelope,
        )  # fmt: skip
        faults += [
            _under_results(f) for f in found if not (f.code == "nothing-asked" and "metrics" in broken)
        ]
    if faults or broken or design is None or poses is None:
        return None, faults
    return study(
        assembly, design, poses, outputs=results.outputs, traits=results.traits, metrics=metrics,
        partial=results.partial, hydraulics=hydraulics, envelope=envelope,
    ), []  # fmt: skip


def _under_results(fault: Fault) -> Fault:
    head = fault.where.partition(".")[0]
    return fault if head in ("metrics", "envelope") else fault.at("results")


def _envelope(document: StudyDocument) -> EnvelopeAsked:
    given = document.envelope or tables.Envelope()
    length, angle = length_factor(document.units), angle_factor(document.units)

    def metres(value: float | None) -> float | None:
        return None if value is None else value / length

    def radians(value: float | None) -> float | None:
        return None if value is None else value / angle

    floor = metres(given.floor)
    return EnvelopeAsked(given.point, metres(given.ground), FLOOR_M if floor is None else floor, radians(given.fore_boom),
                         radians(given.tilt), radians(given.rotate))  # fmt: skip


def _result_faults(document: StudyDocument) -> Iterator[Fault]:
    results = document.results
    if document.envelope is not None and not any(name in DIMENSIONS for name in results.traits):
        yield Fault("wrong-form", "envelope", "[envelope] without a trait of it", "one of " + ", ".join(DIMENSIONS),
                    "name one in traits, or take it out")  # fmt: skip
    if results.each == "pose":
        if results.traits or document.metrics:
            yield Fault("wrong-form", "results", 'traits or metrics with each = "pose"', "outputs alone",
                        'set each = "variant", or take them out')  # fmt: skip
    elif results.outputs:
        yield Fault("wrong-form", "results.outputs", 'outputs with each = "variant"', "traits and metrics alone",
                    'set each = "pose", or name a metric of each output')  # fmt: skip
    if document.design.kind == "sensitivity" and results.each == "pose":
        yield Fault("wrong-form", "results.each", '"pose"', '"variant": Sobol indices are those of one number a variant',
                    "name a metric of each output")  # fmt: skip
    for i, each in enumerate(document.metrics):
        if (each.how == "at") != (each.pose is not None):
            yield Fault("wrong-form", f"metrics.{i}", f'pose with how = "{each.how}"' if each.pose is not None else
                        "no pose", 'pose with how = "at", and with no other')  # fmt: skip
        if (each.how == "share_within") != (each.low is not None or each.high is not None):
            found = (
                "neither low nor high"
                if each.how == "share_within"
                else f'low or high with how = "{each.how}"'
            )
            wanted = 'low or high with how = "share_within", and with no other'
            yield Fault("wrong-form", f"metrics.{i}", found, wanted)


def _metric(each: tables.Metric, document: StudyDocument) -> Metric:
    factor = output_column(each.output, document.units).factor
    low, high = (
        -math.inf if each.low is None else each.low / factor,
        math.inf if each.high is None else each.high / factor,
    )
    return Metric(each.name, each.output, each.how, low, high, each.pose or 0)


def _design(document: StudyDocument, assembly: Assembly, *, whole: bool) -> Design | None:
    """The design; None where it is not `whole` and no fault was found in what is there."""
    faults = [fault.at("vary") for fault in parameter_faults(assembly, tuple(document.vary))]
    wrong = {fault.where.removeprefix("vary.") for fault in faults}
    variations: dict[str, Variation] = {}
    for name, each in document.vary.items():
        if name in wrong:
            continue
        factor = parameter_column(name, document.units).factor
        try:
            variations[name] = variation_of(each, float(assembly.parameters[name][0]), factor,
                                            grid=document.design.kind == "grid")  # fmt: skip
        except Refused as refused:
            faults += [fault.at(f"vary.{name}") for fault in refused.faults]
    whole = whole and len(variations) == len(document.vary)
    pairs: dict[tuple[str, str], float] = {}
    for i, tied in enumerate(document.correlations):
        one, other = tied.of
        if (one, other) in pairs or (other, one) in pairs:
            faults.append(
                Fault("given-twice", f"correlations.{i}", f"{one} with {other} again", "each pair once")
            )
        elif whole or {one, other} <= set(variations):
            pairs[one, other] = tied.value
    design = None
    if variations:
        settings = document.design
        try:
            design = designed(
                settings.kind, variations, rows=settings.rows, seed=settings.seed, correlations=pairs
            )
        except Refused as refused:
            faults += [_of_design(fault, variations) for fault in refused.faults]
    refuse(faults)
    return design if whole else None


def _of_design(fault: Fault, names: Iterable[str]) -> Fault:
    head = fault.where.partition(".")[0]
    if head in names:
        return fault.at("vary")
    if head == "correlations":
        return Fault(fault.code, "correlations", fault.found, fault.expected, fault.advice)
    return fault.at("design")


def variation_of(each: Vary, measured: float, factor: float, *, grid: bool) -> Variation:
    """How a parameter varies, m and rad, from its table; `factor` of the file's units to one of them. `Refused` at the
    table's own keys."""
    base = measured * factor if each.from_measured else 0.0
    given = {
        key
        for key in ("low", "high", "count", "step", "values", "mean", "standard")
        if getattr(each, key) is not None
    }
    if grid:
        return Levels(tuple((base + value) / factor for value in levels_of(each, given)))
    if given == {"low", "high"}:
        assert each.low is not None and each.high is not None  # noqa: S101, PT018
        return Uniform((base + each.low) / factor, (base + each.high) / factor)
    if given in ({"standard"}, {"standard", "mean"}):
        assert each.standard is not None  # noqa: S101
        mean = measured if each.mean is None else (base + each.mean) / factor
        return Normal(mean, each.standard / factor)
    raise Refused([Fault("wrong-form", "", ", ".join(sorted(given)) or "nothing",
                         "low and high, or standard with or without mean")])  # fmt: skip


def levels_of(each: Vary | tables.Column, given: set[str]) -> list[float]:
    """The values of a grid, in the file's units: listed, or from low to high in equal steps; the last step that does not
    go beyond high is the last. `Refused` "infinite-grid", "wrong-form"."""
    if given == {"values"}:
        assert each.values is not None  # noqa: S101
        return each.values
    if given not in ({"low", "high", "count"}, {"low", "high", "step"}):
        raise Refused([Fault("wrong-form", "", ", ".join(sorted(given)) or "nothing",
                             "values, or low and high with count or step")])  # fmt: skip
    assert each.low is not None and each.high is not None  # noqa: S101, PT018
    if not each.low < each.high:
        raise Refused([Fault("out-of-range", "", f"{each.low:g} to {each.high:g}", "low below high")])
    if each.step is not None:
        steps = math.inf if each.step <= 0.0 else (each.high - each.low) / each.step
        if not steps < MOST_ROWS:
            found = f"steps of {each.step:g} from {each.low:g} to {each.high:g}"
            raise Refused(
                [Fault("infinite-grid", "step", found, f"at most {MOST_ROWS} steps", "make the step larger")]
            )
        return [each.low + i * each.step for i in range(_within(math.floor(steps * (1.0 + 1e-12)) + 1))]
    assert each.count is not None  # noqa: S101
    if each.count < 2:
        raise Refused([Fault("out-of-range", "count", str(each.count), "2 or more, from low to high both included",
                             "for one number alone list it in values")])  # fmt: skip
    return list(map(float, np.linspace(each.low, each.high, _within(each.count))))


def _within(count: int) -> int:
    if count > MOST_POSES:
        raise Refused(
            [Fault("infinite-grid", "", f"{count} values on one axis", f"at most {MOST_POSES}", "take fewer")]
        )
    return count


def _poses(document: StudyDocument, assembly: Assembly) -> Poses:
    asked, faults = document.poses, list[Fault]()
    scales = {
        "angles": angle_factor(document.units),
        "cylinders": length_factor(document.units),
        "travel": 1.0,
    }
    columns = {(table, name): each for table in scales for name, each in getattr(asked, table).items()}
    read: dict[tuple[str, str], NDArray[np.float64]] = {}
    drawn: dict[tuple[str, str], tuple[float, float]] = {}
    for (table, name), each in columns.items():
        given = {
            key for key in ("at", "values", "low", "high", "count", "step") if getattr(each, key) is not None
        }
        if given == {"low", "high"} and asked.combine == "sobol":
            drawn[table, name] = (float(each.low or 0.0), float(each.high or 0.0))
            continue
        try:
            values = [each.at] if given == {"at"} else levels_of(each, given)
            read[table, name] = np.array(values) / scales[table]
        except Refused as refused:
            faults += [fault.at(f"poses.{table}.{name}") for fault in refused.faults]
            read[table, name] = np.full(1, _SOMEWHERE[table])  # so that the others can be looked at
    combined = caught(faults, lambda: _combined(document, read, drawn, scales))
    if combined is None:  # one pose of what there is, for the names
        combined = {key: values[:1] for key, values in read.items()}
        combined |= {key: np.full(1, low / scales[key[0]]) for key, (low, _) in drawn.items()}
    by_table: dict[str, dict[str, NDArray[np.float64]]] = {table: {} for table in scales}
    for (table, name), column in combined.items():
        by_table[table][name] = column
    plain = {
        table: {name: _plain(values) for name, values in named.items()} for table, named in by_table.items()
    }
    try:
        found = poses_for(assembly, plain["angles"], cylinders=plain["cylinders"], travel=plain["travel"])
    except Refused as refused:
        raise Refused([*faults, *(fault.at("poses") for fault in refused.faults)]) from None
    refuse(faults)
    return found


def _plain(values: NDArray[np.float64]) -> NDArray[np.float64] | float:
    return float(values[0]) if values.size == 1 else values


def _combined(
    document: StudyDocument, read: Mapping[tuple[str, str], NDArray[np.float64]],
    drawn: Mapping[tuple[str, str], tuple[float, float]], scales: Mapping[str, float],
) -> dict[tuple[str, str], NDArray[np.float64]]:  # fmt: skip
    """The columns of all poses; one number stays one."""
    asked = document.poses
    if (asked.count is not None) != (asked.combine == "sobol"):
        found = f'count with combine = "{asked.combine}"' if asked.count is not None else "no count"
        raise Refused(
            [Fault("wrong-form", "poses", found, 'count with combine = "sobol", and with no other')]
        )
    if asked.combine == "together":
        return dict(read)
    if asked.combine == "grid":
        long = [key for key, values in read.items() if values.size > 1]
        count = math.prod(read[key].size for key in long)
        if count > MOST_POSES:
            raise Refused([Fault("infinite-grid", "poses", f"{count:.4g} poses of every variant", f"at most {MOST_POSES}",
                                 'take fewer values, or combine = "sobol"')])  # fmt: skip
        meshed = np.meshgrid(*(read[key] for key in long), indexing="ij")
        return {**read, **{key: each.reshape(-1) for key, each in zip(long, meshed, strict=True)}}
    listed = [f"{table}.{name}" for (table, name), values in read.items() if values.size > 1]
    if listed or not drawn:
        found = "values of " + ", ".join(listed) if listed else "nothing to draw"
        wanted = 'with combine = "sobol", one number or low and high of each, and one at least to draw'
        raise Refused([Fault("wrong-form", "poses", found, wanted)])
    try:
        design = designed("sobol", {f"{table}.{name}": Uniform(*span) for (table, name), span in drawn.items()},
                          rows=asked.count, seed=document.design.seed)  # fmt: skip
    except Refused as refused:
        raise Refused(
            Fault(
                f.code,
                "poses.count" if f.where == "rows" else f"poses.{f.where}",
                f.found,
                f.expected,
                f.advice,
            )
            for f in refused.faults
        ) from None
    if design.rows > MOST_POSES:
        raise Refused([Fault("too-many-poses", "poses.count", str(design.rows), f"at most {MOST_POSES}")])
    points = design.points(0, design.rows)
    return {**read, **{(table, name): points[:, k] / scales[table] for k, (table, name) in enumerate(drawn)}}
