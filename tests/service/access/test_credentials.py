"""What a token or session must be to count, and when it stops: with the very next request."""

import hmac
from collections.abc import Callable
from datetime import timedelta
from hashlib import sha256

import pytest

from service.access.caller import SECURE_COOKIE
from service.secret import Credential, hide, holds_one, mint, parse
from service.settings import Settings

from .making import (
    ADMINISTRATOR,
    OPERATOR,
    VIEWER,
    Headers,
    Site,
    code_of,
    forged,
    outcome,
    shown,
    taken_apart,
)

ON_EVERY_DATABASE = True

WHO = "/v1/sessions/current"


def told(site: Site, **how: object) -> str:
    """The code by which whoever asks is refused; "" where it is let in."""
    answer = site.ask("GET", WHO, **how)  # type: ignore[arg-type]
    if answer.status_code == 200:
        return ""
    assert outcome(answer) == (401, "unauthenticated")
    assert answer.headers["www-authenticate"] == "Bearer"
    return code_of(answer)


SPOILT: dict[str, Callable[[str], str]] = {
    "another secret": forged,
    "another id": lambda token: Credential(mint().id, taken_apart(token).secret).text,
    "both another": lambda _: mint().text,
    "a letter less": lambda token: token[:-1],
    "a letter more": lambda token: token + "a",
    "the first letter gone": lambda token: token[1:],
    "upper case": str.upper,
    "one letter upper case": lambda token: token[:-1] + token[-1].upper() if token[-1].isalpha() else token.title(),
    "the last letter another": lambda token: token[:-1] + ("a" if token[-1] != "a" else "b"),
    "the secret alone": lambda token: taken_apart(token).secret,
    "the id alone": lambda token: taken_apart(token).id,
    "the digest for a secret": lambda token: f"tipdatum_{taken_apart(token).id}_{taken_apart(token).digest[:52]}",
    "twice": lambda token: f"{token} {token}",
    "in quotes": lambda token: f'"{token}"',
    "a NUL behind": lambda token: token + "\x00",
    "nothing": lambda _: "",
    "a star": lambda _: "*",
    "like, in SQL": lambda _: "tipdatum_%_%",
    "very long": lambda token: token * 500,
}  # fmt: skip


@pytest.mark.parametrize("how", SPOILT)
def test_a_token_is_right_to_the_letter(site: Site, viewer: str, how: str) -> None:
    """Unknown, wrong and cut off are answered alike."""
    assert told(site, token=viewer) == ""
    answer = site.ask("GET", WHO, token=SPOILT[how](viewer))
    assert outcome(answer) == (401, "unauthenticated")
    [fault] = answer.json()["errors"]
    assert (fault["code"], fault["found"]) == ("bad-token", "no token of this service")


def test_blanks_around_a_token_are_no_part_of_it(site: Site, viewer: str) -> None:
    assert told(site, headers=[("authorization", f"bearer   {viewer} ")]) == ""


@pytest.mark.parametrize(
    ("headers", "code"),
    [
        ([], "no-token"),
        ([("authorization", "")], "bad-token"),
        ([("authorization", "Bearer")], "bad-token"),
        ([("authorization", "Basic TOKEN")], "bad-token"),
        ([("authorization", "TOKEN")], "bad-token"),
        ([("authorization", "Digest Bearer TOKEN")], "bad-token"),
        ([("authorization", "BearerTOKEN")], "bad-token"),
        ([("authorization", "Bearer TOKEN"), ("authorization", "Bearer TOKEN")], "bad-token"),
        ([("authorization", "Bearer TOKEN"), ("authorization", "")], "bad-token"),
        ([("authorization", "Bearer TOKEN, Bearer TOKEN")], "bad-token"),
        ([("proxy-authorization", "Bearer TOKEN")], "no-token"),
        ([("x-api-key", "TOKEN")], "no-token"),
        ([("cookie", "token=TOKEN")], "no-token"),
        ([("cookie", "tipdatum-session=TOKEN")], "bad-token"),
        ([("cookie", "tipdatum-session")], "bad-token"),
        ([("cookie", "tipdatum-session=")], "bad-token"),
        ([("cookie", "tipdatum-session=SESSION; tipdatum-session=SESSION")], "bad-token"),
        ([("cookie", f"{SECURE_COOKIE}=SESSION")], "no-token"),
        ([("cookie", f"tipdatum-session=SESSION; {SECURE_COOKIE}=x")], ""),
        ([("cookie", "tipdatum-session=SESSION"), ("cookie", "tipdatum-session=SESSION")], "bad-token"),
        ([("cookie", 'tipdatum-session="SESSION"')], "bad-token"),
        ([("cookie", "Tipdatum-Session=SESSION")], "no-token"),
        ([("cookie", "x=1; tipdatum-session=SESSION;y=2")], ""),
        ([("authorization", "Bearer SESSION")], "bad-token"),
        # A token that is shown goes before a cookie, and a wrong one is not made good by it.
        ([("authorization", "Bearer x"), ("cookie", "tipdatum-session=SESSION")], "bad-token"),
        ([("authorization", "Bearer TOKEN"), ("cookie", "tipdatum-session=x")], ""),
    ],
)
def test_how_it_is_shown(site: Site, viewer: str, headers: Headers, code: str) -> None:
    session = site.sign_in(viewer)
    sent = [(name, value.replace("TOKEN", viewer).replace("SESSION", session)) for name, value in headers]
    assert told(site, headers=sent) == code


