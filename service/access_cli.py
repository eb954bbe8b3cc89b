"""`tipdatum access`: giving and taking access, on the database, while a service runs on it or not.

A token is printed once, alone on standard output; what is said about it goes to standard error.
"""

from pathlib import Path
from typing import Annotated

import typer

from .access.caller import Role
from .terminal import DATA, Data, Json

app = typer.Typer(
    help="Who may do what: holders, their roles and their tokens. See /guide/access.", no_args_is_help=True
)
Name = Annotated[str, typer.Argument(help="Of a person, a tablet or a program; stands in every record.")]
Roles = Annotated[
    list[Role] | None,
    typer.Option("--role", help="viewer looks; operator records on assigned machines; builder adds profiles; "
                 "administrator does all. Once for each."),
]  # fmt: skip
MachineIds = Annotated[
    list[str] | None,
    typer.Option("--machine", help="Id of a machine the operator may record for; once for each."),
]
AllMachines = Annotated[
    bool, typer.Option("--all-machines", help="The operator may record for every machine.")
]
Days = Annotated[
    float | None, typer.Option(help="The token expires after so many days; 0: at once.", show_default="180")
]
Never = Annotated[bool, typer.Option("--never-expires", help="The token does not expire by itself.")]
Out = Annotated[
    Path | None,
    typer.Option(help="Write the token into this file, for you alone to read, in place of printing it."),
]


@app.command()
def create(
    name: Name, role: Roles = None, machine: MachineIds = None, all_machines: AllMachines = False, days: Days = None,
    never_expires: Never = False, out: Out = None, data: Data = DATA, as_json: Json = False,
) -> None:  # fmt: skip
    """Create a holder and print its token, once."""
    from .granting import assigned, holders_in, kept, lasting, print_token  # noqa: PLC0415

    with holders_in(data, as_json=as_json, new=True) as holders, kept(out) as keep:
        machines = assigned(role or [], machine, every=all_machines)
        issued = holders.create(name, role or [], machines, lasting(days, 180.0, never=never_expires))
        keep(issued)
        print_token(issued, out, as_json=as_json)


@app.command("list")
def list_all(data: Data = DATA, as_json: Json = False) -> None:
    """Every holder there ever was: roles, machines, whether a token of it counts, until when."""
    from .granting import holders_in, print_all  # noqa: PLC0415

    with holders_in(data, as_json=as_json) as holders:
        print_all(holders, as_json=as_json)


@app.command()
def rotate(
    name: Name, days: Days = None, never_expires: Never = False,
    overlap_hours: Annotated[float, typer.Option(help="How long the old token still counts.")] = 0.0,
    out: Out = None, data: Data = DATA, as_json: Json = False,
) -> None:  # fmt: skip
    """Print a new token for a holder; the old one ends, and pages signed in with it."""
    from .granting import holders_in, kept, lasting, print_token  # noqa: PLC0415

    with holders_in(data, as_json=as_json) as holders, kept(out) as keep:
        issued = holders.rotate(name, lasting(days, 180.0, never=never_expires), overlap_hours)
        keep(issued)
        print_token(issued, out, as_json=as_json)


@app.command()
def expire(
    name: Name, days: Days = None, never_expires: Never = False, data: Data = DATA, as_json: Json = False
) -> None:
    """Let a holder's token expire at another time: at once, unless --days says otherwise."""
    from .granting import holders_in, lasting, print_holding  # noqa: PLC0415

    with holders_in(data, as_json=as_json) as holders:
        print_holding(holders.expire(name, lasting(days, 0.0, never=never_expires)), as_json=as_json)


@app.command()
def revoke(name: Name, data: Data = DATA, as_json: Json = False) -> None:
    """Revoke a holder for good: no token and no page of it counts from now on."""
    from .granting import holders_in, print_holding  # noqa: PLC0415

    with holders_in(data, as_json=as_json) as holders:
        print_holding(holders.revoke(name), as_json=as_json)


@app.command()
def assign(
    name: Name, role: Roles = None, machine: MachineIds = None, all_machines: AllMachines = False, data: Data = DATA,
    as_json: Json = False,
) -> None:  # fmt: skip
    """Give a holder other roles and machines, in place of those it has; its token stays."""
    from .granting import assigned, holders_in, print_holding  # noqa: PLC0415

    with holders_in(data, as_json=as_json) as holders:
        print_holding(
            holders.assign(name, role or [], assigned(role or [], machine, every=all_machines)),
            as_json=as_json,
        )
