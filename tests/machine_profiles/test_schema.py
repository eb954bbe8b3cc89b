"""The published JSON Schema: complete, and the same contract that the loader holds."""

from collections.abc import Iterator
from typing import Any

import pytest
from pydantic import ValidationError

from machine_profiles import json_schema, shipped
from machine_profiles.schema import DOCUMENTS, KINDS


def properties(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for table in (schema, *schema.get("$defs", {}).values()):
        for name, field in table.get("properties", {}).items():
            of = schema["$defs"][field["$ref"].rpartition("/")[2]] if "$ref" in field else {}
            yield f"{table['title']}.{name}", of | field  # a title like its table's own stands there only


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_is_explained_and_every_table_closed(kind: str) -> None:
    schema = json_schema(kind)
    fields = list(properties(schema))
    assert len(fields) > 30
    for name, field in fields:
        assert field.get("title"), name
        assert field.get("description"), name
        if field.get("type") in {"number", "string", "integer"}:
            assert field.get("examples"), name
    for table in (schema, *schema["$defs"].values()):
        assert table["additionalProperties"] is False
        assert table["description"]


def test_exactly_one_is_published() -> None:
    assert json_schema("machine")["$defs"]["Link"]["oneOf"] == [
        {"required": ["cylinder"]},
        {"required": ["range"]},
    ]


def test_another_kind_has_no_schema() -> None:
    with pytest.raises(KeyError):
        json_schema("crane")


def test_shipped_documents_fit_and_an_unknown_key_does_not() -> None:
    for (kind, name), profile in shipped().items():
        model = DOCUMENTS[kind]
        again = model.model_validate(profile.document)
        assert again.model_dump(by_alias=True, exclude_none=True) == profile.document, name
        with pytest.raises(ValidationError, match="extra_forbidden"):
            model.model_validate(profile.document | {"colour": "yellow"})
        units = profile.document["units"] | {"mass": "kg"}
        with pytest.raises(ValidationError, match="extra_forbidden"):
            model.model_validate(profile.document | {"units": units})


def test_examples_are_of_the_type_they_explain() -> None:
    types: dict[str, type | tuple[type, ...]] = {"number": (int, float), "string": str, "integer": int}
    for kind in KINDS:
        for name, field in properties(json_schema(kind)):
            for example in field.get("examples", []):
                assert isinstance(example, types.get(field.get("type", ""), object)), name
