"""What a profile file may say of how well it is known: standard uncertainties, in the file's own units."""

from typing import Annotated, TypeVar

from pydantic import Field
from pydantic.functional_validators import AfterValidator

from kinematics.parameters import ATTACHMENT_NAMES, MACHINE_NAMES

from .table import Table, Uncertain

_OF = "Of single dimensions by parameter, each in place of lengths or angles."


def _none_if_empty(values: dict[str, float] | None) -> dict[str, float] | None:
    """An empty table says no more than none, and must give the same hash."""
    return values or None


class UncertaintyTable(Table):
    """Standard uncertainties of what was measured."""

    lengths: Uncertain | None = Field(
        None, title="Lengths", description="Of every length that `of` does not name.", examples=[3]
    )
    angles: Uncertain | None = Field(
        None,
        title="Angles",
        description="Of every angle, and of every direction's numbers, that `of` does not name.",
        examples=[0.1],
    )


class MachineUncertaintyTable(UncertaintyTable):
    """How well a machine is known: standard uncertainties, and the slop of its pins."""

    of: Annotated[
        Annotated[
            dict[str, Uncertain],
            Field(
                max_length=len(MACHINE_NAMES),
                json_schema_extra={"propertyNames": {"enum": list(MACHINE_NAMES)}},
            ),
        ]
        | None,
        AfterValidator(_none_if_empty),
    ] = Field(None, title="Of", description=_OF, examples=[{"boom_length": 2}])
    pin_slop: Uncertain | None = Field(
        None, title="Pin slop", description="Full clearance of a pin in its bore.", examples=[1]
    )
    flex: Uncertain | None = Field(
        None,
        title="Flex",
        description="How far the edge gives when it digs or is set down.",
        examples=[3],
    )


class AttachmentUncertaintyTable(UncertaintyTable):
    """How well an attachment is known: standard uncertainties."""

    of: Annotated[
        Annotated[
            dict[str, Uncertain],
            Field(
                max_length=len(ATTACHMENT_NAMES),
                json_schema_extra={"propertyNames": {"enum": list(ATTACHMENT_NAMES)}},
            ),
        ]
        | None,
        AfterValidator(_none_if_empty),
    ] = Field(None, title="Of", description=_OF, examples=[{"pin_spacing": 1}])
    edge_wear: Uncertain | None = Field(
        None,
        title="Edge wear",
        description="How far the edge may have worn back since it was measured.",
        examples=[3],
    )


_Known = TypeVar("_Known", bound=UncertaintyTable)


def _none_if_silent(table: _Known | None) -> _Known | None:
    """A heading alone says no more than none, and must give the same hash."""
    return None if table is None or all(value is None for _, value in table) else table


MachineKnown = Annotated[MachineUncertaintyTable | None, AfterValidator(_none_if_silent)]
AttachmentKnown = Annotated[AttachmentUncertaintyTable | None, AfterValidator(_none_if_silent)]
