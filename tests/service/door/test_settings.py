"""Settings: an unknown one stops start-up and is named; only this machine may be bound."""

from pathlib import Path

import pytest
from pydantic import ValidationError

from service.settings import Settings


@pytest.fixture(autouse=True)
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("DATA_FOLDER", "HOST", "PORT", "MAX_BODY_BYTES", "MAX_BULK_BODY_BYTES"):
        monkeypatch.delenv(f"TIPDATUM_{name}", raising=False)


def test_defaults(tmp_path: Path) -> None:
    settings = Settings(data_folder=tmp_path)
    assert (settings.host, settings.port, settings.max_body_bytes) == ("127.0.0.1", 8311, 1_048_576)
    assert settings.max_bulk_body_bytes == 64 * 1_048_576
    assert settings.database_url == f"sqlite:///{tmp_path.resolve()}/tipdatum.sqlite"


def test_the_environment_and_what_goes_before_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TIPDATUM_DATA_FOLDER", str(tmp_path))
    monkeypatch.setenv("TIPDATUM_PORT", "9000")
    assert Settings().port == 9000
    assert Settings(port=9001).port == 9001


def test_the_data_folder_must_be_named() -> None:
    with pytest.raises(ValidationError, match="data_folder"):
        Settings()


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1"])
def test_this_machine_may_be_bound(tmp_path: Path, host: str) -> None:
    assert Settings(data_folder=tmp_path, host=host).host == host


@pytest.mark.parametrize(
    "host",
    [
        "0.0.0.0",  # noqa: S104
        "::",
        "192.168.1.5",
        "example.org",
        "",
        "127.0.0.2",
        "localhost.example.org",
    ],
)
def test_no_other_address_may_be_bound(tmp_path: Path, host: str) -> None:
    with pytest.raises(ValidationError) as caught:
        Settings(data_folder=tmp_path, host=host)
    (error,) = caught.value.errors()
    assert error["loc"] == ("host",)
    assert error["msg"].startswith("one of 127.0.0.1, localhost, ::1: without access control")


def test_unknown_variables_are_all_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TIPDATUM_PROT", "9000")
    monkeypatch.setenv("tipdatum_folder", "x")
    with pytest.raises(ValidationError, match="TIPDATUM_PROT, tipdatum_folder") as caught:
        Settings(data_folder=tmp_path)
    assert "TIPDATUM_MAX_BODY_BYTES" in str(caught.value)


def test_the_tests_own_switches_are_no_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TIPDATUM_TESTS_NEED", "all")
    assert Settings(data_folder=tmp_path).port == 8311


def test_unknown_key(tmp_path: Path) -> None:
    with pytest.raises(ValidationError, match="prot"):
        Settings(data_folder=tmp_path, prot=1)  # type: ignore[call-arg]


@pytest.mark.parametrize(
    "change", [{"port": -1}, {"port": 65536}, {"port": "x"}, {"max_body_bytes": 10}, {"max_bulk_body_bytes": 2**40}],
)  # fmt: skip
def test_numbers_out_of_range(tmp_path: Path, change: dict[str, object]) -> None:
    with pytest.raises(ValidationError, match=next(iter(change))):
        Settings(data_folder=tmp_path, **change)  # type: ignore[arg-type]


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.touch()
    with pytest.raises(ValidationError, match="a folder"):
        Settings(data_folder=file)
