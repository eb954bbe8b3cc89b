"""What a study's file may say: closed tables, the units of all its numbers in one of them."""

from typing import Annotated, Literal

from pydantic import Field

from machine_profiles.table import Number, Table, Units

SCHEMA_VERSION = 1
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,39}$")]
Title = Annotated[str, Field(min_length=1, max_length=120)]
Profile = Annotated[str, Field(min_length=1, max_length=200)]
Count = Annotated[int, Field(ge=1)]
Numbers = Annotated[list[Number], Field(min_length=1, max_length=250_000)]
Mapped = Annotated[dict[str, "Column"], Field(max_length=64)]


class Design(Table):
    """Which values are taken together. `rows`: none of a grid; of "sensitivity" its blocks, of len(vary) + 2 variants."""

    kind: Literal["grid", "random", "latin", "sobol", "sensitivity"] = Field(examples=["latin"])
    rows: Count | None = Field(None, examples=[1024])
    seed: Annotated[int, Field(ge=0, lt=2**63)] = Field(examples=[1])


class Vary(Table):
    """How one parameter varies: `low` and `high` alike between; `standard` normal about `mean`, left out as measured; for
    a grid `values`, or `low` and `high` with `count` or `step`. `from_measured`: all of these are differences from the
    number in the profile."""

    low: Number | None = None
    high: Number | None = None
    count: Count | None = None
    step: Number | None = None
    values: Numbers | None = None
    mean: Number | None = None
    standard: Number | None = None
    from_measured: bool = False


class Column(Table):
    """One angle, cylinder or travel of the poses: `at` one number, `values`, or `low` and `high` with `count` or `step`;
    to be drawn from `low` to `high` without either."""

    at: Number | None = None
    values: Numbers | None = None
    low: Number | None = None
    high: Number | None = None
    count: Count | None = None
    step: Number | None = None


class Poses(Table):
    """What every variant is put through. `combine`: "together" row by row, "grid" each with each, "sobol" `count` drawn
    between low and high of each. Angles of pitch, roll and joints; cylinders pin to pin; travel the share, 0 to 1, of
    the way between the ends of the variant's own range."""

    combine: Literal["together", "grid", "sobol"]
    count: Count | None = None
    angles: Mapped = Field(default_factory=dict)
    cylinders: Mapped = Field(default_factory=dict)
    travel: Mapped = Field(default_factory=dict)


class Correlation(Table):
    """Of two parameters of normal variation."""

    of: Annotated[list[Name], Field(min_length=2, max_length=2)]
    value: Number


class Metric(Table):
    """One number a variant, from all its poses. `low`, `high` of "share_within" in the output's unit; `pose` of "at",
    counted from 0."""

    name: Name
    output: Name
    how: Literal["least", "greatest", "mean", "span", "standard", "share_within", "at"]
    low: Number | None = None
    high: Number | None = None
    pose: Annotated[int, Field(ge=0)] | None = None


class Envelope(Table):
    """What traits of the digging envelope are asked with: `point` of the bucket (left out: the middle tooth, else the
    edge's centre), `ground` over the body origin (left out: as the profile's boom foot height says), `floor`: the length
    of level floor; joints that stand."""

    point: Name | None = None
    ground: Number | None = None
    floor: Number | None = None
    fore_boom: Number | None = None
    tilt: Number | None = None
    rotate: Number | None = None


class Results(Table):
    """What is kept: a row for each "pose" (outputs) or each "variant" (traits and metrics)."""

    each: Literal["pose", "variant"]
    outputs: Annotated[list[Name], Field(max_length=64)] = Field(default_factory=list)
    traits: Annotated[list[Name], Field(max_length=16)] = Field(default_factory=list)
    parameters: bool = True
    partial: bool = False


class StudyDocument(Table):
    """A whole file."""

    schema_version: Literal[1] = Field(alias="schema")
    kind: Literal["study"]
    name: Title
    machine: Profile
    attachment: Profile
    units: Units
    design: Design
    vary: Annotated[dict[str, Vary], Field(min_length=1, max_length=64)]
    poses: Poses
    results: Results
    correlations: Annotated[list[Correlation], Field(max_length=200)] = Field(default_factory=list)
    metrics: Annotated[list[Metric], Field(max_length=64)] = Field(default_factory=list)
    envelope: Envelope | None = None


Column.model_rebuild()
Poses.model_rebuild()
StudyDocument.model_rebuild()
