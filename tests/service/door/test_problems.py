"""How a refusal reads: one shape, every fault at its place, nothing of the inside."""

import json
import logging
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.routing import APIRoute
from pydantic import TypeAdapter
from sqlalchemy.exc import OperationalError

from service import problems
from service.book.payloads import EventFromTheFutureError
from service.problem_table import TABLE
from service.store import (
    DatabaseClosed,
    DatabaseFromTheFuture,
    IdempotencyConflict,
    JobExists,
    JobUnknown,
    LogDamaged,
    NotStorable,
    RevisionConflict,
    SequenceMismatch,
)

from .making import INSIDE, Door

GOOD = {"number": 1.5}


def faults_of(answer: Any) -> dict[str, str]:
    """Code by pointer."""
    return {each["pointer"]: each["code"] for each in answer.json()["errors"]}


def slug_of(answer: Any) -> str:
    return str(answer.json()["type"]).rpartition("#")[2]


# Broken text


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ('{"number": }', 1, 12), ('{"number": 1', 1, 13), ('{\n "number": 1,\n}', 3, 1), ("{'number': 1}", 1, 2),
        ("number=1", 1, 1), ('{"number": 1} {}', 1, 15), ('{"number": 01}', 1, 13), ('{"name": "a\nb"}', 1, 12),
        ("\ufeff{}", 1, 1), ("  ", 1, 3),
    ],
)  # fmt: skip
def test_broken_json_is_placed(door: Door, text: str, line: int, column: int) -> None:
    answer = door.post("/v1/bodies", text)
    assert answer.status_code == 400
    assert slug_of(answer) == "malformed-json"
    (told,) = answer.json()["errors"]
    assert told["numbers"] == {"line": line, "column": column}
    assert f"line {line}, column {column}" in told["found"]


@pytest.mark.parametrize(
    "body", [b'{"number": "\xff"}', '{"number": 1}'.encode("utf-16"), '{"number": 1}'.encode("utf-32-le")]
)
def test_only_utf_8_is_read(door: Door, body: bytes) -> None:
    answer = door.post("/v1/bodies", body)
    assert (answer.status_code, slug_of(answer)) == (400, "malformed-json")


