"""A study of one machine: its geometry varied by a design, every variant put through the same poses.

Variants are records, not objects; each is assembled anew (`assembly_rows`), so that its joints go as far as its own
linkages let them. What cannot be assembled, or a pose that cannot be taken, is NaN and says why; nothing else is lost
with it. Any part of a study can be evaluated on its own: it hangs on the numbers of its variants alone.
"""

import difflib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np

from .assembly import JOINTS, Assembly
from .assembly_rows import VARIANT_STATUS
from .chain import OUTPUTS
from .columns import STATUS as POSE_STATUS
from .envelope import DIMENSIONS
from .errors import Fault, refuse
from .hydraulics import Hydraulics
from .parameters import NAMES
from .study_design import Design
from .study_envelope import ENVELOPE_STATUS, EnvelopeAsked, envelope_faults
from .study_poses import Poses
from .study_tools import is_limit, no_tool, tool_outputs

How = Literal["least", "greatest", "mean", "span", "standard", "share_within", "at"]
HOWS: tuple[How, ...] = ("least", "greatest", "mean", "span", "standard", "share_within", "at")
STATUS: Mapping[int, str] = MappingProxyType({**POSE_STATUS, **VARIANT_STATUS, **ENVELOPE_STATUS})
"""What a number in a status column of a study means."""
LEAST_TRANSMISSION = "least_transmission"


@dataclass(frozen=True, slots=True)
class Metric:
    """One number a variant from all its poses: `how` of an output. `low`, `high` of "share_within", `at` the pose counted
    from 0 of "at"; in the output's own unit, m, rad or N."""

    name: str
    output: str
    how: How
    low: float = -np.inf
    high: float = np.inf
    at: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Study:
    """A study that can be evaluated; made by `study`. `outputs` of a pose, `traits` of a variant, `metrics` of all poses
    of one; `partial`: a metric over those poses that were solved where not all were. `hydraulics` behind forces,
    `envelope` behind traits of `envelope.DIMENSIONS`."""

    assembly: Assembly
    design: Design
    poses: Poses
    outputs: tuple[str, ...]
    traits: tuple[str, ...]
    metrics: tuple[Metric, ...]
    partial: bool
    hydraulics: Hydraulics | None = None
    envelope: EnvelopeAsked = field(default_factory=EnvelopeAsked)

    @property
    def evaluations(self) -> int:
        """Variants times poses."""
        return self.design.rows * self.poses.count


def pose_outputs(assembly: Assembly, hydraulics: Hydraulics | None = None) -> tuple[str, ...]:
    """What can be asked of a pose: `chain.OUTPUTS` (m, rad), then the angle (rad) of each joint, "bucket_angle", then
    `study_tools.tool_outputs`."""
    angles = (f"{joint}_angle" for joint in JOINTS if joint in assembly.ranges)
    return (*OUTPUTS, *angles, *tool_outputs(assembly, hydraulics))


def trait_names(assembly: Assembly) -> tuple[str, ...]:
    """What can be asked of a variant itself: how far each joint turns in all ("bucket_travel", rad); of a machine with a
    bucket linkage "least_transmission" (rad), how near its transmission angle comes to 0 or 180 deg; and its digging
    envelope's `envelope.DIMENSIONS` (m)."""
    travel = tuple(f"{joint}_travel" for joint in JOINTS if joint in assembly.ranges)
    return (*travel, *(() if assembly.links is None else (LEAST_TRANSMISSION,)), *DIMENSIONS)


def study(
    assembly: Assembly, design: Design, poses: Poses, *, outputs: Sequence[str] = (), traits: Sequence[str] = (),
    metrics: Sequence[Metric] = (), partial: bool = False, hydraulics: Hydraulics | None = None,
    envelope: EnvelopeAsked | None = None,
) -> Study:  # fmt: skip
    """A study of what these say; design in m and rad. Raises `Refused` with every fault: "unknown-parameter",
    "no-such-parameter", "unknown-output", "no-such-point", "no-bore", "no-cylinder", "no-linkage", "unknown-trait",
    "unknown-metric", "name-taken", "out-of-range" (`at`), "nothing-asked", and those of the envelope."""
    asked = Study(assembly, design, poses, tuple(outputs), tuple(traits), tuple(metrics), partial, hydraulics,
                  envelope or EnvelopeAsked())  # fmt: skip
    found = asked_faults(assembly, design.names, poses.count, outputs=outputs, traits=traits, metrics=metrics,
                         hydraulics=hydraulics, envelope=asked.envelope)  # fmt: skip
    refuse([*parameter_faults(assembly, design.names), *found])
    return asked


