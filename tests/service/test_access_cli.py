"""`tipdatum access`: in print and for programs, on a folder alone and beside a running service."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from machine_profiles import shipped
from service.secret import mint, parse
from tests.service.running import service

from .test_cli import run

OFFICE = ("office", "--role", "administrator")
TABLET = ("pump house tablet", "--role", "operator", "--machine", "crawler-14t")


def access(data: Path, verb: str, *words: str) -> tuple[int, str, str]:
    return run("access", verb, *words, "--data", str(data))


def good(data: Path, verb: str, *words: str) -> str:
    """What a command that must succeed prints on standard output."""
    code, out, err = access(data, verb, *words)
    assert code == 0, err
    return out


def told(data: Path, verb: str, *words: str) -> Any:
    return json.loads(good(data, verb, *words, "--json"))


def token(out: str) -> str:
    """The token that stands alone on standard output."""
    assert out.endswith("\n")
    [line] = out.splitlines()
    assert parse(line) is not None
    return line


def refused(data: Path, verb: str, *words: str) -> list[str]:
    """Codes, the same in print and for programs."""
    code, out, err = access(data, verb, *words)
    assert (code, out) == (1, "")
    assert "Traceback" not in err
    code, out, _ = access(data, verb, *words, "--json")
    assert code == 1
    answer = json.loads(out)
    assert answer["ok"] is False
    assert len(err.splitlines()) == len(answer["faults"])
    return [fault["code"] for fault in answer["faults"]]


@pytest.fixture
def data(tmp_path: Path) -> Path:
    return tmp_path / "data"


def test_a_holder_s_life(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    code, out, err = access(data, "create", *TABLET)
    assert code == 0
    first = token(out)
    assert err.startswith("pump house tablet: operator on crawler-14t; good until ")
    assert first not in err
    answer = told(data, "create", *OFFICE, "--never-expires")
    assert (answer["state"], answer["expires_utc"], answer["machines"]) == ("good", None, None)
    office = token(f"{answer['token']}\n")
    second = token(good(data, "rotate", TABLET[0], "--overlap-hours", "2"))
    assert len({first, second, office}) == 3
    out = good(data, "assign", TABLET[0], "--role", "operator", "--role", "builder", "--all-machines")
    assert out.startswith("pump house tablet: operator, builder on every machine; good until ")
    assert good(data, "expire", TABLET[0]).startswith(
        "pump house tablet: operator, builder on every machine; expired "
    )
    assert told(data, "expire", TABLET[0], "--days", "3")["state"] == "good"
    assert "; revoked since " in good(data, "revoke", TABLET[0])
    listed = told(data, "list")["holders"]
    assert [(each["name"], each["state"]) for each in listed] == [("office", "good"), (TABLET[0], "revoked")]
    assert [len(each["token_ids"]) for each in listed] == [1, 2]
    printed = good(data, "list")
    for text in (printed, json.dumps(listed)):
        assert "tipdatum_" not in text
        assert not [each for each in (first, second, office) if each[-52:] in text]
    assert [line.split()[0] for line in printed.splitlines()] == ["name", "office", "pump"]


def test_every_fault_at_once(data: Path) -> None:
    faulty = ("local", "--machine", "none", "--machine", "nor-this", "--days", "-1")
    assert refused(data, "create", *faulty) == [
        "bad-name", "no-role", "machines-useless", "unknown-machine", "unknown-machine", "out-of-range"
    ]  # fmt: skip
    assert told(data, "list") == {"holders": []}
    assert refused(data, "create", *TABLET, "--all-machines") == ["bad-option"]
    assert refused(data, "create", "phone", "--role", "viewer", "--all-machines") == ["machines-useless"]
    assert refused(data, "create", "anna", "--role", "operator") == ["no-machine"]
    assert refused(data, "rotate", "anna") == ["unknown-holder"]
    good(data, "create", "anna", "--role", "viewer")
    assert refused(data, "create", "anna", "--role", "viewer") == ["holder-exists"]
    assert refused(data, "rotate", "anna", "--days", "nan", "--overlap-hours", "200") == ["out-of-range"] * 2
    good(data, "revoke", "anna")
    for verb in ("rotate", "expire"):
        assert refused(data, verb, "anna") == ["holder-revoked"]
    assert refused(data, "assign", "anna", "--role", "viewer") == ["holder-revoked"]


@pytest.mark.parametrize(
    "words",
    [
        ("create",), ("create", "anna", "--role", "owner"), ("create", "anna", "--days", "soon"), ("rotate",),
        ("create", "anna", "--token", "x"), ("grant", "anna"), ("revoke", "anna", "bert"),
    ],
)  # fmt: skip
def test_wrong_use(words: tuple[str, ...], tmp_path: Path) -> None:
    assert run("access", *words)[0] == 2
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("verb", ["list", "rotate", "expire", "revoke", "assign"])
def test_a_slip_in_the_folder_makes_no_new_one(data: Path, verb: str) -> None:
    words = {"list": (), "assign": ("anna", "--role", "viewer")}.get(verb, ("anna",))
    assert refused(data, verb, *words) == ["no-database"]
    assert not data.exists()


def test_folders_and_files_that_cannot_be_used(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    assert refused(tmp_path / "file", "create", *OFFICE) == ["bad-setting"]
    (tmp_path / "tipdatum.sqlite").write_bytes(b"not a database, " * 100)
    assert refused(tmp_path, "list") == ["database"]


def test_a_token_in_the_wrong_place_is_not_shown_again(data: Path) -> None:
    good(data, "create", *OFFICE)
    made = mint()
    for verb, words in (
        ("create", ("--role", "viewer")), ("rotate", ()), ("revoke", ()), ("expire", ()),
        ("assign", ("--role", "viewer")),
    ):  # fmt: skip
        for more in ((), ("--json",)):
            code, out, err = access(data, verb, made.text, *words, *more)
            assert code == 1
            assert made.secret[:6] not in out + err
    code, out, err = access(data, "assign", "office", "--role", "operator", "--machine", made.text)
    assert code == 1
    assert made.secret[:6] not in out + err


# Beside a running service


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str, str]]:
    """(folder, address, an administrator's token)."""
    folder = tmp_path_factory.mktemp("running")
    office = token(good(folder, "create", *OFFICE))
    with service(folder, "--access") as address:
        yield folder, address, office


def ask(address: str, shown: str, path: str = "/v1/sessions/current") -> tuple[int, Any]:
    answer = httpx.get(f"{address}{path}", headers={"authorization": f"Bearer {shown}"}, timeout=30.0)
    return answer.status_code, answer.json()


def test_all_takes_effect_with_the_next_request(running: tuple[Path, str, str]) -> None:
    data, address, office = running
    tablet = token(good(data, "create", *TABLET))
    assert ask(address, tablet)[1]["machines"] == ["crawler-14t"]
    good(data, "assign", TABLET[0], "--role", "viewer")
    assert ask(address, tablet)[1]["roles"] == ["viewer"]
    newer = token(good(data, "rotate", TABLET[0]))
    assert (ask(address, tablet)[0], ask(address, newer)[0]) == (401, 200)
    good(data, "expire", TABLET[0])
    status, answer = ask(address, newer)
    assert (status, answer["errors"][0]["code"]) == (401, "expired-token")
    good(data, "expire", TABLET[0], "--days", "1")
    assert ask(address, newer)[0] == 200
    good(data, "revoke", TABLET[0])
    status, answer = ask(address, newer)
    assert (status, answer["errors"][0]["code"]) == (401, "revoked-token")
    holders = ask(address, office, "/v1/holders")[1]["holders"]
    assert holders == told(data, "list")["holders"]


def test_a_page_goes_with_its_token(running: tuple[Path, str, str]) -> None:
    data, address, _ = running
    phone = token(good(data, "create", "phone", "--role", "viewer"))
    with httpx.Client(base_url=address, headers={"origin": address}, timeout=30.0) as page:
        assert page.post("/v1/sessions", json={"token": phone}).status_code == 201
        assert page.get("/v1/sessions/current").json()["by"] == "session"
        good(data, "revoke", "phone")
        assert page.get("/v1/sessions/current").status_code == 401


# `tipdatum profile add` with a token


@pytest.fixture(scope="module")
def profile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("profiles") / "m.toml"
    text = shipped()["machine", "crawler-14t"].source_text
    file.write_text(text.replace('"crawler-14t"', '"our-digger"'), encoding="utf-8")
    return file


def test_a_profile_is_added_by_a_builder(
    running: tuple[Path, str, str], profile: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data, address, office = running
    builder, viewer = tmp_path / "builder.token", tmp_path / "viewer.token"
    builder.write_text(good(data, "create", "builder", "--role", "builder"), encoding="utf-8")
    viewer.write_text(good(data, "create", "viewer", "--role", "viewer"), encoding="utf-8")
    add = ("profile", "add", str(profile), "--to", address)
    code, out, err = run(*add)
    assert (code, out) == (1, "")
    assert "Authorization: Bearer TOKEN" in err
    code, out, err = run(*add, "--token-file", str(viewer))
    assert (code, out) == (1, "")
    assert "'viewer' with role viewer" in err
    assert "builder, administrator" in err
    code, out, _ = run(*add, "--token-file", str(builder))
    assert (code, out.startswith("added machine our-digger, revision ")) == (0, True)
    assert ask(address, office, "/v1/machines/our-digger")[1]["actor"] == "builder"
    monkeypatch.setenv("TIPDATUM_TOKEN", office)
    assert json.loads(run(*add, "--json")[1])["actor"] == "builder", "it is on record as it was"
    monkeypatch.setenv("TIPDATUM_TOKEN", viewer.read_text(encoding="utf-8"))
    assert run(*add)[0] == 1
    assert run(*add, "--token-file", str(builder))[0] == 0, "a file that is named goes before the environment"


@pytest.mark.parametrize(
    "spoilt", [lambda text: text[:-1], lambda _: "", lambda text: text + text, str.upper]
)
def test_a_wrong_token_is_refused_before_anything_is_sent(
    spoilt: Any, profile: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def sent(*_: object, **__: object) -> None:
        raise AssertionError("a request was sent")

    monkeypatch.setattr(httpx, "post", sent)
    made = mint()
    file = tmp_path / "x.token"
    file.write_text(spoilt(made.text), encoding="utf-8")
    monkeypatch.setenv("TIPDATUM_TOKEN", spoilt(made.text))
    for words, where in ((("--token-file", str(file)), "--token-file"), ((), "TIPDATUM_TOKEN")):
        code, out, err = run("profile", "add", str(profile), *words)
        assert (code, out) == (1, "")
        assert err.startswith(f"{where}: expected the whole of it")
        assert made.secret[:6] not in err.lower()
    code, _, err = run("profile", "add", str(profile), "--token-file", str(tmp_path / "none"))
    assert (code, "none" in err) == (1, True)


def test_the_token_is_no_setting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from service.settings import Settings  # noqa: PLC0415

    monkeypatch.setenv("TIPDATUM_TOKEN", mint().text)
    assert Settings(data_folder=tmp_path).port == 8311


def test_a_token_into_a_file(data: Path, tmp_path: Path) -> None:
    kept = tmp_path / "office.token"
    code, out, err = access(data, "create", *OFFICE, "--out", str(kept))
    assert (code, out) == (0, "")
    assert str(kept) in err
    first = token(kept.read_text())
    assert kept.stat().st_mode & 0o077 == 0
    assert access(data, "rotate", "nobody", "--out", str(kept))[0] == 1
    assert token(kept.read_text()) == first, "a refusal leaves the old one where it is"
    answer = told(data, "rotate", "office", "--out", str(kept))
    assert answer["token_file"] == str(kept)
    assert "token" not in answer
    assert token(kept.read_text()) != first
    assert [path.name for path in tmp_path.glob("*.token*")] == ["office.token"]
    assert refused(data, "create", *TABLET, "--out", str(tmp_path / "nowhere" / "x")) == ["bad-option"]
    assert [each["name"] for each in told(data, "list")["holders"]] == ["office"], "not kept, not issued"


@pytest.mark.parametrize("name", ["OFFICE", "Office", "LOCAL", "nobody", "Anne\u0301"])
def test_names_that_would_be_taken_for_others(data: Path, name: str) -> None:
    good(data, "create", *OFFICE)
    expected = "holder-exists" if name.casefold() == "office" else "bad-name"
    assert refused(data, "create", name, "--role", "viewer") == [expected]


def test_days_and_no_end(data: Path) -> None:
    words = ("--days", "3", "--never-expires")
    assert refused(data, "create", *OFFICE, *words) == ["bad-option"]
    good(data, "create", *OFFICE)
    for verb in ("expire", "rotate"):
        assert refused(data, verb, "office", *words) == ["bad-option"]
    assert told(data, "list")["holders"][0]["expires_utc"] is not None
