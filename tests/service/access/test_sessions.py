"""Pages that sign in: the cookie, and requests that a page from elsewhere makes a browser send."""

from pathlib import Path

import pytest

from service.access.caller import SECURE_COOKIE
from tests.service.door.making import Door, service

from .making import HOST, OPERATOR, ORIGIN, VIEWER, Headers, Site, code_of, outcome, shown

ON_EVERY_DATABASE = True

WHO = "/v1/sessions/current"
JOBS = "/v1/jobs"
FOREIGN = [
    [("origin", "http://evil.example")],
    [("origin", "null")],
    [("origin", "")],
    [("origin", "file://")],
    [("origin", "http://127.0.0.1:9000")],
    [("origin", "http://127.0.0.1")],
    [("origin", "http://localhost:8311")],
    [("origin", f"https://{HOST}")],
    [("origin", f"http://{HOST}.evil.example")],
    [("origin", f"http://evil.example@{HOST}")],
    [("origin", f"{ORIGIN}/")],
    [("origin", ORIGIN), ("origin", ORIGIN)],
    [("sec-fetch-site", "cross-site")],
    [("origin", ORIGIN), ("sec-fetch-site", "cross-site")],
]


def cookie_of(site: Site, token: str, scheme: str = "http") -> dict[str, str | bool]:
    """The attributes of the session cookie, in lower case; name and value under "name" and "value"."""
    answer = site.ask("POST", "/v1/sessions", {"token": token}, scheme=scheme)
    assert answer.status_code == 201
    assert token not in answer.text
    [line] = answer.headers.get_list("set-cookie")
    first, *rest = [part.strip() for part in line.split(";")]
    name, _, value = first.partition("=")
    told: dict[str, str | bool] = {"name": name, "value": value}
    for part in rest:
        key, equals, text = part.partition("=")
        told[key.lower()] = text.lower() if equals else True
    return told


def test_the_cookie(site: Site, viewer: str) -> None:
    told = cookie_of(site, viewer)
    assert told.pop("value") != viewer
    assert told == {"name": "tipdatum-session", "httponly": True, "samesite": "strict", "path": "/"}


def test_the_cookie_over_tls(site: Site, viewer: str) -> None:
    """With __Host- a browser takes it from this very host alone, over TLS: no Domain, Path=/, Secure (RFC 6265bis)."""
    told = cookie_of(site, viewer, "https")
    value = told.pop("value")
    assert told == {
        "name": "__Host-tipdatum-session", "httponly": True, "samesite": "strict", "path": "/", "secure": True,
    }  # fmt: skip
    over_tls = shown(None, str(value), SECURE_COOKIE)
    assert site.ask("GET", WHO, headers=over_tls, scheme="https").json()["by"] == "session"


def test_over_tls_the_plain_cookie_counts_for_nothing(site: Site, viewer: str) -> None:
    """Whoever can write to the network could have set it."""
    value = site.sign_in(viewer)
    answer = site.ask("GET", WHO, cookie=value, scheme="https")
    assert (outcome(answer), code_of(answer)) == ((401, "unauthenticated"), "no-token")


def test_signing_out_takes_the_cookie_away(site: Site, viewer: str) -> None:
    answer = site.ask("DELETE", WHO, cookie=site.sign_in(viewer), headers=[("origin", ORIGIN)])
    gone = answer.headers.get_list("set-cookie")
    assert {line.partition("=")[0] for line in gone} == {"tipdatum-session", SECURE_COOKIE}
    assert all("Max-Age=0" in line and "HttpOnly" in line for line in gone)
    assert ["Secure" in line for line in gone] == ["__Host-" in line for line in gone]


def test_without_access_control_there_is_no_session(tmp_path: Path) -> None:
    with Door(service(tmp_path)) as door:
        answer = door.post("/v1/sessions", {"token": "tipdatum_ID_SECRET"})
        assert outcome(answer) == (409, "access-off")
        told = door.ask("GET", WHO).json()
        assert (told["access"], told["name"], told["by"]) == ("off", "local", "loopback")
        assert door.ask("DELETE", WHO).json()["access"] == "off"
        assert door.ask("GET", "/v1/holders").json() == {"holders": []}


# Requests of a browser, which sends the cookie with each


