"""What a machine's file may say of its hydraulics: bores, pressures and flows, in the file's own units."""

from typing import Annotated, Literal

from pydantic import Field
from pydantic.functional_validators import AfterValidator

from kinematics.hydraulics import MOST_RAMS

from .table import Distance, Table


class RamTable(Table):
    """The cylinders of one joint, alike and side by side, and the circuit that feeds them."""

    bore: Distance = Field(title="Bore", description="Inner diameter of one cylinder.", examples=[115])
    rod: Distance = Field(title="Rod", description="Diameter of its rod.", examples=[80])
    count: int = Field(
        title="Count",
        description="How many stand side by side.",
        examples=[2],
        json_schema_extra={"minimum": 1, "maximum": MOST_RAMS},
    )
    working_pressure: Distance = Field(
        title="Working pressure",
        description="Nominal pressure that the pump gives this circuit.",
        examples=[343],
    )
    holding_pressure: Distance = Field(
        title="Holding pressure",
        description="The most that this circuit stands with its valve closed: its relief valve's setting.",
        examples=[370],
    )
    flow: Distance | None = Field(
        None, title="Flow", description="The most that all of them get together.", examples=[220]
    )


class HydraulicUnits(Table):
    """The units of pressures and flows; bores and rods are in the file's own unit of length."""

    pressure: Literal["bar", "MPa", "psi"] = Field(
        title="Pressure", description="Unit of every pressure.", examples=["bar"]
    )
    flow: Literal["l/min"] | None = Field(
        None, title="Flow", description="Unit of every flow, where there is any.", examples=["l/min"]
    )


class HydraulicsTable(Table):
    """Cylinders by the joint they move; those that are left out are ones that nobody knows."""

    units: HydraulicUnits | None = Field(None, title="Units", description="Units of pressures and flows.")
    boom: RamTable | None = Field(None, title="Boom", description="Boom cylinders.")
    fore_boom: RamTable | None = Field(None, title="Fore boom", description="Fore boom cylinder.")
    stick: RamTable | None = Field(None, title="Stick", description="Stick cylinder.")
    bucket: RamTable | None = Field(None, title="Bucket", description="Bucket cylinder.")


def _none_if_silent(table: HydraulicsTable | None) -> HydraulicsTable | None:
    """A heading alone says no more than none, and must give the same hash."""
    return None if table is None or all(value is None for name, value in table if name != "units") else table


Hydraulic = Annotated[HydraulicsTable | None, AfterValidator(_none_if_silent)]
