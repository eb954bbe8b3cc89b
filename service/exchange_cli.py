"""The commands `profile export` and `profile from-pins`: a machine to other programs, and from a table of pins."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from .terminal import Json, refusals


class Kind(StrEnum):
    """What kind of profile a table gives."""

    MACHINE = "machine"
    ATTACHMENT = "attachment"


class Format(StrEnum):
    """What a model is written as."""

    URDF = "urdf"
    MJCF = "mjcf"


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("export")(export)
    app.command("from-pins")(from_pins)


def export(
    machine: Annotated[str, typer.Argument(help="Id of a shipped machine, or a TOML file.")],
    attachment: Annotated[str, typer.Argument(help="Id of a shipped attachment, or a TOML file.")],
    form: Annotated[Format, typer.Option("--as", help="urdf, or mjcf with its bucket linkage closed.")] = ...,  # type: ignore[assignment]
    pitch: Annotated[float, typer.Option(help="Body pitch, degrees, nose up positive.")] = ...,  # type: ignore[assignment]
    roll: Annotated[float, typer.Option(help="Body roll, degrees, left side up positive.")] = ...,  # type: ignore[assignment]
    out: Annotated[
        Path | None, typer.Option(help="Write into this new file, not to standard output.")
    ] = None,
    as_json: Json = False,
) -> None:
    """A machine with its attachment as URDF or MJCF, for Pinocchio, MuJoCo and whatever else reads them.

    tipdatum profile export crawler-14t tilting-1800 --as urdf --pitch 0 --roll 0 --out crawler.urdf
    """
    from .exchange_run import model_text, write_new  # noqa: PLC0415

    with refusals(as_json=as_json):
        text = model_text(machine, attachment, form.value, pitch, roll)
        write_new(out, text, as_json=as_json)


def from_pins(
    pins: Annotated[Path, typer.Argument(help="CSV: pin,x_mm,y_mm,z_mm, or pin,x_mm,z_mm of a side view.")],
    profile_id: Annotated[str, typer.Option("--id", help="Id that the profile is to have.")] = ...,  # type: ignore[assignment]
    name: Annotated[str, typer.Option(help="Name for people.")] = ...,  # type: ignore[assignment]
    source: Annotated[str, typer.Option(help="Who measured it, when and how.")] = ...,  # type: ignore[assignment]
    pitch: Annotated[float, typer.Option(help="Body pitch meanwhile, degrees, nose up positive.")] = ...,  # type: ignore[assignment]
    roll: Annotated[float, typer.Option(help="Body roll meanwhile, degrees, left side up positive.")] = ...,  # type: ignore[assignment]
    kind: Annotated[Kind, typer.Option(help="machine, or attachment for a plain bucket.")] = Kind.MACHINE,
    stroke: Annotated[
        list[str] | None, typer.Option(help="boom=1417:2430:raises, mm; once for each cylinder in the table.")
    ] = None,
    span: Annotated[
        list[str] | None,
        typer.Option("--range", help="boom=-41:54, degrees; once for each joint without one."),
    ] = None,
    left: Annotated[
        float | None, typer.Option(help="Of a side view: boom foot pin left of the swing axis, mm.")
    ] = None,
    tolerance: Annotated[
        float | None, typer.Option(help="How far a pin may lie off the plane of all, mm.", show_default="10")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Write into this new file, not to standard output.")
    ] = None,
    as_json: Json = False,
) -> None:
    """A profile from pins measured in one posture, any that reaches out, by total station or from a drawing.

    tipdatum profile from-pins pins.csv --id our-digger --name "Our digger" --source "Measured in the yard" --pitch 0
    --roll 0 --stroke boom=1417:2430:raises --stroke stick=1965:3015:lowers --stroke bucket=1410:2415
    """
    from .exchange_run import Words, survey_text, write_new  # noqa: PLC0415

    with refusals(as_json=as_json):
        words = Words(
            kind.value, profile_id, name, source, pitch, roll, stroke or [], span or [], left, tolerance
        )  # fmt: skip
        found = survey_text(pins, words)
        write_new(out, found.toml, as_json=as_json)
    if not as_json:
        for doubt in found.doubts:
            typer.echo(f"doubtful: {doubt}", err=True)
