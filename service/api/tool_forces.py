"""Tool forces from bores and pressures: at their best, in one posture, and as a map over the envelope."""

import math
from collections.abc import Callable
from typing import Literal

import numpy as np
from anyio import to_thread
from fastapi import APIRouter, Request, Response
from pydantic import ConfigDict, Field

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.envelope import digging_envelope
from kinematics.errors import Fault, Refused
from kinematics.forces import MODES, ForceMap, force_map, rated_force, tool_force
from kinematics.hydraulics import Hydraulics
from kinematics.units import LengthUnit
from service.book import requests as q
from service.book.decide import together
from service.book.profiles import Profiles
from service.strict import Strict, example

from .accepting import accepted
from .door import ProfilesDep, WorkersDep
from .force_answer import ForcesOut, Told, answer
from .force_picture import as_png, as_svg
from .inverse import metres
from .laboratory import HydraulicsField, MachineIn, hydraulics_of, placed

router = APIRouter(prefix="/v1/tool-forces", tags=["laboratory"])
JSON, SVG, PNG = "application/json", "image/svg+xml", "image/png"
_WRITTEN: dict[str, Callable[[Told], str | bytes]] = {SVG: as_svg, PNG: as_png}
_FINEST_M, _MOST_PLACES = 0.02, 4000
_STEP = math.radians(2.0)
Mode = Literal["bucket", "stick"]
JointInPlane = Literal["boom", "fore_boom", "stick", "bucket", "tilt", "rotate", "swing_boom"]


class MapIn(Strict):
    """A map over the envelope."""

    spacing: q.Length = Field(description="Between places, both ways, in `units`.", examples=[0.25])
    mode: Mode = Field(description="Which cylinder works.", examples=["bucket"])


