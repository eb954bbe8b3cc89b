"""The options and the last words that commands which feed a job have in common."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

To = Annotated[str | None, typer.Option(help="Address of a running service, such as http://127.0.0.1:8311.")]
Job = Annotated[str | None, typer.Option(help="The job to feed; simulate opens it if there is none.")]
Speed = Annotated[float, typer.Option(help="So many seconds of it in each of the world's; 0.1 to 100.")]
TokenFile = Annotated[
    Path | None, typer.Option(help="File with an operator's token; or put it into TIPDATUM_TOKEN.")
]


def token_of(to: str | None, file: Path | None) -> str | None:
    """The token for a service, if one is fed."""
    from .prompt import token_for  # noqa: PLC0415

    return None if to is None else token_for(file)


def say(words: str) -> None:
    """Progress goes to standard error, so that --json has standard output for itself."""
    typer.echo(words, err=True)


def done(told: dict[str, Any], *, as_json: bool) -> None:
    """What came of it; exit code 1 where the service would not record a step."""
    if as_json:
        typer.echo(json.dumps(told, allow_nan=False))
    else:
        for name in ("sent", "lost", "late", "thinned", "withheld", "recorded", "frames"):
            if name in told:
                typer.echo(f"{name}: {told[name]}")
        for code, count in told.get("refused_readings", {}).items():
            typer.echo(f"readings refused, {code}: {count}")
    if not told["ok"]:
        raise typer.Exit(1)
