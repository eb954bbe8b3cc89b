"""Giving and taking access: what `tipdatum access` does. Works on the database, whether or not a service runs on it."""

import unicodedata
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy.orm import Session

from kinematics.errors import Fault, Refused, refuse
from machine_profiles import shipped
from service.secret import Credential, hide, holds_one, mint
from service.store import Database, access, profiles
from service.store.access import StoredCredential, StoredHolder

from .caller import LOCAL, NOBODY, Role, listed

LONGEST_NAME = 60
_RESERVED = {LOCAL.name, NOBODY.name}
LONGEST_DAYS = 3650


@dataclass(frozen=True, slots=True)
class Holding:
    """A holder with its tokens, the current one last."""

    holder: StoredHolder
    tokens: tuple[StoredCredential, ...]

    def state(self, now: datetime) -> Literal["good", "expired", "revoked"]:
        """good, expired, or revoked; a rotated token that still counts beside the new one changes nothing."""
        if self.holder.revoked_utc is not None:
            return "revoked"
        return "good" if any(counts(each, now) for each in self.tokens) else "expired"

    @property
    def expires_utc(self) -> datetime | None:
        """When the current token expires, None for never."""
        return self.tokens[-1].expires_utc


@dataclass(frozen=True, slots=True)
class Issued:
    """A token just made; its text is not kept and cannot be told again."""

    holding: Holding
    credential: Credential


def counts(credential: StoredCredential, now: datetime) -> bool:
    """Whether a credential has neither ended nor expired."""
    return credential.ended_utc is None and (credential.expires_utc is None or now < credential.expires_utc)


def machines_of(holder: StoredHolder) -> frozenset[str] | None:
    """Ids of the machines a holder may record for, as far as its roles let it record; None: every machine."""
    every = Role.ADMINISTRATOR in holder.roles or holder.machines is None
    return None if every else frozenset(holder.machines or ())


class Holders:
    """The holders in a database. Every method raises `Refused` with every fault of what it was given."""

    def __init__(self, database: Database, now: Callable[[], datetime]) -> None:
        self._database = database
        self._now = now

    def all(self) -> list[Holding]:
        """Every holder there ever was, in order of name."""
        return self._database.read(lambda s: [_holding(s, each) for each in access.holders(s)])

    def any_good(self) -> bool:
        """Whether anybody could be let in now."""
        now = self._now()
        return any(each.state(now) == "good" for each in self.all())

    def create(
        self, name: str, roles: Collection[Role], machines: Collection[str] | None, days: float | None
    ) -> Issued:
        """A new holder with its first token, which expires after `days` (None: never).

        `machines`: ids an operator may record for, None for every machine. Refused: "bad-name", "holder-exists",
        "no-role", "no-machine", "machines-useless", "unknown-machine", "out-of-range".
        """

        def work(session: Session) -> Issued:
            refuse([
                *_name_faults(session, name), *_trust_faults(session, roles, machines), *_days_faults("--days", days),
            ])  # fmt: skip
            now = self._now()
            access.add_holder(session, name, roles, machines, now)
            return self._issue(session, name, now, days)

        return self._database.write(work)

    def rotate(self, name: str, days: float | None, overlap_hours: float = 0.0) -> Issued:
        """A new token for a holder; the old ones end at once, or after `overlap_hours`, sessions with them."""

        def work(session: Session) -> Issued:
            refuse([*_days_faults("--days", days), *_overlap_faults(overlap_hours)])
            found = _active(session, name)
            now = self._now()
            until = now + timedelta(hours=overlap_hours)
            for each in found.tokens:
                if overlap_hours and counts(each, now):
                    sooner = until if each.expires_utc is None else min(until, each.expires_utc)
                    access.expire(session, [each.id], sooner)
                else:
                    access.end(session, [each.id], now)
            return self._issue(session, name, now, days)

        return self._database.write(work)

    def expire(self, name: str, days: float | None) -> Holding:
        """Let what a holder has expire in `days` from now (0: now, None: never); what has ended stays ended."""

        def work(session: Session) -> Holding:
            refuse(_days_faults("--days", days))
            found = _active(session, name)
            now = self._now()
            when = None if days is None else now + timedelta(days=days)
            access.expire(session, [each.id for each in found.tokens[-1:]], when)
            # A token rotated with an overlap keeps its own, earlier end; none counts beyond the new one.
            late = [
                e.id
                for e in found.tokens
                if when is not None and counts(e, now) and (e.expires_utc is None or e.expires_utc > when)
            ]
            access.expire(session, late, when)
            return _of(session, name)

        return self._database.write(work)

    def revoke(self, name: str) -> Holding:
        """Revoke a holder for good. The name stays taken, since the records keep it."""

        def work(session: Session) -> Holding:
            _of(session, name)
            access.revoke(session, name, self._now())
            return _of(session, name)

        return self._database.write(work)

    def assign(self, name: str, roles: Collection[Role], machines: Collection[str] | None) -> Holding:
        """Other roles and machines for a holder; its tokens stay."""

        def work(session: Session) -> Holding:
            refuse(_trust_faults(session, roles, machines))
            _active(session, name)
            access.assign(session, name, roles, machines)
            return _of(session, name)

        return self._database.write(work)

    def _issue(self, session: Session, name: str, now: datetime, days: float | None) -> Issued:
        made = mint()
        until = None if days is None else now + timedelta(days=days)
        # The latest is the current one, also where the clock was set back since the one before.
        before = [each.issued_utc for each in access.tokens(session, name)]
        issued = max([now, *(each + timedelta(microseconds=1) for each in before)])
        access.add_credential(session, made.id, name, made.digest, issued, until)
        return Issued(_of(session, name), made)


