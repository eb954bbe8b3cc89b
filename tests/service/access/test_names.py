"""Names that are SQL, HTML, markup or format text elsewhere are text here, from the request to the record and back."""

import sqlite3
from typing import Any

import pytest
from typer.testing import CliRunner

from kinematics.errors import Refused
from service.access.holders import LONGEST_NAME
from service.cli import app
from service.secret import mint
from service.store import events
from tests.service.api.doing import edge_at

from .making import ADMINISTRATOR, VIEWER, Site, outcome

NASTY = [
    "'; DROP TABLE job; --", 'x" OR 1=1; DELETE FROM event; --', "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>", "[bold]x[/bold]", "[/]", "%s {0} %(a)s ${7*7} {{7*7}}", ":smile: &amp;",
    "../../etc/passwd\\", "Grävling Ö 挖",
]  # fmt: skip


@pytest.mark.parametrize("nasty", NASTY)
def test_inert_everywhere(site: Site, administrator: str, nasty: str) -> None:
    job = f"n{NASTY.index(nasty)}"
    token = site.create(nasty, ADMINISTRATOR)
    for path, body in (
        ("", {"id": job, "name": nasty, "units": "m", "datum": nasty, "note": nasty}),
        ("benchmarks", {"name": nasty, "elevation": 100.0, "units": "m", "note": nasty}),
        ("setups", {"machine": "crawler-14t", "attachment": "tilting-1800", "note": nasty}),
        ("touches", {"point": nasty, "purpose": "reference", "edge_point": "centre", "pose": edge_at(-1.0)}),
        ("targets", target(nasty)),
        ("withdrawals", {"seq": 5, "reason": nasty}),
    ):
        where = f"/v1/jobs/{job}/{path}" if path else "/v1/jobs"
        answer = site.ask("POST", where, body, token=token)
        assert answer.status_code == 201, answer.text

    def told(path: str) -> Any:
        answer = site.ask("GET", path, token=administrator)
        assert (answer.status_code, answer.headers["content-type"]) == (200, "application/json")
        return answer.json()

    found = told(f"/v1/jobs/{job}/events")["events"]
    assert {each["actor"] for each in found} == {nasty}
    opened, declared, _, touched, target_set, withdrawn = (each["payload"] for each in found)
    assert (opened["name"], opened["datum"], opened["note"]) == (nasty, nasty, nasty)
    assert (declared["name"], declared["note"], touched["point"]) == (nasty, nasty, nasty)
    assert (target_set["name"], target_set["benchmark"], target_set["layers"][0]["name"]) == (
        nasty,
        nasty,
        nasty,
    )
    assert withdrawn["reason"] == nasty
    assert told(f"/v1/jobs/{job}")["name"] == nasty
    assert told(f"/v1/jobs/{job}/benchmarks")[0]["name"] == nasty
    assert nasty in [row["point"] for row in told(f"/v1/jobs/{job}/level-book")["rows"]]
    assert nasty in [each["name"] for each in told("/v1/jobs")["jobs"]]
    assert nasty in [each["name"] for each in told("/v1/holders")["holders"]]
    assert site.ask("GET", "/v1/sessions/current", token=token).json()["name"] == nasty
    log = site.app.state.database.read(lambda s: events.read_events(s, job))
    assert len(log) == 6
    assert events.verify_chain(log) is None


def target(name: str) -> dict[str, Any]:
    return {
        "name": name, "benchmark": name, "layers": [{"name": name, "thickness": 1.0}], "overdig": 0.0, "tolerance": 0.02,
        "units": "m",
    }  # fmt: skip


