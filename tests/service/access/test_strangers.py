"""Rebound names, pages of other origins, and the headers on every kind of answer."""

from collections.abc import Iterator

import pytest

from .making import HOST, ORIGIN, VIEWER, Site, outcome

OURS = ("pit.example", "192.168.1.10", "2001:db8::7")


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Asked by names of its own beside those of this machine."""
    with Site(tmp_path_factory.mktemp("data"), names=OURS) as opened:
        yield opened


@pytest.mark.parametrize(
    "host",
    ["pit.example", "PIT.example:443", "192.168.1.10:8311", "[2001:db8::7]:8311", "[2001:db8::7]", "127.0.0.1",
     "localhost:1", "[::1]"],
)  # fmt: skip
def test_names_widen_who_may_be_asked_for(named: Site, host: str) -> None:
    token = named.create(f"at {host}", VIEWER)
    origin = [("origin", f"http://{host.lower()}")]
    assert named.ask("GET", "/v1/jobs", token=token, host=host).status_code == 200
    assert named.ask("GET", "/v1/jobs", token=token, host=host, headers=origin).status_code == 200
    assert named.status("GET", "/v1/jobs", token=token, host=host, headers=[("origin", "http://pit.example:1")]) == (
        403, "foreign-origin"
    )  # fmt: skip


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8311", "pit.example.evil.example", "xpit.example", "pitxexample", "x.pit.example",
     "pit.example.", "192.168.1.11", "[2001:db8::8]", "0.0.0.1", "pit.example:", "pit.example@evil.example"],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/", "/v1/jobs", "/v1/health", "/docs", "/v1/sessions"])
def test_a_name_rebound_to_us(named: Site, host: str, path: str) -> None:
    """The attacker's page is then of the same origin as the service: only the Host tells them apart."""
    token = named.create(f"at {host}{path}", VIEWER)
    headers = [("host", host), ("origin", f"http://{host}"), ("sec-fetch-site", "same-origin")]
    assert named.status("GET", path, token=token, headers=headers) == (421, "foreign-host")


def test_what_names_allow_is_refused_without(site: Site, viewer: str) -> None:
    for host in OURS[:2]:
        assert site.status("GET", "/v1/jobs", token=viewer, host=host) == (421, "foreign-host")
    assert site.status("GET", "/v1/jobs", token=viewer, headers=[("x-forwarded-host", "pit.example")]) == (
        200,
        "",
    )
    twice = [("host", HOST), ("host", HOST)]
    assert site.status("GET", "/v1/jobs", token=viewer, headers=twice) == (400, "bad-request")


def test_forwarded_headers_are_not_believed(site: Site, viewer: str) -> None:
    """Not by the application: behind a named proxy the server in front of it reads them."""
    headers = [("x-forwarded-proto", "https"), ("x-forwarded-for", "10.9.9.9"), ("forwarded", "proto=https")]
    answer = site.ask("POST", "/v1/sessions", {"token": viewer}, headers=headers)
    assert answer.headers["set-cookie"].startswith("tipdatum-session=")
    assert "strict-transport-security" not in answer.headers


# CORS is closed


@pytest.mark.parametrize("path", ["/v1/jobs", "/v1/sessions", "/v1/health", "/", "/docs", "/v1/holders"])
@pytest.mark.parametrize("method", ["GET", "POST", "DELETE"])
def test_a_preflight_allows_nothing(site: Site, viewer: str, path: str, method: str) -> None:
    asked = [("access-control-request-method", method), ("access-control-request-headers", "authorization")]
    foreign = site.ask("OPTIONS", path, headers=[*asked, ("origin", "http://evil.example")])
    assert outcome(foreign) == (403, "foreign-origin")
    # Browsers send no token with it.
    own = site.ask("OPTIONS", path, headers=[*asked, ("origin", ORIGIN)])
    assert own.status_code == 401
    with_token = site.ask("OPTIONS", path, headers=[*asked, ("origin", ORIGIN)], token=viewer)
    assert outcome(with_token) == (405, "method-not-allowed")
    assert all("access-control-allow-origin" not in answer.headers for answer in (foreign, own, with_token))


def test_private_networks_are_asked_by_nobody(site: Site) -> None:
    headers = [("origin", "http://evil.example"), ("access-control-request-private-network", "true")]
    assert site.status("OPTIONS", "/v1/jobs", headers=headers) == (403, "foreign-origin")


# Headers


@pytest.mark.parametrize("scheme", ["http", "https"])
@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/v1/jobs", 200), ("GET", "/v1/sessions/current", 200), ("GET", "/v1/health", 200), ("GET", "/", 200),
        ("GET", "/guide/words", 200), ("HEAD", "/guide/words", 200), ("GET", "/sign-in", 200),
        ("GET", "/page/ink.css", 200), ("GET", "/docs", 200), ("GET", "/docs/oauth2-redirect", 200),
        ("GET", "/openapi.json", 200), ("GET", "/static-offline-docs/swagger-ui.css", 200),
        ("GET", "/static-offline-docs/none.js", 404),
        ("GET", "/guide/none", 404), ("GET", "/v1/none", 404), ("PUT", "/v1/jobs", 405), ("POST", "/v1/jobs", 403),
        ("POST", "/v1/poses", 422),
    ],
)  # fmt: skip
def test_every_answer_has_them(
    site: Site, viewer: str, method: str, path: str, status: int, scheme: str
) -> None:
    body: object = {} if method == "POST" else None
    answer = site.ask(method, path, body, token=viewer, scheme=scheme)
    assert answer.status_code == status
    for name, value in {
        "x-content-type-options": "nosniff", "referrer-policy": "no-referrer",
        "cross-origin-opener-policy": "same-origin", "cross-origin-resource-policy": "same-origin",
    }.items():  # fmt: skip
        assert answer.headers.get_list(name) == [value]
    [policy] = answer.headers.get_list("content-security-policy")
    assert policy.startswith("default-src 'none'")
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-eval" not in policy
    assert ("strict-transport-security" in answer.headers) == (scheme == "https")
    assert (answer.headers.get("cache-control") == "no-store") == path.startswith("/v1/")


def test_refusals_at_the_door_have_them_too(site: Site) -> None:
    """Each held to its headers by `checked`."""
    assert site.status("GET", "/v1/jobs") == (401, "unauthenticated")
    assert site.status("GET", "/v1/jobs", headers=[("origin", "null")]) == (403, "foreign-origin")
    assert site.status("GET", "/v1/jobs", host="evil.example") == (421, "foreign-host")
    assert site.status("POST", "/v1/sessions", b"{") == (400, "malformed-json")
    assert site.status("POST", "/v1/sessions", b"[]" * 1_000_000) == (413, "too-large")


def test_nothing_is_read_of_who_is_not_let_in(site: Site, viewer: str) -> None:
    """Admission stands before the body: what nobody may send is not even looked at."""
    assert site.status("POST", "/v1/jobs", b"{" * 100) == (401, "unauthenticated")
    assert site.status("POST", "/v1/jobs", b"x" * 2_000_000) == (401, "unauthenticated")
    assert site.status("POST", "/v1/pose-columns", b"{") == (401, "unauthenticated")


def test_nor_validated_of_who_may_not(site: Site, viewer: str) -> None:
    assert site.status("POST", "/v1/machines", {"toml": 1, "x": 2}, token=viewer) == (403, "not-allowed")