def _holding(session: Session, holder: StoredHolder) -> Holding:
    return Holding(holder, tuple(access.tokens(session, holder.name)))


def _of(session: Session, name: str) -> Holding:
    found = access.holder(session, name)
    if found is None:
        there = listed([each.name for each in access.holders(session) if each.revoked_utc is None])
        raise Refused([
            Fault("unknown-holder", "name", repr(name), f"one of: {there}", "tipdatum access list shows them")
        ])  # fmt: skip
    return _holding(session, found)


def _active(session: Session, name: str) -> Holding:
    found = _of(session, name)
    if found.holder.revoked_utc is not None:
        raise Refused([
            Fault("holder-revoked", "name", f"{name!r}, who was revoked", "a holder who still has access",
                  "create one under another name")
        ])  # fmt: skip
    return found


def _name_faults(session: Session, name: str) -> Iterator[Fault]:
    good = 0 < len(name) <= LONGEST_NAME and name == name.strip() and name.isprintable()
    good = good and unicodedata.is_normalized("NFC", name)
    if not good or name.casefold() in _RESERVED or holds_one(name):
        yield Fault("bad-name", "name", f"{hide(name)[:LONGEST_NAME]!r}, {len(name)} signs",
                    f"1 to {LONGEST_NAME} signs on one line, no blanks at its ends, not {LOCAL.name!r}",
                    "name the person, tablet or program: it stands in every record")  # fmt: skip
    elif name.casefold() in {each.name.casefold() for each in access.holders(session)}:
        yield Fault("holder-exists", "name", repr(name), "a name never given before: records keep it",
                    "choose another name, or rotate its token if it is the same holder")  # fmt: skip


def _trust_faults(
    session: Session, roles: Collection[Role], machines: Collection[str] | None
) -> Iterator[Fault]:
    if not roles:
        yield Fault("no-role", "--role", "none", f"at least one of: {', '.join(Role)}")
    records = Role.OPERATOR in roles and Role.ADMINISTRATOR not in roles
    if records and machines is not None and not machines:
        yield Fault("no-machine", "--machine", "none", "the machines an operator may record for",
                    "name each with --machine, or say --all-machines")  # fmt: skip
    if not records and machines:
        yield Fault("machines-useless", "--machine", listed(machines), "no machine without the role of operator",
                    "an administrator has every machine, a viewer or builder records for none")  # fmt: skip
    known = {profile_id for kind, profile_id in shipped() if kind == "machine"}
    known |= {row.profile_id for row in profiles.list_current(session, "machine")}
    for machine in sorted(set(machines or ()) - known):
        yield Fault("unknown-machine", "--machine", repr(machine), f"one of: {listed(known)}",
                    "add its profile first, or correct the id")  # fmt: skip


def _days_faults(where: str, days: float | None) -> Iterator[Fault]:
    if days is not None and not 0 <= days <= LONGEST_DAYS:
        yield Fault("out-of-range", where, f"{days:g}", f"0 to {LONGEST_DAYS}", "or say --never-expires")


def _overlap_faults(hours: float) -> Iterator[Fault]:
    if not 0 <= hours <= 24 * 7:
        yield Fault("out-of-range", "--overlap-hours", f"{hours:g}", "0 to 168: one week")