def test_every_table_is_still_there(site: Site) -> None:
    raw = sqlite3.connect(site.folder / "tipdatum.sqlite")
    try:
        tables = {name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    finally:
        raw.close()
    assert {"job", "event", "profile_revision", "access_holder", "access_credential"} <= tables


@pytest.mark.parametrize("nasty", NASTY)
def test_in_a_profile_too(site: Site, administrator: str, nasty: str) -> None:
    """The profile's own reader may refuse a name; it never does anything else with one."""
    number = NASTY.index(nasty)
    name = nasty.replace("\\", "\\\\").replace('"', '\\"')
    toml = (
        f'schema = 1\nkind = "attachment"\nid = "nasty-{number}"\nname = "{name}"\nsource = "{name}"\n'
        'units = { length = "mm", angle = "deg" }\npins = { spacing = 420 }\n'
        "bucket = { width = 1200, edge = { x = -226, z = -1280 }, heel = { x = 372, z = -742 } }\n"
    )
    token = site.create(f"builder of {number}", ADMINISTRATOR)
    answer = site.ask("POST", "/v1/attachments", {"toml": toml}, token=token)
    assert answer.status_code == 201, answer.text
    assert (answer.json()["name"], answer.json()["actor"]) == (nasty, f"builder of {number}")
    assert answer.json()["toml"] == toml
    again = site.ask("GET", f"/v1/attachments/nasty-{number}", token=token).json()
    assert (again["name"], again["document"]["source"]) == (nasty, nasty)


@pytest.mark.parametrize("nasty", NASTY)
@pytest.mark.parametrize("where", ["/v1/machines/{}", "/v1/jobs?after={}"])
def test_in_addresses(site: Site, administrator: str, nasty: str, where: str) -> None:
    from urllib.parse import quote  # noqa: PLC0415

    answer = site.ask("GET", where.format(quote(nasty, safe="")), token=administrator)
    assert answer.status_code in {200, 404, 422}, answer.text


def test_printed_as_they_are(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """`tipdatum access list` on a wide screen: no markup, no smiley for its name."""
    monkeypatch.setenv("COLUMNS", "300")
    printed = CliRunner().invoke(app, ["access", "list", "--data", str(site.folder)])
    assert printed.exit_code == 0
    lines = printed.stdout.splitlines()
    for nasty in NASTY:
        assert [line for line in lines if line.startswith(f" {nasty}  ")], nasty


REFUSED = [
    "", " ", " anna", "anna ", "\tanna", "an\nna", "an\rna", "an\x00na", "an\x1b[31mna", "an\x7fna", "an\x85na",
    "anna\u202e", "\u202danna", "an\u2066na", "an\u200bna", "an\u200fna", "an\ufeffna", "an\u00a0na", "an\u2028na",
    "an\ud800na", "an\ue000na", "a" * (LONGEST_NAME + 1), "local",
]  # fmt: skip


@pytest.mark.parametrize("name", REFUSED, ids=map(ascii, REFUSED))
def test_names_that_read_as_another_are_refused(site: Site, name: str) -> None:
    """Line breaks, blanks and marks that turn the reading round would make one holder look like another."""
    with pytest.raises(Refused) as caught:
        site.holders.create(name, [VIEWER], [], None)
    [fault] = caught.value.faults
    assert (fault.code, fault.where) == ("bad-name", "name")
    assert fault.found.isprintable()


def test_the_longest_name(site: Site) -> None:
    name = "ö" * LONGEST_NAME
    token = site.create(name, VIEWER)
    assert site.ask("GET", "/v1/sessions/current", token=token).json()["name"] == name


def test_a_token_is_no_name_and_is_not_shown_again(site: Site) -> None:
    made = mint()
    for name in (made.text, made.text[:40], f"x{made.text}"[:60], made.text.upper()[:50]):
        with pytest.raises(Refused) as caught:
            site.holders.create(name, [VIEWER], [], None)
        [fault] = caught.value.faults
        assert fault.code == "bad-name"
        assert made.secret[:6] not in str(fault).lower()


def test_control_characters_in_a_body_are_refused_by_name(site: Site, administrator: str) -> None:
    for name in ("a\nb", "a\x00b", " a", "\x1b[31m"):
        answer = site.ask("POST", "/v1/jobs", {"id": "ctl", "name": name, "units": "m"}, token=administrator)
        assert outcome(answer) == (422, "invalid-request")
