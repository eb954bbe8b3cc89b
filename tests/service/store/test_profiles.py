"""Revisions by content hash: added, never changed."""

import pytest

from service.store import Database, NotStorable, RevisionConflict, profiles

from .conftest import Clock

ON_EVERY_DATABASE = True


def put(database: Database, now: Clock, content_hash: str, **changed: str) -> bool:
    """Record a revision of a crawler, or of what is changed."""
    fields = {
        "kind": "machine",
        "profile_id": "crawler-14t",
        "document": f'{{"hash":"{content_hash}"}}',
        "source_text": f"# measured\r\nhash = '{content_hash}'\n",
        "origin": "uploaded",
    } | changed
    return database.write(
        lambda s: profiles.put_revision(
            s,
            fields["kind"],
            fields["profile_id"],
            content_hash,
            fields["document"],
            fields["source_text"],
            fields["origin"],
            now(),
        )
    )


def test_a_revision_comes_back_as_given(database: Database, now: Clock) -> None:
    assert put(database, now, "h1", source_text="[machine]\r\nnote = '1½ m'\n", origin="shipped")
    found = database.read(lambda s: profiles.get_revision(s, "machine", "h1"))
    assert found == profiles.StoredRevision(
        "machine",
        "crawler-14t",
        "h1",
        '{"hash":"h1"}',
        "[machine]\r\nnote = '1½ m'\n",
        "shipped",
        now.time,
        1,
        None,
    )
    assert database.read(lambda s: profiles.get_revision(s, "attachment", "h1")) is None
    assert database.read(lambda s: profiles.get_revision(s, "machine", "h2")) is None


def test_the_same_hash_changes_nothing(database: Database, now: Clock) -> None:
    assert put(database, now, "h1")
    before = database.read(lambda s: profiles.get_revision(s, "machine", "h1"))
    assert not put(database, now, "h1", source_text="# another comment\n", origin="shipped")
    assert database.read(lambda s: profiles.get_revision(s, "machine", "h1")) == before


def test_the_latest_is_current(database: Database, now: Clock) -> None:
    assert put(database, now, "zz")
    assert put(database, now, "aa")
    assert put(database, now, "mm", profile_id="another")
    assert put(database, now, "tt", kind="attachment")
    assert not put(database, now, "zz")  # an older one put again does not come back on top
    current = database.read(lambda s: profiles.current_revision(s, "machine", "crawler-14t"))
    assert current is not None
    assert current.content_hash == "aa"
    assert [r.content_hash for r in database.read(lambda s: profiles.list_current(s, "machine"))] == [
        "mm",
        "aa",
    ]
    every = database.read(lambda s: profiles.list_revisions(s, "machine", "crawler-14t"))
    assert [(r.content_hash, r.ordinal) for r in every] == [("zz", 1), ("aa", 2)]
    assert database.read(lambda s: profiles.current_revision(s, "machine", "unheard-of")) is None
    assert database.read(lambda s: profiles.list_revisions(s, "machine", "unheard-of")) == []


def test_a_hash_may_serve_a_machine_and_an_attachment(database: Database, now: Clock) -> None:
    assert put(database, now, "h1")
    assert put(database, now, "h1", kind="attachment")


@pytest.mark.parametrize("changed", [{"profile_id": "another"}, {"document": "{}"}])
def test_a_hash_with_another_content_is_a_conflict(
    database: Database, now: Clock, changed: dict[str, str]
) -> None:
    put(database, now, "h1")
    with pytest.raises(RevisionConflict) as refused:
        put(database, now, "h1", **changed)
    assert (refused.value.kind, refused.value.content_hash) == ("machine", "h1")


def test_all_faults_at_once(database: Database, now: Clock) -> None:
    with pytest.raises(NotStorable) as refused:
        put(database, now, "h1", kind="crane", profile_id="", origin="found", source_text="a\x00b")
    assert [place for place, _, _ in refused.value.faults] == ["profile_id", "source_text", "kind", "origin"]
    assert database.read(lambda s: profiles.list_current(s, "crane")) == []