def test_a_token_expires_at_its_moment(site: Site, name: str) -> None:
    token = site.create(name, VIEWER, days=1.0)
    site.now.pass_by(days=1, microseconds=-1)
    assert told(site, token=token) == ""
    site.now.pass_by(microseconds=1)
    assert told(site, token=token) == "expired-token"
    assert told(site, token=forged(token)) == "bad-token", "only the right secret hears why"


def test_it_may_last(site: Site, name: str) -> None:
    token = site.create(name, VIEWER, days=None)
    before = site.now.time
    site.now.pass_by(days=36_500)
    assert told(site, token=token) == ""
    site.now.time = before
    site.renew()


def test_expired_by_hand_and_given_longer(site: Site, name: str) -> None:
    token = site.create(name, VIEWER)
    session = site.sign_in(token)
    site.holders.expire(name, 0.0)
    assert told(site, token=token) == "expired-token"
    assert told(site, cookie=session) == "expired-token"
    site.holders.expire(name, 1.0)
    assert told(site, token=token) == ""
    site.now.pass_by(days=1)
    assert told(site, token=token) == "expired-token"


def test_revoked_is_for_good(site: Site, name: str) -> None:
    token = site.create(name, ADMINISTRATOR)
    session = site.sign_in(token)
    assert told(site, cookie=session) == ""
    site.holders.revoke(name)
    assert told(site, token=token) == "revoked-token"
    assert told(site, cookie=session) == "revoked-token"
    assert told(site, token=forged(token)) == "bad-token"
    site.now.pass_by(days=400)
    assert told(site, token=token) == "revoked-token"


def test_rotated(site: Site, name: str) -> None:
    old = site.create(name, OPERATOR)
    session = site.sign_in(old)
    site.now.pass_by(hours=1)
    new = site.holders.rotate(name, 30.0).credential.text
    assert told(site, token=old) == "revoked-token"
    assert told(site, cookie=session) == "revoked-token"
    assert told(site, token=new) == ""
    assert told(site, cookie=site.sign_in(new)) == ""


def test_rotated_with_an_overlap(site: Site, name: str) -> None:
    old = site.create(name, OPERATOR)
    session = site.sign_in(old)
    site.now.pass_by(hours=1)
    new = site.holders.rotate(name, 30.0, overlap_hours=2.0).credential.text
    site.now.pass_by(hours=2, microseconds=-1)
    assert [told(site, token=old), told(site, cookie=session), told(site, token=new)] == ["", "", ""]
    site.now.pass_by(microseconds=1)
    assert told(site, token=old) == told(site, cookie=session) == "expired-token"
    assert told(site, token=new) == ""


def test_an_overlap_lengthens_nothing(site: Site, name: str) -> None:
    old = site.create(name, OPERATOR, days=1 / 24)
    site.now.pass_by(minutes=30)
    site.holders.rotate(name, 30.0, overlap_hours=2.0)
    site.now.pass_by(minutes=30)
    assert told(site, token=old) == "expired-token"


@pytest.mark.parametrize("days", [30.0, None])
def test_expiring_takes_a_token_that_overlaps_too(site: Site, name: str, days: float | None) -> None:
    """Also where the clock was set back between the two, so that the order of the tokens says nothing."""
    old = site.create(name, OPERATOR, days=None)
    site.now.pass_by(hours=-1)
    new = site.holders.rotate(name, days, overlap_hours=2.0).credential.text
    site.holders.expire(name, 0.0)
    assert told(site, token=old) == told(site, token=new) == "expired-token"
    site.renew()


def test_a_session_ends_with_its_hours_or_its_token(site: Site, name: str) -> None:
    token = site.create(name, VIEWER)
    session = site.sign_in(token)
    site.now.pass_by(hours=12, microseconds=-1)
    assert told(site, cookie=session) == ""
    site.now.pass_by(microseconds=1)
    assert told(site, cookie=session) == "expired-token"
    assert told(site, token=token) == ""
    short = site.create(f"{name} short", VIEWER, days=0.25)
    session = site.sign_in(short)
    site.now.pass_by(hours=6)
    assert told(site, cookie=session) == "expired-token"


