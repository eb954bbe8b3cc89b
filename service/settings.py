"""Settings: name, default, help. From arguments or TIPDATUM_* in the environment; an unknown one stops start-up."""

import os
from pathlib import Path
from typing import Any

from pydantic import Field, field_validator, model_validator
from pydantic_core import PydanticCustomError
from pydantic_settings import BaseSettings, SettingsConfigDict
from sqlalchemy import URL

PREFIX = "TIPDATUM_"
# The test suite's own switches are no settings of the service.
_OTHER = "TIPDATUM_TESTS_"
# The names of this machine: what may be bound, and what a request may be addressed to.
LOOPBACK = ("127.0.0.1", "localhost", "::1")


class Settings(BaseSettings):
    """How the service runs. Raises pydantic's ValidationError with every fault, each with its name."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, extra="forbid", frozen=True)

    data_folder: Path = Field(description="Folder of the database; made if it is not there.")
    host: str = Field("127.0.0.1", description="Address to bind; loopback only, for now.")
    port: int = Field(8311, ge=0, le=65535, description="0 takes a free port.")
    max_body_bytes: int = Field(
        1_048_576, ge=1024, le=64 * 1_048_576, description="Larger bodies are refused."
    )
    max_bulk_body_bytes: int = Field(
        64 * 1_048_576, ge=1024, le=1024 * 1_048_576,
        description="The same for columns of poses (/v1/pose-columns), which are larger by nature.",
    )  # fmt: skip

    @model_validator(mode="before")
    @classmethod
    def _known(cls, given: Any) -> Any:
        names = [name for name in os.environ if name.upper().startswith(PREFIX)]
        unknown = sorted(
            name for name in names
            if not name.upper().startswith(_OTHER) and name.upper().removeprefix(PREFIX).lower() not in cls.model_fields
        )  # fmt: skip
        if unknown:
            raise PydanticCustomError(
                "unknown-setting",
                "only settings there are, {known}; the environment has {unknown}",
                {
                    "known": ", ".join(PREFIX + name.upper() for name in cls.model_fields),
                    "unknown": ", ".join(unknown),
                },
            )
        return given

    @field_validator("host")
    @classmethod
    def _loopback(cls, host: str) -> str:
        if host not in LOOPBACK:
            raise PydanticCustomError(
                "not-loopback",
                "one of {names}: without access control any other address would open the service to the network",
                {"names": ", ".join(LOOPBACK)},
            )
        return host

    @field_validator("data_folder")
    @classmethod
    def _folder(cls, folder: Path) -> Path:
        if folder.exists() and not folder.is_dir():
            raise PydanticCustomError("not-a-folder", "a folder, or a name that is still free")
        return folder

    @property
    def database_url(self) -> str:
        """SQLite in the data folder: "sqlite:////data/tipdatum.sqlite"."""
        return URL.create(
            "sqlite", database=str(self.data_folder.resolve() / "tipdatum.sqlite")
        ).render_as_string()
