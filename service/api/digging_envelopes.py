"""The digging envelope of one machine: its border as arcs, its named dimensions, or a picture of both."""

from collections.abc import Callable

from anyio import to_thread
from fastapi import APIRouter, Request, Response
from pydantic import ConfigDict, Field

from kinematics.envelope import FLOOR_M, digging_envelope
from kinematics.errors import Refused
from kinematics.units import LengthUnit
from service.book import requests as q
from service.book.decide import together
from service.book.profiles import Profiles
from service.strict import example

from .accepting import accepted
from .door import ProfilesDep, WorkersDep
from .envelope_answer import EnvelopeOut, Told, answer
from .envelope_picture import as_png, as_svg
from .inverse import metres
from .laboratory import MachineIn, placed

router = APIRouter(prefix="/v1/digging-envelopes", tags=["laboratory"])
JSON, SVG, PNG = "application/json", "image/svg+xml", "image/png"
_WRITTEN: dict[str, Callable[[Told], str | bytes]] = {SVG: as_svg, PNG: as_png}


class EnvelopeIn(MachineIn):
    """A machine whose envelope is wanted."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500", "units": "m",
    }))  # fmt: skip
    ground: q.Length | None = Field(
        None,
        description="Height of the ground over the body origin, below it negative, in `units`; left out, as the "
        "profile's boom foot height says.",
        examples=[-1.7],
    )
    floor: q.Length | None = Field(
        None,
        description="Length of the level floor whose depth is told, in `units`; left out, 2.44 m.",
        examples=[2.44],
    )


@router.post(
    "",
    summary="Digging envelope and its dimensions",
    responses={200: {
        "model": EnvelopeOut, "description": "The envelope.",
        "content": {
            SVG: {"schema": {"type": "string", "description": "The envelope to scale, with its dimensions."}},
            PNG: {"schema": {"type": "string", "format": "binary", "description": "The same, 1200 pixels wide."}},
        },
    }},
)  # fmt: skip
async def envelope(
    asked: EnvelopeIn, request: Request, profiles: ProfilesDep, workers: WorkersDep
) -> Response:
    """All that a point of the bucket reaches with the machine level: its border as exact arcs, its dimensions with the
    postures that give them. JSON, or by the Accept header a picture (`image/svg+xml`, `image/png`). See
    /guide/laboratory.

    curl -s localhost:8311/v1/digging-envelopes -H 'content-type: application/json' -d @envelope.json
    """
    wanted = accepted(request.headers.get("accept", ""), {kind: kind for kind in (JSON, SVG, PNG)}, JSON)
    return await to_thread.run_sync(_answer, asked, wanted, profiles, limiter=workers.seats)


def _answer(asked: EnvelopeIn, wanted: str, profiles: Profiles) -> Response:
    told = reckoned(asked, profiles)
    if wanted in _WRITTEN:
        return Response(_WRITTEN[wanted](told), media_type=wanted)
    return Response(answer(told).model_dump_json(), media_type=JSON)


def reckoned(asked: EnvelopeIn, profiles: Profiles) -> Told:
    """The envelope of a request. Raises `Refused` with faults at their places."""
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    together(lambda: _metres(asked.ground, asked, "ground"), lambda: _metres(asked.floor, asked, "floor"))
    ground, floor = _metres(asked.ground, asked, "ground"), _metres(asked.floor, asked, "floor")
    try:
        found = digging_envelope(
            fitted,
            point=asked.point(fitted),
            ground=ground,
            floor=FLOOR_M if floor is None else floor,
            **asked.held(),
        )
    except Refused as refused:
        raise placed(refused, floor="floor", ground="ground") from None
    return Told(found, fitted, machine, attachment, LengthUnit(asked.units))


def _metres(value: q.Length | None, asked: EnvelopeIn, where: str) -> float | None:
    return None if value is None else metres(value, asked.units, where)