def test_a_session_begins_with_a_token_that_counts(site: Site, name: str) -> None:
    token = site.create(name, VIEWER)
    session = site.sign_in(token)
    for wrong in (session, forged(token), "", "x", token[:-1]):
        answer = site.ask("POST", "/v1/sessions", {"token": wrong})
        assert (outcome(answer), code_of(answer)) == ((401, "unauthenticated"), "bad-token")
        assert "set-cookie" not in answer.headers
    assert site.ask("POST", "/v1/sessions", {"token": f" {token}\n"}).status_code == 201
    site.holders.revoke(name)
    assert code_of(site.ask("POST", "/v1/sessions", {"token": token})) == "revoked-token"


def test_signed_out(site: Site, name: str) -> None:
    token = site.create(name, VIEWER)
    session, other = site.sign_in(token), site.sign_in(token)
    own = [("sec-fetch-site", "same-origin")]
    answer = site.ask("DELETE", WHO, cookie=session, headers=own)
    assert answer.status_code == 200
    assert told(site, cookie=session) == "revoked-token"
    assert told(site, cookie=other) == ""
    assert site.ask("DELETE", WHO, token=token).json()["by"] == "token"
    assert told(site, token=token) == "", "a token is not ended by signing out"


def test_what_a_session_says_of_itself(site: Site, name: str) -> None:
    token = site.create(name, OPERATOR, machines=["crawler-14t"])
    answer = site.ask("GET", WHO, cookie=site.sign_in(token)).json()
    until = (site.now.time + timedelta(hours=12)).isoformat(timespec="microseconds").replace("+00:00", "Z")
    assert answer == {
        "access": "on", "name": name, "roles": ["operator"], "machines": ["crawler-14t"], "by": "session",
        "expires_utc": until,
    }  # fmt: skip


# Text


def test_a_credential_is_random_and_comes_back() -> None:
    made = [mint() for _ in range(500)]
    assert len({each.id for each in made}) == len({each.secret for each in made}) == 500
    assert all(parse(each.text) == each for each in made)
    assert {len(each.text) for each in made} == {78}
    # 52 letters of 32 kinds, of which the last has one bit: 256 bits
    assert {len(each.secret) for each in made} == {52}
    assert {each.secret[-1] for each in made} == {"a", "q"}


def test_no_repr_shows_a_secret() -> None:
    made = mint()
    assert made.secret not in f"{made!r} {made} {[made]}"


def test_a_digest_is_compared_in_a_time_that_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[tuple[object, object]] = []
    real = hmac.compare_digest

    def watched(a: str, b: str) -> bool:
        compared.append((a, b))
        return real(a, b)

    monkeypatch.setattr(hmac, "compare_digest", watched)
    made = mint()
    digest = sha256(made.secret.encode()).hexdigest()
    assert made.digest == digest
    assert made.matches(digest)
    assert not made.matches(mint().digest)
    assert not made.matches(None)
    assert not made.matches("")
    assert len(compared) == 4
    assert all(len(str(a)) == len(str(b)) == 64 for a, b in compared), "unknown takes as long as wrong"


def test_even_a_secret_of_the_stand_in_digest_matches_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Credential, "digest", "0" * 64)
    assert not Credential("a" * 16, "b" * 52).matches(None)


@pytest.mark.parametrize("length", range(9 + 16 + 2, 79))
def test_every_piece_with_a_part_of_the_secret_is_struck_out(length: int) -> None:
    made = mint()
    spoilt = f"{made.text[:12]}{made.text[13:length]}"
    for piece in (made.text[:length], made.text[:length].upper(), spoilt if length > 50 else made.text):
        assert holds_one(f"x {piece}.")
        assert hide(f"x {piece}. {piece}") == "x tipdatum_(hidden). tipdatum_(hidden)"


def test_ordinary_words_are_not() -> None:
    settings = (f"TIPDATUM_{name.upper()}" for name in Settings.model_fields)
    words = (
        "tipdatum",
        "tipdatum_",
        "tipdatum serve",
        "tipdatum_0189",
        "tipdatum_ID_SECRET",
        "TIPDATUM_TOKEN",
        "",
    )
    for text in (*words, *settings):
        assert not holds_one(text)
        assert hide(text) == text


def test_a_long_text_is_searched_in_no_time() -> None:
    """What could begin one at every ninth letter; a quadratic search would take hours."""
    text = "tipdatum_" * 30_000
    assert hide(text) == text
    assert hide("tipdatum_" + "a" * 300_000) == "tipdatum_(hidden)"


def test_headers_are_as_the_tests_write_them() -> None:
    assert shown("t", "c") == [("authorization", "Bearer t"), ("cookie", "tipdatum-session=c")]
