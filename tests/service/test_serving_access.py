"""Starting it for others: what is refused, what TLS and a proxy change."""

import ssl
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from service import serving
from service.settings import Settings
from tests.need import need_program
from tests.service.running import service

from .test_access_cli import good, token
from .test_cli import run

NOBODY = "tipdatum_" + "a" * 16 + "_" + "b" * 52
FORWARDED = "203.0.113.5"  # of the documentation block (RFC 5737)


def made_by_openssl(folder: Path, name: str) -> tuple[Path, Path]:
    """A self-signed certificate for this machine, and its key."""
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    command = [
        need_program("openssl"), "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
        "-keyout", str(key), "-out", str(certificate), "-days", "2", "-subj", f"/CN={name}",
        "-addext", "subjectAltName=IP:127.0.0.1,DNS:localhost",
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    return certificate, key


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module")
def office(data: Path) -> str:
    return token(good(data, "create", "office", "--role", "administrator"))


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return made_by_openssl(tmp_path_factory.mktemp("tls"), "pit")


# What does not start


@pytest.fixture
def refused(monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """The reasons why it does not start."""

    def served(*_: object, **__: object) -> None:
        raise AssertionError("it started")

    monkeypatch.setattr(serving._Server, "run", served)

    def start(data: Path, *words: str) -> str:
        code, out, err = run("serve", "--data", str(data), "--port", "0", *words)
        assert (code, out) == (1, "")
        assert "Traceback" not in err
        return err

    return start


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "127.0.0.2"])  # noqa: S104
def test_beyond_loopback_without_access_control(
    refused: Callable[..., str], data: Path, office: str, host: str
) -> None:
    for more in ((), ("--unencrypted",)):
        err = refused(data, "--host", host, *more)
        assert err.startswith(
            "--host: expected one of 127.0.0.1, localhost, ::1 without access control (--access), found"
        )


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "127.0.0.2"])  # noqa: S104
def test_beyond_loopback_without_tls(refused: Callable[..., str], data: Path, office: str, host: str) -> None:
    err = refused(data, "--host", host, "--access", "--name", "pit.example")
    assert err.startswith(
        "--host: expected a loopback address; any other with TLS (--tls-certificate, --tls-key)"
    )
    assert "(--proxy)" in err
    assert "(--unencrypted)" in err


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])  # noqa: S104
def test_every_address_needs_names(refused: Callable[..., str], data: Path, office: str, host: str) -> None:
    err = refused(data, "--host", host, "--access", "--unencrypted")
    assert err.startswith("--host: expected one address, or the names it is asked by (--name)")


def test_access_with_nobody_to_let_in(refused: Callable[..., str], tmp_path: Path) -> None:
    err = refused(tmp_path, "--access")
    assert err.startswith("--access: expected a holder of a token, found nobody who could be let in")
    assert f"tipdatum access create NAME --role administrator --data {tmp_path}" in err
    good(tmp_path, "create", "anna", "--role", "viewer")
    good(tmp_path, "revoke", "anna")
    good(tmp_path, "create", "bert", "--role", "viewer", "--days", "0")
    assert "nobody who could be let in" in refused(tmp_path, "--access")


def test_half_a_pair(refused: Callable[..., str], data: Path, office: str, pair: tuple[Path, Path]) -> None:
    certificate, key = map(str, pair)
    for words in (("--tls-certificate", certificate), ("--tls-key", key)):
        assert refused(data, "--access", *words).startswith("--tls-key: expected certificate and key")


def test_a_pair_that_cannot_be_used(
    refused: Callable[..., str], data: Path, office: str, pair: tuple[Path, Path], tmp_path: Path
) -> None:
    certificate, key = pair
    other, other_key = made_by_openssl(tmp_path, "other")
    text, none = tmp_path / "text.pem", tmp_path / "none.pem"
    text.write_text("not a certificate", encoding="utf-8")
    before = key.read_text(encoding="utf-8")
    pairs = [(certificate, other_key), (other, key), (text, key), (certificate, text), (none, key), (certificate, none),
             (tmp_path, key), (certificate, certificate), (key, certificate)]  # fmt: skip
    for each in pairs:
        words = ("--tls-certificate", str(each[0]), "--tls-key", str(each[1]))
        err = refused(data, "--access", *words)
        assert err.startswith(
            "--tls-certificate: expected a certificate in PEM and the private key of it, found "
        )
        assert before.splitlines()[1] not in err


