"""What a profile file may say of the calibration that its numbers came from, and of what was taken back.

Written by the service and the command, not by hand; in the file's own units.
"""

from typing import Annotated

from pydantic import Field

from .table import Distance, Number, Table

MOST_NAMES = 30
"""A file's text has room for the correlations of so many, and no stand shows more apart."""
Hash = Annotated[str, Field(json_schema_extra={"pattern": "^[0-9a-f]{64}$"})]
Day = Annotated[str, Field(json_schema_extra={"format": "date"})]


class Found(Table):
    """One unknown: what stood there, what was found, how well. Lengths and angles in the file's units."""

    was: Number = Field(title="Was", description="Before.", examples=[3.2])
    found: Number = Field(
        title="Found",
        description="As it stands in the file now; where that differs, it counts no more.",
        examples=[3.71],
    )
    standard: Distance = Field(
        title="Standard", description="Standard uncertainty of what was found.", examples=[0.012]
    )


class CalibrationTable(Table):
    """Where the file's zeros and dimensions came from: found together from the machine's own touches."""

    date: Day = Field(title="Date", description="Day, UTC.", examples=["2026-05-04"])
    from_revision: Hash = Field(
        title="From revision", description="Content hash of the file before.", examples=["0" * 64]
    )
    observations: int = Field(title="Observations", description="How many counted.", ge=1, examples=[14])
    observations_sha256: Hash = Field(
        title="Observations, SHA-256", description="Of their canonical JSON.", examples=["0" * 64]
    )
    rms_before: Number = Field(
        title="RMS before",
        description="Of what was seen less what the numbers before said, each in standard uncertainties of its own.",
        examples=[11.2],
    )
    rms_after: Number = Field(title="RMS after", description="The same after.", examples=[0.9])
    names: list[str] = Field(
        title="Names",
        description="All that were found together; in a machine's file those of the attachment too.",
        min_length=1,
        max_length=MOST_NAMES,
        examples=[["boom.zero", "stick.zero"]],
    )
    of: dict[str, Found] = Field(
        title="Of",
        description="This file's own of these names.",
        examples=[{"boom.zero": {"was": 3.2, "found": 3.71, "standard": 0.012}}],
    )
    correlations: list[list[Number]] | None = Field(
        None,
        title="Correlations",
        description="Row by row the coefficients of the second name with the first, of the third with both before it, "
        "and so on. Left out: none.",
        max_length=MOST_NAMES - 1,
        examples=[[[-0.87]]],
    )


class MachineCalibrationTable(CalibrationTable):
    """Of a machine; what it shares with an attachment holds with that one alone."""

    attachment: Hash | None = Field(
        None,
        title="Attachment",
        description="Content hash of the attachment's file that its names were found with, without [restored].",
        examples=["0" * 64],
    )


class RestoredTable(Table):
    """An older revision that was made current again."""

    date: Day = Field(title="Date", description="UTC.", examples=["2026-05-05"])
    revision: Hash = Field(
        title="Revision", description="Content hash of which this is again.", examples=["0" * 64]
    )
    instead_of: Hash = Field(
        title="Instead of", description="Content hash of what was current.", examples=["0" * 64]
    )