def asked_faults(
    assembly: Assembly, varied: Sequence[str], poses: int | None, *, outputs: Sequence[str], traits: Sequence[str],
    metrics: Sequence[Metric], hydraulics: Hydraulics | None, envelope: EnvelopeAsked,
) -> Iterator[Fault]:  # fmt: skip
    """What is wrong with what is asked of a study that varies these parameters, in so many poses; None: in any number."""
    if not (outputs or traits or metrics):
        yield Fault("nothing-asked", "", "no output, trait or metric", "at least one")
    named = [(f"outputs.{i}", name) for i, name in enumerate(outputs)]
    named += [(f"metrics.{i}.output", each.output) for i, each in enumerate(metrics)]
    for where, name in named:
        yield from _output_faults(assembly, hydraulics, where, name)
    known = trait_names(assembly)
    for i, name in enumerate(traits):
        if name not in known:
            yield Fault("unknown-trait", f"traits.{i}", repr(name), "one of " + ", ".join(known))
    yield from envelope_faults(assembly, traits, envelope)
    for i, each in enumerate(metrics):
        if is_limit(each.output):
            yield Fault("unknown-output", f"metrics.{i}.output", repr(each.output), "an output that is a number",
                        "ask for it in outputs, a row for each pose")  # fmt: skip
        if each.how not in HOWS:
            yield Fault("unknown-metric", f"metrics.{i}.how", repr(each.how), "one of " + ", ".join(HOWS))
        elif each.how == "at" and poses is not None and not 0 <= each.at < poses:
            yield Fault("out-of-range", f"metrics.{i}.at", str(each.at), f"a pose from 0 to {poses - 1}")
        elif each.how == "share_within" and not each.low < each.high:
            yield Fault(
                "out-of-range", f"metrics.{i}.low", f"{each.low:g} to {each.high:g}", "low below high"
            )
    # A varied number stands beside them in a row, with the same unit behind its name.
    names = [*varied, *outputs, *traits, *(each.name for each in metrics)]
    for name in dict.fromkeys(name for i, name in enumerate(names) if name in names[:i]):
        yield Fault(
            "name-taken",
            "",
            f"{name} more than once",
            "every varied number, output, trait and metric with a name of its own",
        )


def parameter_faults(assembly: Assembly, names: Sequence[str]) -> Iterator[Fault]:
    """ "unknown-parameter" for a name that is none of `parameters.NAMES`, "no-such-parameter" for one of a part that this
    machine or attachment does not have."""
    for name in names:
        if name not in NAMES:
            near = difflib.get_close_matches(name, _there(assembly), n=1)
            yield Fault("unknown-parameter", name, repr(name), "one of " + ", ".join(_there(assembly)),
                        f"did you mean {near[0]}?" if near else "")  # fmt: skip
        elif name not in _there(assembly):
            yield Fault(
                "no-such-parameter", name, "a profile without it", "one of " + ", ".join(_there(assembly))
            )


def _there(assembly: Assembly) -> tuple[str, ...]:
    return tuple(
        name for name in NAMES if name not in assembly.lacks and not np.isnan(assembly.parameters[name][0])
    )


def _output_faults(
    assembly: Assembly, hydraulics: Hydraulics | None, where: str, name: str
) -> Iterator[Fault]:
    known = pose_outputs(assembly, hydraulics)
    if name not in known:
        yield no_tool(assembly, hydraulics, where, name) or Fault(
            "unknown-output", where, repr(name), "one of " + ", ".join(known)
        )
    elif name in OUTPUTS:
        needs = {"mast_angle": "mast_x"}.get(name, f"{name.rpartition('_')[0]}_x")
        if needs in NAMES and np.isnan(assembly.parameters[needs][0]):
            yield Fault("no-such-point", where, repr(name), "a point that the profile has",
                        "choose another output, or measure it")  # fmt: skip