@pytest.mark.parametrize(
    ("words", "where"),
    [
        (("--proxy", "127.0.0.1"), "--proxy"), (("--name", "pit.example"), "--name"),
        (("--access", "--proxy", "pit"), "--proxy"), (("--access", "--proxy", "*"), "--proxy"),
        (("--access", "--proxy", "10.0.0.0/8"), "--proxy"), (("--access", "--name", "pit.example:443"), "--name"),
        (("--access", "--name", "*"), "--name"), (("--access", "--name", "http://pit.example"), "--name"),
        (("--access", "--name", ".*"), "--name"), (("--access", "--name", ""), "--name"),
        (("--access", "--unencrypted", "--host", "pit.example"), "--host"),
    ],
)  # fmt: skip
def test_words_that_open_too_much(
    refused: Callable[..., str], data: Path, office: str, words: tuple[str, ...], where: str
) -> None:
    assert refused(data, *words).startswith(f"{where}: expected ")


def test_every_fault_of_the_settings_at_once(refused: Callable[..., str], data: Path, office: str) -> None:
    err = refused(data, "--port", "99999", "--host", "0.0.0.0", "--name", "x", "--proxy", "y")  # noqa: S104
    assert [line.partition(":")[0] for line in err.splitlines()] == ["--port", "--name", "--proxy", "--host"]


def test_a_proxy_ends_tls_or_we_do(
    refused: Callable[..., str], data: Path, office: str, pair: tuple[Path, Path]
) -> None:
    words = ("--tls-certificate", str(pair[0]), "--tls-key", str(pair[1]), "--proxy", "127.0.0.1")
    assert refused(data, "--access", *words).startswith(
        "--proxy: expected a proxy that ends TLS, or certificate and key"
    )


# What does


def test_tls(data: Path, office: str, pair: tuple[Path, Path], capfd: pytest.CaptureFixture[str]) -> None:
    certificate, key = pair
    known = ssl.create_default_context(cafile=str(certificate))
    words = ("--access", "--tls-certificate", str(certificate), "--tls-key", str(key))
    with service(data, *words) as address:
        assert address.startswith("https://127.0.0.1:")
        with httpx.Client(base_url=address, verify=known, timeout=30.0) as page:
            assert page.get("/v1/health").json() == {"status": "good"}
            own = {"origin": address}
            answer = page.post("/v1/sessions", json={"token": office}, headers=own)
            assert answer.status_code == 201
            cookie = answer.headers["set-cookie"]
            assert cookie.startswith("__Host-tipdatum-session=")
            for part in ("HttpOnly", "Secure", "Path=/", "SameSite=strict"):
                assert part in cookie.split("; ")
            assert "Domain" not in cookie
            assert "max-age=" in answer.headers["strict-transport-security"]
            assert page.post("/v1/jobs", json={}, headers=own).status_code == 422
            plainly = {"origin": address.replace("https", "http")}
            assert page.post("/v1/jobs", json={}, headers=plainly).status_code == 403
            assert page.get(f"/v1/jobs?token={office}").status_code == 400
            assert page.get("/v1/jobs", headers={"authorization": f"Bearer {NOBODY}"}).status_code == 401
        with pytest.raises(httpx.HTTPError):
            httpx.get(address.replace("https", "http") + "/v1/health", timeout=30.0)
        with pytest.raises(httpx.ConnectError):
            httpx.get(f"{address}/v1/health", verify=ssl.create_default_context(), timeout=30.0)
    out, err = capfd.readouterr()
    assert office[-52:] not in out + err
    assert "b" * 52 not in out + err


@pytest.fixture(scope="module")
def behind(data: Path, office: str) -> Iterator[httpx.Client]:
    """As a proxy asks that ends TLS for pit.example."""
    with (
        service(data, "--access", "--proxy", "127.0.0.1", "--name", "pit.example") as address,
        httpx.Client(base_url=address, timeout=30.0) as client,
    ):
        client.headers.update(
            {"host": "pit.example", "x-forwarded-proto": "https", "x-forwarded-for": FORWARDED}
        )
        yield client


def guesses(client: httpx.Client, count: int, **headers: str) -> list[int]:
    """The statuses of so many wrong tokens."""
    sent = {name.replace("_", "-"): value for name, value in headers.items()} | {
        "authorization": f"Bearer {NOBODY}"
    }
    return [client.get("/v1/jobs", headers=sent).status_code for _ in range(count)]


