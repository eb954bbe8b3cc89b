"""The commands `fit` and `zero`: are the sensors the ones they are called, and where is the zero of each?"""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from .feeding_options import TokenFile, say, token_of
from .terminal import Json, refusals


def register(app: typer.Typer) -> None:
    """Add both commands."""
    app.command()(fit)
    app.command()(zero)


def fit(
    to: Annotated[str, typer.Option(help="Address of a running service.")] = "http://127.0.0.1:8311",
    job: Annotated[str, typer.Option(help="The job on which the machine stands.")] = ...,  # type: ignore[assignment]
    record: Annotated[Path | None, typer.Option(help="Write moves and verdict into a new file.")] = None,
    again: Annotated[
        Path | None, typer.Option(help="Judge the moves of such a file anew, nothing is moved.")
    ] = None,
    body_zeroed: Annotated[
        bool, typer.Option("--body-zeroed", help="The body's zero has been set: tipdatum zero --half-turn.")
    ] = False,
    token_file: TokenFile = None,
    as_json: Json = False,
) -> None:
    """Move one joint at a time as asked: names swapped sensors, wrong signs, units and conventions.

    The sensors feed the job meanwhile. Exit code 1 unless every sensor was seen to be right.
    """
    from .fit_run import run_fit  # noqa: PLC0415

    with refusals(as_json=as_json):
        found = run_fit(
            to=to,
            job=job,
            token=token_of(to, token_file),
            record=record,
            again=again,
            body_zeroed=body_zeroed,
            ask=_ask,
            say=say,
        )
    if as_json:
        typer.echo(json.dumps(found, allow_nan=False))
    else:
        _print(found["verdict"])
    if not found["ok"]:
        raise typer.Exit(1)


def zero(
    sensor: Annotated[
        str | None, typer.Argument(help="Which sensor; left out with --half-turn, which sets the body's.")
    ] = None,
    to: Annotated[str, typer.Option(help="Address of a running service.")] = "http://127.0.0.1:8311",
    job: Annotated[str, typer.Option(help="The job on which the machine stands.")] = ...,  # type: ignore[assignment]
    uncertainty: Annotated[
        float,
        typer.Option(help="Standard uncertainty of the check: of level and line in deg, of --tape in mm."),
    ] = ...,  # type: ignore[assignment]
    level: Annotated[
        float | None,
        typer.Option(help="A level on the link's pin line: deg, positive with its outer end higher."),
    ] = None,
    back: Annotated[
        bool, typer.Option("--back", help="With --level: the outer end points back to the machine.")
    ] = False,
    plumb: Annotated[
        str | None, typer.Option(help="A plumb line through both pins: the outer pin below or above.")
    ] = None,
    to_edge: Annotated[
        bool, typer.Option("--to-edge", help="Of a bucket: the line from bucket pin to the edge's centre.")
    ] = False,
    pitch: Annotated[
        float | None, typer.Option(help="The body's pitch as measured, deg; with --roll.")
    ] = None,
    roll: Annotated[float | None, typer.Option(help="The body's roll as measured, deg.")] = None,
    half_turn: Annotated[
        bool, typer.Option("--half-turn", help="The body, by swinging half a turn; no level needed.")
    ] = False,
    edge: Annotated[
        float | None, typer.Option(help="The edge under a level, deg, positive with its left corner higher.")
    ] = None,
    joint: Annotated[float | None, typer.Option(help="The true angle of an encoder's joint, deg.")] = None,
    tape: Annotated[float | None, typer.Option(help="A cylinder pin to pin by tape, mm.")] = None,
    write: Annotated[
        Path | None, typer.Option(help="Write the profile's text with the new zero into a new file.")
    ] = None,
    token_file: TokenFile = None,
    as_json: Json = False,
) -> None:
    """The zero of one sensor from a level, a plumb line, half a turn or a tape; all others stay as they are.

    tipdatum zero boom --job pump-house --level 0.4 --uncertainty 0.1 --write our-digger-2.toml
    """
    from .zero_run import check_of, run_zero  # noqa: PLC0415

    given = {
        "sensor": sensor, "level": level, "back": back, "plumb": plumb, "to_edge": to_edge, "pitch": pitch, "roll": roll,
        "half_turn": half_turn, "edge": edge, "joint": joint, "tape": tape, "uncertainty": uncertainty,
    }  # fmt: skip
    with refusals(as_json=as_json):
        found = run_zero(
            to=to, job=job, token=token_of(to, token_file), sensor=sensor, check=check_of(given), write=write, ask=_ask,
            say=say,
        )  # fmt: skip
    if as_json:
        typer.echo(json.dumps(found, allow_nan=False))
        return
    for each in found["zeros"]:
        for key, value in each["after"].items():
            was = each["before"][key]
            typer.echo(f"{each['sensor']}.{key}: {value:.3f} {each['unit']}, was {was:.3f}")
        typer.echo(f"standard uncertainty: {each['uncertainty']:.3f} {each['unit']}")
        for doubt in each["doubts"]:
            typer.echo(f"doubtful: {doubt}")
    typer.echo(found["then"])


def _ask(words: str) -> str:
    """One line of an answer; an input that has ended has had enough."""
    typer.echo(f"{words}: ", nl=False, err=True)
    try:
        return input()
    except EOFError:
        return "q"


def _print(verdict: dict[str, Any]) -> None:
    typer.echo("")
    for name, status in verdict["sensors"].items():
        typer.echo(f"{name}: {status}")
    for words in verdict["words"]:
        typer.echo(words)
