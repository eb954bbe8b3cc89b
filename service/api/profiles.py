"""Machines and attachments: measured, checked, immutable by content hash."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Header, Path, Response
from pydantic import ConfigDict, Field

from kinematics.errors import Fault, Refused
from machine_profiles import check_pair, check_profile, json_schema, parse_profile
from service.book.requests import Slug
from service.store import StoredRevision
from service.strict import Strict, example

from .answers import stamp
from .door import CallerDep, ProfilesDep, expected_revision

router = APIRouter(prefix="/v1", tags=["profiles"])
Kind = Literal["machine", "attachment"]
IfMatch = Annotated[
    str | None,
    Header(
        max_length=200,
        description="The profile's ETag, its revision in quotes: refused with 412 if another is current. Left out: not "
        "checked.",
    ),
]
ProfileId = Annotated[str, Path(description="The profile's id.", max_length=40)]
_EXAMPLES: dict[Kind, str] = {
    "machine": """schema = 1
kind = "machine"
id = "our-digger"
name = "Our digger"
source = "taped, 2026-05-04"
units = { length = "mm", angle = "deg" }
boom = { foot = { forward = 250, left = -60 }, length = 4600, range = { low = -41, high = 54 } }
stick = { length = 2500, range = { low = -147, high = -30 } }
bucket = { range = { low = -29, high = 134 } }
""",
    "attachment": """schema = 1
kind = "attachment"
id = "ditching-1200"
name = "Ditching bucket, 1.2 m"
source = "taped, 2026-05-04"
units = { length = "mm", angle = "deg" }
pins = { spacing = 420 }
bucket = { width = 1200, edge = { x = -226, z = -1280 }, heel = { x = 372, z = -742 } }
""",
}


class RevisionOut(Strict):
    """A revision of a profile."""

    kind: Kind
    id: str
    name: str
    revision: str = Field(description="Content hash; a revision never changes.")
    origin: str = Field(description="shipped, uploaded, calibrated or restored.")
    actor: str | None = Field(description="Who uploaded it; null for one that is shipped.")
    recorded_utc: str


class ProfileOut(RevisionOut):
    """A revision with its content."""

    toml: str
    document: dict[str, Any] = Field(description="The same as JSON, in the file's own units.")
    facts: dict[str, Any] = Field(description="What was computed from it: ranges, widths, checks.")
    doubts: list[str] = Field(description="What is allowed but hardly true, such as a boom of 0.4 m.")


class ProfileIn(Strict):
    """A profile as TOML text; see /guide/measuring and /v1/profile-schemas."""

    toml: str = Field(max_length=200_000, description="The whole file.")


class CheckIn(ProfileIn):
    """A profile to be checked, alone or with another on record."""

    model_config = ConfigDict(
        json_schema_extra=example({"toml": _EXAMPLES["attachment"], "fits": "crawler-14t"})
    )

    fits: Slug | None = Field(
        None,
        description="Id of an attachment (for a machine) or machine (for an attachment) to assemble it with.",
    )


def _line(row: StoredRevision) -> dict[str, Any]:
    return {
        "kind": row.kind, "id": row.profile_id, "name": parse_profile(row.source_text).name,
        "revision": row.content_hash, "origin": row.origin, "actor": row.actor,
        "recorded_utc": stamp(row.recorded_utc.isoformat()),
    }  # fmt: skip


def _whole(row: StoredRevision) -> ProfileOut:
    verdict = check_profile(row.source_text)
    return ProfileOut(
        **_line(row),
        toml=row.source_text,
        document=parse_profile(row.source_text).document,
        facts=verdict.facts,
        doubts=list(verdict.doubts),
    )


def _routes(kind: Kind, plural: str) -> None:
    """The same five routes for machines and for attachments."""

    @router.get(f"/{plural}", name=f"list_{plural}")
    def list_all(profiles: ProfilesDep) -> list[RevisionOut]:
        return [RevisionOut(**_line(row)) for row in profiles.all_current(kind)]

    @router.post(f"/{plural}", status_code=201, name=f"add_{kind}")
    def add(
        asked: Annotated[ProfileIn, Body(examples=[{"toml": _EXAMPLES[kind]}])],
        profiles: ProfilesDep,
        caller: CallerDep,
        response: Response,
        if_match: IfMatch = None,
    ) -> ProfileOut:
        expected = expected_revision(if_match)
        profile = parse_profile(asked.toml)
        if profile.kind != kind:
            raise Refused([
                Fault("wrong-kind", "toml", f"a profile of kind {profile.kind}", f"kind {kind}",
                      "post it to the other collection")
            ])  # fmt: skip
        profiles.upload(profile, caller.name, expected)
        response.headers["Location"] = f"/v1/{plural}/{profile.id}/revisions/{profile.content_hash}"
        return _whole(profiles.revision(kind, profile.id, profile.content_hash))

    @router.get(f"/{plural}/{{profile_id}}", name=f"get_{kind}")
    def get(profile_id: ProfileId, profiles: ProfilesDep, response: Response) -> ProfileOut:
        named = profiles.latest(kind, profile_id)
        response.headers["ETag"] = f'"{named.hash}"'
        return _whole(profiles.revision(kind, profile_id, named.hash))

    @router.get(f"/{plural}/{{profile_id}}/revisions", name=f"list_{kind}_revisions")
    def revisions(profile_id: ProfileId, profiles: ProfilesDep) -> list[RevisionOut]:
        profiles.latest(kind, profile_id)
        return [RevisionOut(**_line(row)) for row in profiles.revisions(kind, profile_id)]

    @router.get(f"/{plural}/{{profile_id}}/revisions/{{revision}}", name=f"get_{kind}_revision")
    def revision(
        profile_id: ProfileId,
        revision: Annotated[str, Path(description="Its content hash.", max_length=64)],
        profiles: ProfilesDep,
    ) -> ProfileOut:
        return _whole(profiles.revision(kind, profile_id, revision))


_routes("machine", "machines")
_routes("attachment", "attachments")


@router.post("/profile-checks", summary="Verdict on a profile")
def check(asked: CheckIn, profiles: ProfilesDep) -> dict[str, Any]:
    """The verdict on a profile, the same as `tipdatum profile check` gives. Nothing is recorded."""
    verdict = check_profile(asked.toml)
    if asked.fits is not None and verdict.ok:
        profile = parse_profile(asked.toml)
        other: Kind = "attachment" if profile.kind == "machine" else "machine"
        try:
            named = profiles.latest(other, asked.fits)
        except Refused as refused:
            raise Refused(
                Fault(f.code, "fits", f.found, f.expected, f.advice) for f in refused.faults
            ) from None
        row = profiles.revision(other, asked.fits, named.hash)
        pair = (profile, parse_profile(row.source_text))
        verdict = check_pair(*(pair if profile.kind == "machine" else pair[::-1]))
    return verdict.as_json()


@router.get("/profile-schemas/{kind}", summary="JSON Schema of a profile file")
def schema(kind: Annotated[Kind, Path(description="Of which kind of profile.")]) -> dict[str, Any]:
    """JSON Schema of a profile file."""
    return json_schema(kind)
