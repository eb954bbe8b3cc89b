"""What all commands share: refusals printed with every fault, and one JSON object for programs."""

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from kinematics.errors import Fault, Refused

from .secret import hide

Json = Annotated[bool, typer.Option("--json", help="One JSON object on standard output, for programs.")]
Data = Annotated[
    Path, typer.Option(help="Folder of the database; made if it is not there.", envvar="TIPDATUM_DATA_FOLDER")
]
DATA = Path("tipdatum-data")


@contextmanager
def refusals(*, as_json: bool) -> Iterator[None]:
    """Print what was refused, every fault, and leave with exit code 1."""
    try:
        yield
    except Refused as refused:
        leave(refused.faults, as_json=as_json)


def leave(faults: Sequence[Fault], *, as_json: bool) -> NoReturn:
    """Print faults and leave with exit code 1; a token typed in the wrong place is not shown again."""
    if as_json:
        listed = [
            {"code": f.code, "where": f.where, "expected": f.expected, "found": f.found, "advice": f.advice,
             "numbers": dict(f.numbers)}
            for f in faults
        ]  # fmt: skip
        typer.echo(hide(json.dumps({"ok": False, "faults": listed}, allow_nan=False)))
    else:
        for fault in faults:
            typer.echo(hide(str(fault)), err=True)
    raise typer.Exit(1)