@pytest.mark.parametrize("opening", ["[", '{"a":', '[{"a":'])
def test_deep_nesting(door: Door, opening: str) -> None:
    answer = door.post("/v1/bodies", opening * (60_000 // len(opening)))
    assert (answer.status_code, slug_of(answer)) == (400, "malformed-json")
    assert "nesting" in answer.json()["detail"]


def test_a_number_of_thousands_of_digits(door: Door) -> None:
    answer = door.post("/v1/bodies", '{"number": ' + "1" * 5000 + "}")
    assert (answer.status_code, slug_of(answer)) == (400, "malformed-json")


# Fields


@pytest.mark.parametrize(
    ("number", "found"),
    [
        ("NaN", "NaN"),
        ("Infinity", "infinity"),
        ("-Infinity", "minus infinity"),
        ("1e999", "infinity"),
        ("-1e999", "minus"),
    ],
)
def test_what_is_not_finite_is_named(door: Door, number: str, found: str) -> None:
    answer = door.post("/v1/bodies", f'{{"number": 1, "inner": {{"depth_m": {number}}}}}')
    assert (answer.status_code, slug_of(answer)) == (422, "not-finite")
    (told,) = answer.json()["errors"]
    assert told["pointer"] == "/inner/depth_m"
    assert found in told["found"]
    assert told["expected"] == "a finite number"


@pytest.mark.parametrize("field", ["number", "count", "name", "inner", "several", "by_name"])
def test_nan_is_refused_wherever_it_stands(door: Door, field: str) -> None:
    body = {"number": 1.0} | {field: float("nan")}
    answer = door.post("/v1/bodies", json.dumps(body))
    assert (answer.status_code, faults_of(answer)) == (422, {f"/{field}": "not-finite"})


def test_a_huge_whole_number_is_no_number_here(door: Door) -> None:
    answer = door.post("/v1/bodies", '{"number": 1' + "0" * 400 + "}")
    assert answer.status_code == 422
    assert len(answer.json()["errors"][0]["found"]) < 60


def test_a_field_given_twice_is_not_guessed(door: Door) -> None:
    answer = door.post("/v1/bodies", '{"number": 1, "several": [{"depth_m": 1, "depth_m": 2}], "number": 2}')
    assert answer.status_code == 422
    assert faults_of(answer) == {"/number": "given-twice", "/several/0/depth_m": "given-twice"}


def test_an_unknown_field_is_told_those_there_are(door: Door) -> None:
    answer = door.post("/v1/bodies", GOOD | {"inner": {"depth_m": 1.0, "sid": "left"}, "a/b~c": 1})
    assert faults_of(answer) == {"/inner/sid": "unknown-field", "/a~1b~0c": "unknown-field"}
    inner, outer = answer.json()["errors"]
    assert inner["expected"] == "one of: depth_m, side"
    assert inner["advice"] == "did you mean side?"
    assert outer["expected"] == "one of: by_name, count, inner, name, number, several"


def test_an_unknown_field_of_a_list_item(door: Door) -> None:
    answer = door.post("/v1/bodies", GOOD | {"several": [{"depth_m": 1.0}, {"depth_m": 1.0, "depth": 1}]})
    assert faults_of(answer) == {"/several/1/depth": "unknown-field"}
    assert answer.json()["errors"][0]["expected"] == "one of: depth_m, side"


def test_an_unknown_name_is_told_those_there_are(door: Door) -> None:
    answer = door.post("/v1/bodies", GOOD | {"by_name": {"bom": 1.0}})
    assert faults_of(answer) == {"/by_name/bom": "unknown-field"}
    assert answer.json()["errors"][0]["advice"] == "did you mean boom?"


@pytest.mark.parametrize(
    ("change", "place", "code", "expected"),
    [
        ({"number": "1.5"}, "/number", "wrong-type", "a number"), ({"number": True}, "/number", "wrong-type", "a number"),
        ({"number": None}, "/number", "wrong-type", "a number"),
        ({"count": 1.5}, "/count", "wrong-type", "a whole number"),
        ({"count": 0}, "/count", "out-of-range", "at least 1"), ({"count": 10}, "/count", "out-of-range", "at most 9"),
        ({"name": 5}, "/name", "wrong-type", "text"),
        ({"name": "longer"}, "/name", "wrong-length", "at most 5 characters"),
        ({"name": "\ud800"}, "/name", "wrong-type", "text without half a surrogate pair"),
        ({"several": {}}, "/several", "wrong-type", "a list"), ({"by_name": []}, "/by_name", "wrong-type", "an object"),
        ({"inner": 3}, "/inner", "wrong-type", "an object"),
        ({"inner": {"depth_m": 1.0, "side": "up"}}, "/inner/side", "not-a-choice", "one of: left, right"),
        ({"inner": {}}, "/inner/depth_m", "missing-field", "the field depth_m"),
        ({"by_name": {"boom": "x"}}, "/by_name/boom", "wrong-type", "a number"),
    ],
)  # fmt: skip
def test_wrong_values(door: Door, change: dict[str, Any], place: str, code: str, expected: str) -> None:
    answer = door.post("/v1/bodies", GOOD | change)
    assert answer.status_code == 422
    assert slug_of(answer) == "invalid-request"
    (told,) = answer.json()["errors"]
    assert (told["pointer"], told["code"], told["expected"]) == (place, code, expected)


@pytest.mark.parametrize("body", ["null", "[]", '"x"', "1", "NaN"])
def test_a_body_that_is_no_object(door: Door, body: str) -> None:
    answer = door.post("/v1/bodies", body)
    assert answer.status_code == 422
    assert list(faults_of(answer)) == [""]


def test_all_faults_at_once(door: Door) -> None:
    text = '{"number": NaN, "count": "2", "extra": 1, "inner": {"side": "up"}, "by_name": {"stick": 1e999}}'
    answer = door.post("/v1/bodies", text)
    assert answer.status_code == 422
    assert faults_of(answer) == {
        "/number": "not-finite", "/count": "wrong-type", "/extra": "unknown-field", "/inner/depth_m": "missing-field",
        "/inner/side": "not-a-choice", "/by_name/stick": "not-finite",
    }  # fmt: skip


def test_the_first_hundred_of_many(door: Door) -> None:
    answer = door.post("/v1/bodies", GOOD | {"several": [{"depth_m": "x"}] * 250})
    assert len(answer.json()["errors"]) == 100
    assert answer.json()["errors"][99]["pointer"] == "/several/99/depth_m"
    assert "the first 100 of 250" in answer.json()["detail"]


def test_a_query_is_no_place_in_the_body(door: Door) -> None:
    answer = door.ask("GET", "/v1/jobs?limit=many")
    (told,) = answer.json()["errors"]
    assert told["pointer"] == ""
    assert told["found"] == '"many" in the query parameter limit'


def test_no_route_takes_what_it_does_not_name(door: Door) -> None:
    """An untyped place in a body would let NaN through: every place must have a type and every object be closed."""
    document = door.ask("GET", "/openapi.json").json()
    schemas = document["components"]["schemas"]
    seen: set[str] = set()
    loose = [
        f"{path}: {at}"
        for path, item in document["paths"].items()
        for operation in item.values()
        for media in operation.get("requestBody", {}).get("content", {}).values()
        for at in untyped(media["schema"], schemas, "", seen)
    ]
    assert seen, "no request body was looked at"
    assert loose == []


def untyped(schema: dict[str, Any], schemas: dict[str, Any], at: str, seen: set[str]) -> Iterator[str]:
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        if name not in seen:
            seen.add(name)
            yield from untyped(schemas[name], schemas, name, seen)
        return
    alternatives = schema.get("anyOf", schema.get("oneOf", schema.get("allOf", [])))
    for inner in alternatives:
        yield from untyped(inner, schemas, at, seen)
    if not alternatives and not {"type", "enum", "const"} & set(schema):
        yield at
    if schema.get("type") == "object":
        values = schema.get("additionalProperties", True)
        if values is True:
            yield at
        elif isinstance(values, dict):
            yield from untyped(values, schemas, f"{at}/*", seen)
        for name, inner in schema.get("properties", {}).items():
            yield from untyped(inner, schemas, f"{at}/{name}", seen)
    if schema.get("type") == "array" and "prefixItems" not in schema:
        yield from untyped(schema.get("items", {}), schemas, f"{at}/-", seen)


# Refusals of the lower rooms


def test_faults_of_one_kind_go_under_it(door: Door) -> None:
    answer = door.post("/v1/refusals", ["beyond-joint", "beyond-joint"])
    assert (answer.status_code, slug_of(answer)) == (422, "beyond-joint")
    told = answer.json()["errors"][1]
    assert told["pointer"] == "/inner/depth_m"
    assert told["numbers"] == {"a_m": 1.0}, "a number that JSON cannot carry is left to the words"
    assert told["found"] == "1 \\udc80"


@pytest.mark.parametrize(
    "codes", [["beyond-joint", "out-of-stroke"], ["of-no-page"], ["no-setup", "no-laser"]]
)
def test_other_faults_go_under_refused(door: Door, codes: list[str]) -> None:
    answer = door.post("/v1/refusals", codes)
    assert (answer.status_code, slug_of(answer)) == (422, "refused")
    assert [each["code"] for each in answer.json()["errors"]] == codes


@pytest.mark.parametrize(
    ("code", "status"), [("no-setup", 409), ("unknown-machine", 422), ("unknown-target", 422)]
)
def test_the_status_of_a_refusal(door: Door, code: str, status: int) -> None:
    answer = door.post("/v1/refusals", [code])
    assert (answer.status_code, slug_of(answer)) == (status, code)


def test_what_an_address_names_is_404(door: Door) -> None:
    answer = door.ask("GET", "/v1/machines/no-such")
    assert (answer.status_code, faults_of(answer)) == (404, {"": "unknown-machine"})


@pytest.mark.parametrize(
    ("error", "status", "slug"),
    [
        (JobUnknown("x"), 404, "unknown-job"), (JobExists("x"), 409, "job-exists"),
        (IdempotencyConflict("x", "k", 3), 409, "idempotency-conflict"),
        (SequenceMismatch("x", 3, 4), 412, "sequence-mismatch"),
        (NotStorable([("a", "b", "c")]), 422, "refused"),
        (RevisionConflict("machine", "h", "f"), 409, "revision-conflict"),
        (LogDamaged("x", 3, INSIDE), 500, "log-damaged"), (DatabaseClosed(INSIDE), 503, "database"),
        (DatabaseFromTheFuture(INSIDE, "1", "2"), 503, "database-from-the-future"),
        (EventFromTheFutureError(INSIDE), 503, "database-from-the-future"),
        (OperationalError(INSIDE, {}, Exception(INSIDE)), 503, "database"),
        (OSError(INSIDE), 500, "internal"), (ValueError(INSIDE), 500, "internal"), (KeyError(INSIDE), 500, "internal"),
        (RecursionError(INSIDE), 500, "internal"), (MemoryError(INSIDE), 500, "internal"),
    ],
)  # fmt: skip
def test_every_exception_has_its_answer(
    door: Door, caplog: pytest.LogCaptureFixture, error: Exception, status: int, slug: str
) -> None:
    path = f"/v1/raised/{type(error).__name__}"

    def raising() -> None:
        raise error

    door.app.router.routes.append(APIRoute(path, raising))
    with caplog.at_level(logging.ERROR, logger="tipdatum"):
        answer = door.ask("GET", path)
    assert (answer.status_code, slug_of(answer)) == (status, slug)
    assert INSIDE not in answer.text
    logged = [record.getMessage() for record in caplog.records]
    assert bool(logged) == (status >= 500)
    assert all(answer.json()["instance"] in message for message in logged)


@pytest.mark.parametrize("path", ["/v1/failures", "/v1/gateways"])
def test_500_says_nothing_of_the_inside(door: Door, caplog: pytest.LogCaptureFixture, path: str) -> None:
    with caplog.at_level(logging.ERROR, logger="tipdatum"):
        answer = door.ask("GET", path)
    assert (answer.status_code, slug_of(answer)) == (500, "internal")
    assert INSIDE not in answer.text
    assert "Error" not in answer.text
    (record,) = caplog.records
    assert answer.json()["instance"] in record.getMessage()
    assert "Traceback" in record.getMessage()
    assert INSIDE in record.getMessage()


def test_a_status_of_a_route_keeps_the_shape(door: Door) -> None:
    answer = door.ask("GET", "/v1/conflicts")
    assert answer.status_code == 428
    assert answer.json()["detail"] == "say which state you saw"


def test_a_route_may_decide_on_a_problem(door: Door) -> None:
    answer = door.ask("GET", "/v1/own")
    assert (answer.status_code, slug_of(answer), answer.headers["retry-after"]) == (409, "name-taken", "7")


def test_nothing_there_and_not_done_here(door: Door) -> None:
    assert slug_of(door.ask("GET", "/v1/nothing")) == "not-found"
    answer = door.ask("DELETE", "/v1/version")
    assert (answer.status_code, slug_of(answer), answer.headers["allow"]) == (
        405,
        "method-not-allowed",
        "GET",
    )


def test_no_address_redirects(door: Door) -> None:
    for path in ("/docs/", "/guide/", "/v1/version/", "/v1/jobs/"):
        assert door.ask("GET", path).status_code == 404


def test_every_instance_is_another(door: Door) -> None:
    assert len({door.ask("GET", "/nothing").json()["instance"] for _ in range(5)}) == 5


def test_the_shape_is_in_openapi(door: Door) -> None:
    document = door.ask("GET", "/openapi.json").json()
    responses = document["paths"]["/v1/bodies"]["post"]["responses"]
    assert {str(status) for status, _ in TABLE.values()} < set(responses)
    for status in responses.keys() - {"200"}:
        schema = responses[status]["content"][problems.MEDIA_TYPE]["schema"]
        assert schema == {"$ref": "#/components/schemas/ProblemDocument"}
    assert "HTTPValidationError" not in document["components"]["schemas"]
    sent = door.ask("GET", "/nothing").content
    assert TypeAdapter(problems.ProblemDocument).validate_json(sent).status == 404