class ForcesIn(MachineIn):
    """A machine whose forces are wanted."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500", "units": "m",
        "posture_deg": {"boom": 10.0, "stick": -80.0, "bucket": 50.0}, "map": {"spacing": 0.5, "mode": "bucket"},
    }))  # fmt: skip
    hydraulics: HydraulicsField = Field(default_factory=dict)
    posture_deg: dict[JointInPlane, float] | None = Field(
        None,
        description="Every joint of a posture whose forces are wanted, degrees.",
        examples=[{"boom": 10.0, "stick": -80.0, "bucket": 50.0}],
    )
    map: MapIn | None = Field(None, description="Left out, there is no map. A picture needs one.")


@router.post(
    "",
    summary="Tool forces and what limits them",
    responses={200: {
        "model": ForcesOut, "description": "The forces.",
        "content": {
            SVG: {"schema": {"type": "string", "description": "The map over the envelope, to scale."}},
            PNG: {"schema": {"type": "string", "format": "binary", "description": "The same, 1200 pixels wide."}},
        },
    }},
)  # fmt: skip
async def forces(asked: ForcesIn, request: Request, profiles: ProfilesDep, workers: WorkersDep) -> Response:
    """What the bucket's point presses with by ISO 6015 (SAE J1179), the cylinder that limits it named: of each
    cylinder at its best, in a posture, and as a map. JSON, or by the Accept header a picture of the map. See
    /guide/laboratory.

    curl -s localhost:8311/v1/tool-forces -H 'content-type: application/json' -d @forces.json
    """
    wanted = accepted(request.headers.get("accept", ""), {kind: kind for kind in (JSON, *_WRITTEN)}, JSON)
    return await to_thread.run_sync(_answer, asked, wanted, profiles, limiter=workers.seats)


def _answer(asked: ForcesIn, wanted: str, profiles: Profiles) -> Response:
    if wanted in _WRITTEN and asked.map is None:
        raise Refused([
            Fault("missing-field", "map", "a picture without it", "a map: spacing and mode",
                  "add it, or ask for application/json")
        ])  # fmt: skip
    told = reckoned(asked, profiles)
    if wanted in _WRITTEN:
        return Response(_WRITTEN[wanted](told), media_type=wanted)
    return Response(answer(told).model_dump_json(), media_type=JSON)


def reckoned(asked: ForcesIn, profiles: Profiles) -> Told:
    """The forces of a request. Raises `Refused` with faults at their places."""
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    own = profiles.hydraulics(machine)
    point = asked.point(fitted)
    together(
        lambda: hydraulics_of(own, asked.hydraulics),
        lambda: _posed(fitted, asked),
        lambda: _spacing(asked),
    )
    hydraulics, posed, spacing = hydraulics_of(own, asked.hydraulics), _posed(fitted, asked), _spacing(asked)
    try:
        # The stick's asks for both cylinders: all that is missing is told at once.
        crowd = rated_force(fitted, hydraulics, "stick", point=point)
        rated = {"bucket": rated_force(fitted, hydraulics, "bucket", point=point), "stick": crowd}
        there = (
            {}
            if posed is None
            else {mode: tool_force(posed, hydraulics, mode, point=point) for mode in MODES}
        )
        envelope = digging_envelope(fitted, point=point, **asked.held())
    except Refused as refused:
        raise placed(refused, **{name: f"hydraulics.{name}" for name in hydraulics_names(fitted)}) from None
    found = Told(
        fitted, machine, attachment, LengthUnit(asked.units), point, rated, there, posed, envelope, None
    )
    if asked.map is None or spacing is None:
        return found
    return found.with_map(_mapped(found, hydraulics, asked.map.mode, spacing, asked.held()))


def hydraulics_names(fitted: Assembly) -> tuple[str, ...]:
    """Joints whose cylinders a request may describe."""
    return tuple(fitted.cylinders)


def _mapped(
    told: Told, hydraulics: Hydraulics, mode: str, spacing: float, held: dict[str, float]
) -> ForceMap:
    border = told.envelope.sampled(0.01)[0]
    low, high = border.min(axis=0), border.max(axis=0)
    reaches, heights = (
        spacing * np.arange(math.ceil(low[i] / spacing), math.floor(high[i] / spacing) + 1) for i in (0, 1)
    )
    if reaches.size * heights.size > _MOST_PLACES:
        raise Refused([
            Fault("too-many-values", "map.spacing", f"{reaches.size * heights.size} places",
                  f"at most {_MOST_PLACES} places", "a wider spacing", {"places": reaches.size * heights.size})
        ])  # fmt: skip
    still = {name: 0.0 for name in ("tilt", "rotate") if name in told.assembly.ranges} | held
    return force_map(
        told.assembly,
        hydraulics,
        mode,
        reaches=reaches,
        heights=heights,
        point=told.point,
        step=_STEP,
        **still,
    )


def _spacing(asked: ForcesIn) -> float | None:
    if asked.map is None:
        return None
    spacing = metres(asked.map.spacing, asked.units, "map.spacing")
    if spacing < _FINEST_M:
        raise Refused([
            Fault("out-of-range", "map.spacing", f"{spacing:g} m", f"at least {_FINEST_M:g} m", "check the unit",
                  {"spacing_m": spacing})
        ])  # fmt: skip
    return spacing


def _posed(fitted: Assembly, asked: ForcesIn) -> Pose | None:
    if asked.posture_deg is None:
        return None
    try:
        return pose(
            fitted, pitch=0.0, roll=0.0,
            **{name: math.nan for name in ("boom", "stick", "bucket") if name not in asked.posture_deg},
            **{name: math.radians(angle) for name, angle in asked.posture_deg.items()},
        )  # fmt: skip
    except Refused as refused:
        raise Refused(
            Fault("missing-joint" if f.code == "not-finite" else f.code, f"posture_deg.{f.where}" if f.where else "",
                  "no angle" if f.code == "not-finite" else f.found, f.expected, f.advice, f.numbers)
            for f in refused.faults
        ) from None  # fmt: skip
