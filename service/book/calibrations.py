"""Calibrations on record: applied and rolled back, each in one transaction with the profile revisions that come of it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from kinematics.errors import Fault, Refused, refuse
from machine_profiles import Profile, parse_profile, shipped
from machine_profiles.rewriting import Rewriting
from service.store import Database, StoredCalibration, calibrations
from service.store import profiles as revisions

from .keyed import Key, repeated
from .profiles import Profiles, put

Halves = tuple[Profile, Profile]
"""Machine and attachment."""


@dataclass(frozen=True, slots=True)
class Applying:
    """What is to be put on record: both halves before and after (the same where one stays), and the document."""

    before: Halves
    after: Halves
    document: Mapping[str, Any]


class Calibrations:
    """The calibrations in a database."""

    def __init__(self, database: Database, profiles: Profiles, now: Callable[[], datetime]) -> None:
        self._database, self._profiles, self._now = database, profiles, now

    def today(self) -> str:
        """The day, UTC, as a profile writes it."""
        return self._now().date().isoformat()

    def repeated(self, key: Key) -> StoredCalibration | None:
        """What the same request recorded before, None for nothing. `Refused` "idempotency-conflict" for another one."""
        return self._database.read(lambda session: _repeated(session, key))

    def apply(self, new: Applying, actor: str, key: Key) -> StoredCalibration:
        """Record a calibration and its revisions at once. `Refused`, and nothing is written: "older-revision" where a
        half is no longer at the revision before, "idempotency-conflict"."""

        def work(session: Session) -> StoredCalibration:
            before = _repeated(session, key)
            return before or self._put(session, new, actor, key, "calibrated", None)

        return self._recorded(work)

    def roll_back(self, calibration_id: str, actor: str, key: Key) -> StoredCalibration:
        """Make the revisions before a calibration current again, as new revisions with [restored] in them.

        `Refused`: "unknown-calibration", "rolled-back" for one that is or that is a roll-back itself, "older-revision"
        where a later revision came since.
        """

        def work(session: Session) -> StoredCalibration:
            before = _repeated(session, key)
            if before is not None:
                return before
            of = _known(session, calibration_id)
            done = calibrations.rolled_back_by(session, of.id)
            if of.rolls_back is not None or done is not None:
                found = "a roll-back itself" if done is None else f"rolled back by {done.id}"
                raise Refused([
                    Fault("rolled-back", "", f"{of.id}, {found}", "a calibration that stands", "nothing is left to undo")
                ])  # fmt: skip
            now = tuple(
                _profile(session, kind, each[1])
                for kind, each in (("machine", of.machine), ("attachment", of.attachment))
            )
            old = tuple(
                _profile(session, kind, each[0])
                for kind, each in (("machine", of.machine), ("attachment", of.attachment))
            )
            again = tuple(
                here if here.content_hash == there.content_hash else restored(there, here, self.today())
                for here, there in zip(now, old, strict=True)
            )
            told = {"rolls_back": of.id, "toml": {each.kind: each.source_text for each in again}}
            new = Applying((now[0], now[1]), (again[0], again[1]), told)
            return self._put(session, new, actor, key, "restored", of.id)

        return self._recorded(work)

    def get(self, calibration_id: str) -> tuple[StoredCalibration, str | None]:
        """One on record, and the id of its roll-back. `Refused` "unknown-calibration"."""

        def work(session: Session) -> tuple[StoredCalibration, str | None]:
            found = _known(session, calibration_id)
            done = calibrations.rolled_back_by(session, found.id)
            return found, None if done is None else done.id

        return self._database.read(work)

    def latest(self, before: int | None, limit: int) -> list[StoredCalibration]:
        """The latest first, from below an ordinal."""
        return self._database.read(lambda session: calibrations.list_calibrations(session, before, limit))

    def _put(
        self, session: Session, new: Applying, actor: str, key: Key, origin: str, rolls_back: str | None
    ) -> StoredCalibration:
        refuse(_moved_on(session, new))
        for before, after in zip(new.before, new.after, strict=True):
            if before.content_hash != after.content_hash and not put(
                session, after, origin, self._now(), actor
            ):
                raise Refused([_overtaken(after, "the same revision on record already")])
        hashes = [(a.content_hash, b.content_hash) for a, b in zip(new.before, new.after, strict=True)]
        return calibrations.put_calibration(
            session, str(uuid4()), machine_id=new.before[0].id, machine=hashes[0], attachment_id=new.before[1].id,
            attachment=hashes[1], document=new.document, actor=actor, recorded_utc=self._now(), rolls_back=rolls_back,
            idempotency_key=key.key, request_hash=None if key.key is None else key.request_hash,
        )  # fmt: skip

    def _recorded(self, work: Callable[[Session], StoredCalibration]) -> StoredCalibration:
        done = self._database.write(work)
        self._profiles.refresh("machine", done.machine_id)
        self._profiles.refresh("attachment", done.attachment_id)
        return done


def own_faults(changed: Mapping[str, Profile]) -> list[Fault]:
    """The fault of each shipped profile, by its pointer, that a calibration would replace: it is nobody's machine."""
    return [
        Fault("name-taken", where, f"{profile.id}, a shipped {profile.kind}", f"a {profile.kind} of your own",
              f"give its text an id of your own and add it: tipdatum profile show {profile.id}")
        for where, profile in changed.items() if (profile.kind, profile.id) in shipped()
    ]  # fmt: skip


def restored(old: Profile, current: Profile, today: str) -> Profile:
    """An old revision made new by a [restored] table: every number and word of it otherwise as it was."""
    text = Rewriting(old)
    text.put_table(
        "restored", {"date": today, "revision": old.content_hash, "instead_of": current.content_hash}
    )
    return parse_profile(text.done())


def _moved_on(session: Session, new: Applying) -> list[Fault]:
    """Of both halves, the one that stays too: what was found holds for the pair."""
    faults = []
    for profile in new.before:
        row = revisions.current_revision(session, profile.kind, profile.id)
        if row is None or row.content_hash != profile.content_hash:
            now = "none" if row is None else row.content_hash[:12]
            faults.append(_overtaken(profile, f"{profile.kind} {profile.id} at revision {now}"))
    return faults


def _overtaken(profile: Profile, found: str) -> Fault:
    return Fault(
        "older-revision", f"{profile.kind}_revision", found, f"revision {profile.content_hash[:12]}, as found from",
        "read the profile again and decide anew",
    )  # fmt: skip


def _repeated(session: Session, key: Key) -> StoredCalibration | None:
    return repeated(session, key, calibrations.by_key, lambda found: f"calibration {found.id}")


def _known(session: Session, calibration_id: str) -> StoredCalibration:
    found = calibrations.get_calibration(session, calibration_id)
    if found is None:
        raise Refused([
            Fault("unknown-calibration", "", repr(calibration_id[:60]), "a calibration on record",
                  "GET /v1/calibrations lists them")
        ])  # fmt: skip
    return found


def _profile(session: Session, kind: str, content_hash: str) -> Profile:
    row = revisions.get_revision(session, kind, content_hash)
    if row is None:
        raise LookupError(f"{kind} revision {content_hash} is not on record")
    return parse_profile(row.source_text)
