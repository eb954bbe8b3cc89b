"""Profile revisions by content hash, and the assemblies made of them."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import datetime

from sqlalchemy.orm import Session

from kinematics.assembly import Assembly, assemble
from kinematics.errors import Fault, Refused, refuse
from kinematics.hydraulics import Hydraulics
from kinematics.machine import Attachment, Machine, Point
from kinematics.sensor_set import SensorSet
from machine_profiles import Profile, parse_profile, shipped
from machine_profiles.sensor_pair import sensor_set
from service.store import Database, StoredRevision, canonical_json, profiles

from .state import Named

_KEPT = 64
Ready = tuple[Named, Named, Assembly]
_Key = tuple[str, str, Point | None]


class Profiles:
    """The revisions in a database, with the last few assemblies kept ready.

    Which revision is the latest is kept too, where nobody else can record one.
    """

    def __init__(self, database: Database, now: Callable[[], datetime]) -> None:
        self._database = database
        self._now = now
        self._ready: OrderedDict[_Key, Assembly] = OrderedDict()
        self._sensed: OrderedDict[_Key, tuple[Assembly, SensorSet | None]] = OrderedDict()
        self._lock = threading.Lock()
        self._latest: dict[tuple[str, str], Named] = {}
        self._seen: dict[tuple[str, str], Named] = {}  # the latest when a shared database was last asked

    def load_shipped(self) -> None:
        """Put the profiles of this release on record; a revision that is there already stays as it is."""

        def work(session: Session) -> None:
            for profile in shipped().values():
                put(session, profile, "shipped", self._now())

        self._database.write(work)

    def upload(self, profile: Profile, actor: str, expected: str | None = None) -> bool:
        """Record a revision; True if it is new. `expected`: the revision that it is to follow.

        `Refused` "name-taken" for the id of a shipped profile, "revision-mismatch" where another is current."""
        if (profile.kind, profile.id) in shipped():
            raise Refused([
                Fault("name-taken", "id", repr(profile.id), "an id that no shipped profile has",
                      "give your machine an id of its own")
            ])  # fmt: skip

        def work(session: Session) -> bool:
            if expected is not None:
                _follows(session, profile, expected)
            return put(session, profile, "uploaded", self._now(), actor)

        new = self._database.write(work)
        self.refresh(profile.kind, profile.id)
        if self.latest(profile.kind, profile.id).hash != profile.content_hash:
            raise Refused([
                Fault("older-revision", "toml", "a revision on record that a later one has replaced",
                      "a revision that is new or current", "change its source line to record it anew")
            ])  # fmt: skip
        return new

    def refresh(self, kind: str, profile_id: str) -> None:
        """Read anew which revision is the latest, after one was recorded."""
        if self._database.shared:
            return
        with self._lock:  # read and kept in one go, or a slower upload could keep an older revision
            row = self._database.read(lambda s: profiles.current_revision(s, kind, profile_id))
            if row is not None:
                self._latest[kind, profile_id] = Named(profile_id, row.content_hash)

    def latest(self, kind: str, profile_id: str) -> Named:
        """The latest revision of an id. `Refused` "unknown-machine" or "unknown-attachment"."""
        with self._lock:
            known = None if self._database.shared else self._latest.get((kind, profile_id))
        if known is not None:
            return known
        row = self._database.read(lambda s: profiles.current_revision(s, kind, profile_id))
        if row is None:
            there = self._database.read(lambda s: [r.profile_id for r in profiles.list_current(s, kind)])
            raise Refused([
                Fault(f"unknown-{kind}", kind, repr(profile_id), f"one of: {', '.join(sorted(there))}",
                      "add the profile, or correct the id")
            ])  # fmt: skip
        named = Named(profile_id, row.content_hash)
        if self._database.shared:
            self._seen[kind, profile_id] = named
            return named
        with self._lock:
            return self._latest.setdefault((kind, profile_id), named)

    def latest_seen(self, kind: str, profile_id: str) -> Named | None:
        """The same without waiting for a shared database: as it was last looked at, None before that."""
        return self._seen.get((kind, profile_id)) if self._database.shared else self.latest(kind, profile_id)

    def look_again(self, wanted: Collection[tuple[str, str]]) -> None:
        """See which revisions are the latest now, where another service may have recorded one."""

        def look(session: Session) -> list[tuple[tuple[str, str], StoredRevision | None]]:
            return [(each, profiles.current_revision(session, *each)) for each in wanted]

        if self._database.shared:
            for (kind, profile_id), row in self._database.read(look):
                if row is not None:
                    self._seen[kind, profile_id] = Named(profile_id, row.content_hash)

    def all_current(self, kind: str) -> list[StoredRevision]:
        """The latest revision of every profile of a kind."""
        return self._database.read(lambda s: list(profiles.list_current(s, kind)))

    def revisions(self, kind: str, profile_id: str) -> list[StoredRevision]:
        """Every revision of an id, oldest first."""
        return self._database.read(lambda s: list(profiles.list_revisions(s, kind, profile_id)))

    def revision(self, kind: str, profile_id: str, content_hash: str) -> StoredRevision:
        """One revision. `Refused` "unknown-revision"."""
        row = self._database.read(lambda s: profiles.get_revision(s, kind, content_hash))
        if row is None or row.profile_id != profile_id:
            raise Refused(
                [
                    Fault(
                        "unknown-revision",
                        "revision",
                        content_hash,
                        f"a revision of {profile_id}",
                        "list its revisions",
                    )
                ]
            )
        return row

    def ready(self, machine_id: str, attachment_id: str) -> Ready | None:
        """The latest revisions of both with their assembly, if all is at hand without waiting; never of a shared
        database, which has to be asked."""
        with self._lock:
            machine = self._latest.get(("machine", machine_id))
            attachment = self._latest.get(("attachment", attachment_id))
            if machine is None or attachment is None:
                return None
            made = self._ready.get((machine.hash, attachment.hash, None))
        return None if made is None else (machine, attachment, made)

    def pair(self, machine_id: str, attachment_id: str) -> Ready:
        """The latest revisions of both with their assembly. `Refused` with whichever is unknown, or what does not fit."""
        found: list[Named] = []
        faults: list[Fault] = []
        for kind, each in (("machine", machine_id), ("attachment", attachment_id)):
            try:
                found.append(self.latest(kind, each))
            except Refused as refused:
                faults += refused.faults
        refuse(faults)
        machine, attachment = found
        return machine, attachment, self.fitted(machine, attachment)

    def fitted(
        self, machine: Named | None, attachment: Named | None, receiver_place: Point | None = None
    ) -> Assembly:
        """Machine and attachment assembled, the receiver moved where it is clamped."""
        if machine is None or attachment is None:
            raise Refused(
                [Fault("no-setup", "", "a job without a machine", "a setup", "record a setup first")]
            )
        key = (machine.hash, attachment.hash, receiver_place)
        with self._lock:
            ready = self._ready.get(key)
            if ready is not None:
                self._ready.move_to_end(key)
                return ready
        carrier = self._geometry("machine", machine.hash)
        tool = self._geometry("attachment", attachment.hash)
        if not (isinstance(carrier, Machine) and isinstance(tool, Attachment)):
            raise TypeError("a machine and an attachment are needed")
        if receiver_place is not None and carrier.receiver is not None:
            carrier = replace(carrier, receiver=replace(carrier.receiver, place=receiver_place))
        made = assemble(carrier, tool)
        with self._lock:
            # Sensors sit on one assembly: of two that were made at the same time everybody gets the first.
            made = self._ready.setdefault(key, made)
            self._ready.move_to_end(key)
            if len(self._ready) > _KEPT:
                self._ready.popitem(last=False)
        return made

    def sensed(
        self, machine: Named | None, attachment: Named | None, receiver_place: Point | None = None
    ) -> SensorSet | None:
        """The sensors of both profiles on their assembly; None where they have none. `Refused` as `sensor_set`."""
        fitted = self.fitted(machine, attachment, receiver_place)
        assert machine is not None  # noqa: S101  # `fitted` has refused that
        assert attachment is not None  # noqa: S101
        key = (machine.hash, attachment.hash, receiver_place)
        with self._lock:
            kept = self._sensed.get(key)
            if kept is not None and kept[0] is fitted:
                self._sensed.move_to_end(key)
                return kept[1]
        made = sensor_set(
            self._profile("machine", machine.hash), self._profile("attachment", attachment.hash), fitted
        )
        with self._lock:
            kept = self._sensed.get(key)
            if kept is not None and kept[0] is fitted:
                return kept[1]
            self._sensed[key] = fitted, made
            self._sensed.move_to_end(key)
            if len(self._sensed) > _KEPT:
                self._sensed.popitem(last=False)
        return made

    def hydraulics(self, machine: Named) -> Hydraulics | None:
        """What a machine's revision says of bores, pressures and flows."""
        return self._profile("machine", machine.hash).hydraulics

    def _geometry(self, kind: str, content_hash: str) -> Machine | Attachment:
        return self._profile(kind, content_hash).geometry

    def _profile(self, kind: str, content_hash: str) -> Profile:
        row = self._database.read(lambda s: profiles.get_revision(s, kind, content_hash))
        if row is None:
            raise LookupError(f"{kind} revision {content_hash} is not on record")
        return parse_profile(row.source_text)


def _follows(session: Session, profile: Profile, expected: str) -> None:
    """Sent again, a revision is on record already and follows itself."""
    row = profiles.current_revision(session, profile.kind, profile.id)
    found = None if row is None else row.content_hash
    if found not in (expected, profile.content_hash):
        raise Refused([
            Fault("revision-mismatch", "",
                  "none on record" if found is None else f"revision {found[:12]} is current, by {row.actor}"
                  if row is not None and row.actor else f"revision {found[:12]} is current",
                  f"revision {expected[:12]} of {profile.id}, as in If-Match",
                  "read it again, and put what was measured into that")
        ])  # fmt: skip


def put(session: Session, profile: Profile, origin: str, now: datetime, actor: str | None = None) -> bool:
    """Write one revision in the caller's transaction; True if it is new."""
    return profiles.put_revision(
        session, profile.kind, profile.id, profile.content_hash, canonical_json(profile.document),
        profile.source_text, origin, now, actor,
    )  # fmt: skip
