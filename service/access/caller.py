"""Who asks: a name, roles and assigned machines. Roles say which rights, rights say which routes (`rights.py`)."""

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

from kinematics.errors import Fault, Refused

COOKIE = "tipdatum-session"
SECURE_COOKIE = f"__Host-{COOKIE}"
"""Over TLS: browsers take a cookie of this name from this very host alone (RFC 6265bis)."""


class Role(StrEnum):
    """What a holder is trusted with; several may be held."""

    VIEWER = "viewer"
    OPERATOR = "operator"
    BUILDER = "builder"
    ADMINISTRATOR = "administrator"


class Right(StrEnum):
    """What a route asks for."""

    LOOK = "look"
    """Read, and compute without recording."""
    RECORD = "record"
    """Write on a job's log, on assigned machines."""
    MEASURE = "measure"
    """Add machine and attachment profiles."""
    ADMINISTER = "administer"
    """See who holds what."""


RIGHTS: dict[Role, frozenset[Right]] = {
    Role.VIEWER: frozenset({Right.LOOK}),
    Role.OPERATOR: frozenset({Right.LOOK, Right.RECORD}),
    Role.BUILDER: frozenset({Right.LOOK, Right.MEASURE}),
    Role.ADMINISTRATOR: frozenset(Right),
}


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks. `machines`: ids of assigned machines; None: every machine."""

    name: str
    roles: frozenset[Role]
    machines: frozenset[str] | None

    def may(self, right: Right) -> bool:
        """Whether one of the roles has the right."""
        return any(right in RIGHTS[role] for role in self.roles)

    def needs_machine(self, machine: str, where: str = "") -> None:
        """Raise `Refused` "not-assigned" unless the caller may record for the machine (its profile id)."""
        if self.machines is None or machine in self.machines:
            return
        raise Refused([
            Fault("not-assigned", where, f"machine {machine!r}", f"an assigned machine: {listed(self.machines)}",
                  "ask an administrator: tipdatum access assign")
        ])  # fmt: skip


LOCAL = Caller("local", frozenset({Role.ADMINISTRATOR}), None)
"""Everybody, while access control is off: the service is then bound to this machine alone."""

NOBODY = Caller("nobody", frozenset(), frozenset())
"""Whoever asks for what is public."""


def listed(names: Collection[str]) -> str:
    """Names for people, in order; "none" for none."""
    return ", ".join(sorted(names)) or "none"
