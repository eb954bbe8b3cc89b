"""A machine with its attachment as a rigid-body model that other programs load."""

import math
from importlib.metadata import version
from typing import Annotated, Literal

from fastapi import APIRouter, Response
from pydantic import ConfigDict, Field

from kinematics.errors import Refused
from machine_profiles import parse_profile
from machine_profiles.exchange import WRITERS, Attitude, provenance_of
from service.book import requests as q
from service.strict import Strict, example

from .door import ProfilesDep

router = APIRouter(prefix="/v1/models", tags=["profiles"])
XML = "application/xml"
_RELEASE = version("tipdatum")


class ModelIn(Strict):
    """Which machine, with what on its pins, how it stands, and in which format it is written."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "tilting-1800", "format": "urdf",
        "attitude_deg": {"pitch": 0.4, "roll": -0.2},
    }))  # fmt: skip
    machine: q.MachineId
    attachment: q.AttachmentId
    format: Literal["urdf", "mjcf"] = Field(
        description="urdf: a tree, the bucket linkage left open; mjcf: the linkage closed, cylinders as tendons."
    )
    attitude_deg: Annotated[q.Attitude, Field(description="How the body leans in the model's world.")]


@router.post(
    "",
    summary="A machine as a rigid-body model, URDF or MJCF",
    response_class=Response,
    responses={200: {
        "description": "The whole file.",
        "content": {XML: {"schema": {"type": "string", "description": "Metres and radians, as its comment says."}}},
    }},
)  # fmt: skip
def write(asked: ModelIn, profiles: ProfilesDep) -> Response:
    """The text of a model that gives the places that /v1/poses gives; nothing is recorded. See /guide/exchange.

    curl -s localhost:8311/v1/models -H 'content-type: application/json' -d @model.json -o crawler.urdf
    """
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    try:
        attitude = Attitude(math.radians(asked.attitude_deg.pitch), math.radians(asked.attitude_deg.roll))
    except Refused as refused:
        raise Refused(fault.at("attitude_deg") for fault in refused.faults) from None
    carrier, tool = (
        parse_profile(profiles.revision(kind, named.id, named.hash).source_text)
        for kind, named in (("machine", machine), ("attachment", attachment))
    )
    text = WRITERS[asked.format](fitted, attitude, provenance_of(carrier, tool, _RELEASE))
    name = f"{machine.id}-with-{attachment.id}.{'urdf' if asked.format == 'urdf' else 'xml'}"
    return Response(text, media_type=XML, headers={"content-disposition": f'attachment; filename="{name}"'})
