"""The commands `simulate` and `replay`: a described dig, or a log, as the readings of a machine."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from .terminal import Json, refusals

To = Annotated[str | None, typer.Option(help="Address of a running service, such as http://127.0.0.1:8311.")]
Job = Annotated[str | None, typer.Option(help="The job to feed; simulate opens it if there is none.")]
Speed = Annotated[float, typer.Option(help="So many seconds of it in each of the world's; 0.1 to 100.")]
TokenFile = Annotated[
    Path | None, typer.Option(help="File with an operator's token; or put it into TIPDATUM_TOKEN.")
]


def register(app: typer.Typer) -> None:
    """Add both commands."""
    app.command()(simulate)
    app.command()(replay)


def simulate(
    dig: Annotated[
        Path | None, typer.Argument(help="A described dig (TOML); left out, the pump house that ships.")
    ] = None,
    to: To = None,
    job: Job = None,
    log: Annotated[
        Path | None, typer.Option(help="Write readings: .ndjson, or CAN frames .log, .asc, .blf, .trc.")
    ] = None,
    bus: Annotated[
        str | None, typer.Option(help="Send CAN frames: INTERFACE:CHANNEL, such as socketcan:can0.")
    ] = None,
    truth: Annotated[Path | None, typer.Option(help="Write where the edge truly was (NDJSON).")] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Of the sensors' errors; else the description's.")
    ] = None,
    speed: Speed = 1.0,
    token_file: TokenFile = None,
    as_json: Json = False,
) -> None:
    """Simulate a machine on a described dig: its sensors' readings to a service, a bus or a log, and the truth.

    tipdatum simulate --log pit.ndjson --truth pit.truth.ndjson

    tipdatum simulate --to http://127.0.0.1:8311 --job pump-house
    """
    from .simulation.run import run_simulation  # noqa: PLC0415

    with refusals(as_json=as_json):
        told = run_simulation(
            dig, to=to, job=job, log=log, bus=bus, truth=truth, seed=seed, speed=speed, token=_token(to, token_file),
            say=_say,
        )  # fmt: skip
    _done(told, as_json=as_json)


def replay(
    log: Annotated[Path, typer.Argument(help="Readings as .ndjson, or CAN frames .log, .asc, .blf, .trc.")],
    to: Annotated[str, typer.Option(help="Address of a running service.")] = "http://127.0.0.1:8311",
    job: Annotated[str, typer.Option(help="The job to feed.")] = ...,  # type: ignore[assignment]
    speed: Speed = 1.0,
    map_file: Annotated[
        Path | None, typer.Option("--map", help="Which source address is which sensor; else LOG.map.toml.")
    ] = None,
    token_file: TokenFile = None,
    as_json: Json = False,
) -> None:
    """Feed the readings of a log to a job, at their own pace or a multiple."""
    from .simulation.run import run_replay  # noqa: PLC0415

    with refusals(as_json=as_json):
        told = run_replay(
            log, to=to, job=job, map_file=map_file, speed=speed, token=_token(to, token_file),
            say=_say,
        )  # fmt: skip
    _done(told, as_json=as_json)


def _token(to: str | None, file: Path | None) -> str | None:
    from .prompt import token_for  # noqa: PLC0415

    return None if to is None else token_for(file)


def _say(words: str) -> None:
    """Progress goes to standard error, so that --json has standard output for itself."""
    typer.echo(words, err=True)


def _done(told: dict[str, Any], *, as_json: bool) -> None:
    """What came of it; exit code 1 where the service would not record a step."""
    if as_json:
        typer.echo(json.dumps(told, allow_nan=False))
    else:
        for name in ("sent", "lost", "recorded", "frames"):
            if name in told:
                typer.echo(f"{name}: {told[name]}")
        for code, count in told.get("refused_readings", {}).items():
            typer.echo(f"readings refused, {code}: {count}")
    if not told["ok"]:
        raise typer.Exit(1)
