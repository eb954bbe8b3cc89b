"""The options and the last words that commands which feed a job have in common."""

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .terminal import DATA

if TYPE_CHECKING:
    from .bus.ways import Through

To = Annotated[str | None, typer.Option(help="Address of a running service, such as http://127.0.0.1:8311.")]
Job = Annotated[str | None, typer.Option(help="The job to feed; simulate opens it if there is none.")]
Speed = Annotated[float, typer.Option(help="So many seconds of it in each of the world's; 0.1 to 100.")]
TokenFile = Annotated[
    Path | None, typer.Option(help="File with an operator's token; or put it into TIPDATUM_TOKEN.")
]

Broker = Annotated[
    str | None,
    typer.Option(
        help="Feed through an MQTT broker: mqtts://USER@HOST/PREFIX; with a password put it into TIPDATUM_MQTT."
    ),
]
SpoolFile = Annotated[
    Path | None,
    typer.Option("--spool", help="Where readings wait while the broker or every service is away."),
]
As = Annotated[
    str | None,
    typer.Option("--as", help="What this machine side is called at the broker; else this computer's name."),
]
Unencrypted = Annotated[
    bool, typer.Option("--unencrypted", help="A broker beyond this computer without TLS, knowingly.")
]


def by_broker(
    broker: str | None, spool: Path | None, name: str | None, *, unencrypted: bool
) -> "Through | None":
    """The broker to feed through, if one is named."""
    from .bus.ways import through  # noqa: PLC0415

    folder = Path(os.environ.get("TIPDATUM_DATA_FOLDER") or DATA)
    return through(broker, spool, name, folder, unencrypted=unencrypted)


def token_of(to: str | None, file: Path | None) -> str | None:
    """The token for a service, if one is fed."""
    from .prompt import token_for  # noqa: PLC0415

    return None if to is None else token_for(file)


def say(words: str) -> None:
    """Progress goes to standard error, so that --json has standard output for itself."""
    typer.echo(words, err=True)


_COUNTS = (
    "sent", "lost", "frames_taken", "frames_repeated", "frames_overflowed", "frames_waiting", "late", "thinned",
    "withheld", "recorded", "frames",
)  # fmt: skip


def done(told: dict[str, Any], *, as_json: bool) -> None:
    """What came of it; exit code 1 where the service would not record a step."""
    if as_json:
        typer.echo(json.dumps(told, allow_nan=False))
    else:
        for name in _COUNTS:
            if name in told:
                typer.echo(f"{name}: {told[name]}")
        for code, count in told.get("refused_readings", {}).items():
            typer.echo(f"readings refused, {code}: {count}")
    if not told["ok"]:
        raise typer.Exit(1)
