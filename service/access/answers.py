"""What is told of a holder, over HTTP and on the command line alike; never a secret."""

from collections.abc import Collection
from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from service.store import utc_text
from service.strict import Strict

from .caller import Role
from .holders import Holding, machines_of

RoleOut = Literal["viewer", "operator", "builder", "administrator"]
Machines = Annotated[list[str] | None, Field(description="Ids of assigned machines; null: every machine.")]
_ROLES: dict[Role, RoleOut] = {
    Role.VIEWER: "viewer", Role.OPERATOR: "operator", Role.BUILDER: "builder", Role.ADMINISTRATOR: "administrator"
}  # fmt: skip


class HolderOut(Strict):
    """Who may hold tokens, and whether one of them counts now."""

    name: str = Field(description="Stands as the actor in every record; given once and never again.")
    roles: list[RoleOut]
    machines: Machines
    state: Literal["good", "expired", "revoked"]
    created_utc: str
    revoked_utc: str | None
    expires_utc: str | None = Field(description="Of the current token; null for never.")
    token_ids: list[str] = Field(description="Public ids, the current token's last.")


def holder_out(holding: Holding, now: datetime) -> HolderOut:
    """A holder for an answer."""
    holder = holding.holder
    machines = machines_of(holder)
    return HolderOut(
        name=holder.name, roles=role_names(holder.roles),
        machines=None if machines is None else sorted(machines), state=holding.state(now),
        created_utc=utc_text(holder.created_utc), revoked_utc=maybe_stamp(holder.revoked_utc),
        expires_utc=maybe_stamp(holding.expires_utc), token_ids=[each.id for each in holding.tokens],
    )  # fmt: skip


def role_names(roles: Collection[str]) -> list[RoleOut]:
    """Roles in the order of trust."""
    return [name for role, name in _ROLES.items() if role in roles]


def maybe_stamp(when: datetime | None) -> str | None:
    """A time for an answer, where there is one."""
    return None if when is None else utc_text(when)
