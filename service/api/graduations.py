"""The graduation of a levelling staff, so that a page draws heights in every unit and converts none."""

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field
from typing_extensions import TypedDict

from kinematics.errors import Refused
from kinematics.graduation import REACH_M, graduation
from service.book import requests as q
from service.strict import Strict

router = APIRouter(prefix="/v1/graduations", tags=["readouts"])


class MarkOut(TypedDict):
    """A figure of a staff, or a round length."""

    m: Annotated[float, Field(description="Metres.", examples=[98.4])]
    written: Annotated[str, Field(description="As it stands there.", examples=["98.4"])]


class GraduationOut(Strict):
    """A staff about a height, and round lengths for scale bars."""

    units: q.Units
    block_m: float = Field(description="Height of a block, metres.")
    blocks_per_figure: int = Field(description="Blocks from one figure to the next; even.")
    figures: list[MarkOut] = Field(
        description=f"Within {REACH_M:g} m of the height asked for, from low to high."
    )
    scale_bars: list[MarkOut] = Field(description="Round lengths, short to long.")


@router.get("", summary="How a levelling staff is graduated")
def graduations(
    units: Annotated[q.Units, Query(description=q.UNITS_TEXT)],
    around_m: Annotated[
        float, Query(description="An elevation, metres whatever the units.", examples=[98.4])
    ],
) -> GraduationOut:
    """Figures and blocks of a staff about an elevation: whole tenths of a metre, fifths of a foot, quarters of a foot.

    curl -s 'localhost:8311/v1/graduations?units=ftin&around_m=98.4'
    """  # fmt: skip
    try:
        told = graduation(around_m, units)
    except Refused as refused:
        raise Refused(each.at("around_m") for each in refused.faults) from None
    return GraduationOut(
        units=units, block_m=told.block_m, blocks_per_figure=told.blocks_per_figure,
        figures=[{"m": m, "written": written} for m, written in told.figures],
        scale_bars=[{"m": m, "written": written} for m, written in told.bars],
    )  # fmt: skip