def test_a_proxy_is_believed(behind: httpx.Client, office: str) -> None:
    own = {"origin": "https://pit.example", "x-forwarded-for": "203.0.113.9"}
    answer = behind.post("/v1/sessions", json={"token": office}, headers=own)
    assert answer.status_code == 201
    name, _, rest = answer.headers["set-cookie"].partition("=")
    value, *parts = rest.split("; ")
    assert name == "__Host-tipdatum-session"
    assert "Secure" in parts
    session = {"cookie": f"{name}={value}"}
    assert behind.post("/v1/jobs", json={}, headers=own | session).status_code == 422
    for origin in (
        "http://pit.example",
        "https://pit.example:8311",
        "https://evil.example",
        "http://127.0.0.1:8311",
    ):
        assert behind.post("/v1/jobs", json={}, headers=own | session | {"origin": origin}).status_code == 403
    assert behind.get("/v1/jobs", headers=session | {"host": "evil.example"}).status_code == 421


def test_behind_a_proxy_the_pace_is_of_the_forwarded_address(behind: httpx.Client, office: str) -> None:
    assert guesses(behind, 21) == [401] * 20 + [429]
    right = {"authorization": f"Bearer {office}"}
    assert behind.get("/v1/jobs", headers=right).status_code == 200
    assert guesses(behind, 1, x_forwarded_for="203.0.113.6") == [401]
    # What a guesser writes into it stands before what the proxy adds.
    assert guesses(behind, 3, x_forwarded_for=f"198.51.100.7, {FORWARDED}") == [429] * 3


@pytest.mark.parametrize(
    "headers",
    [{"x-forwarded-proto": "http"}, {"x-forwarded-proto": "https, http"}, {"x-forwarded-proto": ""},
     {"x-forwarded-for": ""}, {"x-forwarded-for": "unknown"}, {"x-forwarded-for": "203.0.113.6, pit"}],
)  # fmt: skip
def test_a_proxy_that_does_not_say_all(behind: httpx.Client, office: str, headers: dict[str, str]) -> None:
    """A right token too: by a plain request it would have been given away."""
    answer = behind.get("/v1/jobs", headers={"authorization": f"Bearer {office}"} | headers)
    assert answer.status_code == 403
    assert answer.json()["errors"][0]["code"] == "not-by-proxy"


def test_past_the_proxy(data: Path, office: str) -> None:
    words = ("--access", "--proxy", "192.0.2.1", "--name", "pit.example")
    with service(data, *words) as address, httpx.Client(base_url=address, timeout=30.0) as client:
        said = {
            "x-forwarded-proto": "https",
            "x-forwarded-for": FORWARDED,
            "authorization": f"Bearer {office}",
        }
        for path in ("/v1/jobs", "/v1/health", "/guide"):
            answer = client.get(path, headers=said)
            assert (answer.status_code, answer.json()["errors"][0]["code"]) == (403, "not-by-proxy")


def test_headers_have_a_limit(data: Path, office: str) -> None:
    with service(data, "--access") as address, pytest.raises(httpx.HTTPError):
        httpx.get(f"{address}/v1/health", headers={"x": "x" * 2_000_000}, timeout=30.0).raise_for_status()


def test_without_a_proxy_nobody_is_believed(data: Path, office: str) -> None:
    with service(data, "--access") as address, httpx.Client(base_url=address, timeout=30.0) as client:
        client.headers.update({"x-forwarded-proto": "https", "forwarded": "for=203.0.113.5;proto=https"})
        plain = client.post("/v1/sessions", json={"token": office}, headers={"origin": address})
        assert plain.headers["set-cookie"].startswith("tipdatum-session=")
        assert "strict-transport-security" not in plain.headers
        foreign = {"origin": address.replace("http", "https")}
        assert client.post("/v1/sessions", json={"token": office}, headers=foreign).status_code == 403
        statuses = [guesses(client, 1, x_forwarded_for=f"203.0.113.{number}")[0] for number in range(21)]
        assert statuses == [401] * 20 + [429]


def test_beyond_loopback_it_says_what_is_missing(data: Path, office: str) -> None:
    ready = serving._ready
    settings = Settings(
        data_folder=data, access=True, host="192.0.2.1", unencrypted=True, names=("pit.example",)
    )

    class Bound:
        def getsockname(self) -> tuple[str, int]:
            return "192.0.2.1", 8311

    said = ready(Bound(), settings)  # type: ignore[arg-type]
    assert (
        "asked by 192.0.2.1, pit.example, WITHOUT TLS: whoever listens on the network has the tokens" in said
    )


def test_an_address_that_is_not_here(refused: Callable[..., str], data: Path, office: str) -> None:
    err = refused(data, "--host", "192.0.2.1", "--access", "--unencrypted", "--port", "0")
    assert err.startswith("--host: expected an address that this machine has, found 192.0.2.1: ")


def test_names_are_told_by_name(refused: Callable[..., str], data: Path, office: str) -> None:
    err = refused(data, "--access", "--name", "pit.example", "--name", "bad name")
    assert err.startswith("--name: expected ")
    assert '"pit.example", "bad name"' in err