@pytest.fixture(scope="module")
def session(site: Site) -> str:
    return site.sign_in(site.create("session", OPERATOR, machines=["crawler-14t"]))


@pytest.mark.parametrize(
    "headers",
    [
        [("origin", ORIGIN)],
        [("origin", ORIGIN), ("sec-fetch-site", "same-origin")],
        [("sec-fetch-site", "same-origin")],
        [("origin", ORIGIN.upper())],
    ],
)
@pytest.mark.parametrize(("method", "path"), [("POST", JOBS), ("DELETE", "/v1/jobs"), ("PUT", JOBS)])
def test_a_page_of_ours_may_write(site: Site, session: str, method: str, path: str, headers: Headers) -> None:
    status, _ = site.status(method, path, {}, cookie=session, headers=headers)
    assert status == (422 if method == "POST" else 405)


@pytest.mark.parametrize("headers", FOREIGN)
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_no_other_page_may(site: Site, session: str, method: str, headers: Headers) -> None:
    for path in (JOBS, WHO):
        answer = site.ask(method, path, {}, cookie=session, headers=headers)
        assert outcome(answer) == (403, "foreign-origin")
    assert site.ask("GET", WHO, cookie=session).status_code == 200, "the session was ended by a foreign page"


@pytest.mark.parametrize(
    "headers",
    [[], [("sec-fetch-site", "same-site")], [("sec-fetch-site", "none")], [("referer", f"{ORIGIN}/")]],
)
def test_nor_one_that_does_not_say_who_it_is(site: Site, session: str, headers: Headers) -> None:
    """Port 9000 of this host is the same site, and would get the cookie sent."""
    for method in ("POST", "PUT", "PATCH", "DELETE", "TRACE", "LEVER"):
        assert site.status(method, JOBS, {}, cookie=session, headers=headers) == (403, "foreign-origin")


@pytest.mark.parametrize("headers", FOREIGN)
def test_reading_too_is_for_our_own_pages(site: Site, session: str, headers: Headers) -> None:
    assert site.status("GET", JOBS, cookie=session, headers=headers) == (403, "foreign-origin")


@pytest.mark.parametrize("headers", FOREIGN)
def test_no_page_from_elsewhere_signs_anybody_in(site: Site, viewer: str, headers: Headers) -> None:
    """Signed in as somebody else, a person would record under the other's name."""
    answer = site.ask("POST", "/v1/sessions", {"token": viewer}, headers=headers)
    assert outcome(answer) == (403, "foreign-origin")
    assert "set-cookie" not in answer.headers


def test_a_form_signs_nobody_in(site: Site, viewer: str) -> None:
    body = f'{{"token": "{viewer}"}}'.encode()
    for kind in ("application/x-www-form-urlencoded", "text/plain", "multipart/form-data; boundary=x"):
        answer = site.ask("POST", "/v1/sessions", body, kind=kind)
        assert outcome(answer) == (415, "wrong-media-type")
        assert "set-cookie" not in answer.headers


def test_a_token_needs_no_origin(site: Site, operator: str) -> None:
    assert site.status("POST", JOBS, {}, token=operator) == (422, "invalid-request")


def test_a_token_with_a_foreign_origin_is_refused_all_the_same(site: Site, operator: str) -> None:
    asked = {"token": operator, "headers": [("origin", "http://evil.example")]}
    assert site.status("POST", JOBS, {}, **asked) == (403, "foreign-origin")


def test_a_cookie_beside_a_token_changes_nothing(site: Site, viewer: str, operator: str) -> None:
    told = site.ask("GET", WHO, token=viewer, cookie=site.sign_in(operator)).json()
    assert (told["name"], told["by"]) == ("vera", "token")


def test_a_session_may_what_its_holder_may(site: Site, name: str) -> None:
    token = site.create(name, VIEWER)
    asked = {"cookie": site.sign_in(token), "headers": [("origin", ORIGIN)]}
    assert site.status("POST", "/v1/poses", {}, **asked) == (422, "invalid-request")
    assert site.status("POST", JOBS, {}, **asked) == (403, "not-allowed")
    site.holders.assign(name, [OPERATOR], None)
    assert site.status("POST", JOBS, {}, **asked) == (422, "invalid-request")
