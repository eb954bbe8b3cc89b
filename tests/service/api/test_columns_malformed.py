"""What refuses columns of poses whole, in both forms: every place named, never more than a hundred, never a 5xx."""

import json
import time
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.api import column_arrow, column_json, column_request, column_solving
from service.guard import ARROW
from tests.amounts import several

from .doing import Client, Json, faults
from .tabling import PAIR, PATH, as_json, batch_of, poses, post_arrow, query, stream

ROWS = 5
END = b"\xff\xff\xff\xff\x00\x00\x00\x00"


def good(**more: Any) -> Json:
    return as_json(poses(count=ROWS), **more)


def put(body: Json, place: str, value: Any) -> Json:
    """The body with something else at a pointer; Ellipsis takes it out."""
    copy: Json = json.loads(json.dumps(body))
    *way, last = [int(part) if part.isdigit() else part for part in place.split("/")[1:]]
    spot: Any = copy
    for part in way:
        spot = spot[part]
    if value is ...:
        del spot[last]
    else:
        spot[last] = value
    return copy


@pytest.mark.parametrize(
    ("place", "value", "code"),
    [
        ("/angles_deg/boom/3", None, "wrong-type"), ("/angles_deg/boom/3", "1.5", "wrong-type"),
        ("/angles_deg/boom/3", True, "wrong-type"), ("/angles_deg/boom/3", [1.0], "wrong-type"),
        ("/angles_deg/boom/3", float("nan"), "not-finite"), ("/angles_deg/boom/0", float("-inf"), "not-finite"),
        ("/angles_deg/boom/4", 10**400, "not-finite"), ("/angles_deg/boom", None, "wrong-type"),
        ("/angles_deg/boom", "30", "wrong-type"), ("/angles_deg/boom", {}, "wrong-type"),
        ("/angles_deg/boom", [], "wrong-length"), ("/angles_deg/boom", [1.0], "ragged"),
        ("/angles_deg/boom", [1.0] * (ROWS - 1), "ragged"), ("/angles_deg/boom", float("inf"), "not-finite"),
        ("/angles_deg/boom", ..., "missing-joint"), ("/angles_deg/bom", 1.0, "unknown-field"),
        ("/angles_deg/rotate", 1.0, "no-such-joint"), ("/angles_deg/idler", 1.0, "joint-given-twice"),
        ("/cylinders_mm/boom", 2000.0, "joint-given-twice"), ("/cylinders_mm/tilt", 2000.0, "unknown-field"),
        ("/cylinders_mm", [], "wrong-type"), ("/attitude_deg", ..., "missing-field"), ("/attitude_deg", 3, "wrong-type"),
        ("/attitude_deg/pitch", ..., "missing-field"), ("/attitude_deg/roll/2", None, "wrong-type"),
        ("/attitude_deg/yaw", 1.0, "unknown-field"), ("/outputs", ..., "missing-field"), ("/outputs", [], "wrong-length"),
        ("/outputs/1", "centre_height", "not-a-choice"), ("/outputs/1", "left_height_m", "given-twice"),
        ("/outputs/0", "tooth_left_height_m", "no-such-point"), ("/outputs", ["left_height_m"] * 99, "wrong-length"),
        ("/machines", ..., "missing-field"), ("/machines", [], "wrong-length"), ("/machines", {}, "wrong-type"),
        ("/machines/0/machine", "no-such", "unknown-machine"),
        ("/machines/0/attachment", "no-such", "unknown-attachment"),
        ("/machines/0/colour", "red", "unknown-field"),
        ("/machine_of", 0, "wrong-type"), ("/machine_of/2", 0.0, "wrong-type"), ("/machine_of/2", True, "wrong-type"),
        ("/machine_of/2", -1, "unknown-machine"), ("/machine_of/2", 1, "unknown-machine"),
        ("/machine_of/2", 10**30, "unknown-machine"), ("/machine_of", [], "wrong-length"),
        ("/units", "m", "unknown-field"),
    ],
)  # fmt: skip
def test_json(client: Client, place: str, value: Any, code: str) -> None:
    body = put(good(machine_of=[0] * ROWS, cylinders_mm={}), place, value)
    assert faults(client.raw(PATH, json.dumps(body), 422), 422) == {place: code}


def test_the_longest_column_sets_the_rows(client: Client) -> None:
    found = client.refused(PATH, good(machine_of=[0] * (ROWS + 1)), 422)
    assert found == {
        "/attitude_deg/pitch": "ragged", "/attitude_deg/roll": "ragged",
        **{f"/angles_deg/{name}": "ragged" for name in ("boom", "stick", "bucket", "tilt")},
    }  # fmt: skip


def test_all_faults_at_once(client: Client) -> None:
    body = good() | {"units": "m"}
    body["angles_deg"] |= {"boom": [1.0, None, "x"], "rotate": 3.0, "stick": [float("nan")] * ROWS}
    del body["angles_deg"]["tilt"]
    body["outputs"] = ["left_height_m", "left_height_m"]
    answer = client.raw(PATH, json.dumps(body), 422)
    assert faults(answer, 422) == {
        "/units": "unknown-field", "/angles_deg/boom/1": "wrong-type", "/angles_deg/boom/2": "wrong-type",
        "/outputs/1": "given-twice", "/angles_deg/tilt": "missing-joint", "/angles_deg/rotate": "no-such-joint",
        **{f"/angles_deg/stick/{i}": "not-finite" for i in range(ROWS)},
    }  # fmt: skip
    assert answer["type"].endswith("#invalid-request")


def test_nan_alone_goes_under_its_own_page(client: Client) -> None:
    answer = client.raw(PATH, json.dumps(put(good(), "/angles_deg/boom/3", float("nan"))), 422)
    assert answer["type"].endswith("#not-finite")


@pytest.mark.parametrize("value", ["null", '"x"', "NaN"])
def test_a_hundred_places_and_quickly(client: Client, value: str) -> None:
    angles = {"pitch": 0, "roll": 0, "boom": [1], "stick": -90, "bucket": 30, "tilt": 0}
    text = json.dumps(as_json(angles))
    text = text.replace("[1]", f"[{', '.join([value] * 100_000)}]")
    start = time.process_time()  # of this process, which serves too: not of whatever else runs
    answer = client.raw(PATH, text, 422)
    assert time.process_time() - start < 5.0, "a model a number would take minutes"
    assert len(answer["errors"]) == 100
    assert answer["errors"][0]["pointer"] == "/angles_deg/boom/0"


@pytest.mark.parametrize("body", ["[]", "3", "null", '"x"', "NaN"])
def test_json_that_is_no_object(client: Client, body: str) -> None:
    assert list(faults(client.raw(PATH, body, 422), 422)) == [""]


def test_text_that_means_two_things(client: Client) -> None:
    text = json.dumps(good())
    twice = text.replace('"angles_deg": {', '"angles_deg": {"boom": 1.0, ')
    assert faults(client.raw(PATH, twice, 422), 422) == {"/angles_deg/boom": "given-twice"}
    assert client.raw(PATH, text[:-1], 400)["type"].endswith("#malformed-json")
    assert client.raw(PATH, text[:-1] + ', "x": ' + "[" * 100 + "]" * 100 + "}", 400)["type"].endswith(
        "#malformed-json"
    )
    assert client.raw(PATH, '{"machines": [' + "[" * 3000, 422)["errors"][0]["code"] == "wrong-length"


def test_no_body(client: Client) -> None:
    answer = client.http.post(PATH)
    assert faults(answer.json(), 422) == {"": "missing-field"}


def test_other_media_types(client: Client) -> None:
    for kind in ("text/csv", "application/vnd.apache.arrow.file", "", f"{ARROW}, application/json"):
        answer = client.http.post(PATH, content=b"x", headers={"content-type": kind})
        assert answer.status_code == 415
        assert ARROW in answer.json()["errors"][0]["expected"]
    answer = client.http.post("/v1/poses", content=stream(batch_of(poses())), headers={"content-type": ARROW})
    assert answer.status_code == 415


def test_a_query_beside_json(client: Client) -> None:
    answer = client.post(f"{PATH}?output=left_height_m", good(), 422)
    assert faults(answer, 422) == {"": "unknown-field"}


def test_joints_that_differ(client: Client) -> None:
    pairs = [PAIR, ("crawler-14t", "digging-1500")]
    assert client.refused(PATH, good(pairs=pairs), 422) == {"/machines/1": "joints-differ"}


def test_too_many_machines(client: Client) -> None:
    assert client.refused(PATH, good(pairs=[PAIR] * 257), 422) == {"/machines": "wrong-length"}


def test_too_many_values(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    body, sent = good(pairs=[PAIR] * 10), stream(batch_of(poses(count=ROWS)))
    monkeypatch.setattr(column_solving, "MOST_VALUES", 10 * ROWS * 6)
    assert client.post(PATH, body, 200)["rows"] == 10 * ROWS
    monkeypatch.setattr(column_solving, "MOST_VALUES", 10 * ROWS * 6 - 1)
    answer = client.post(PATH, body, 422)
    assert answer["type"].endswith("#too-many-values")
    assert answer["errors"][0]["numbers"] == {"found_values": 300, "most_values": column_request.MOST_VALUES}
    for module in (column_json, column_arrow):
        monkeypatch.setattr(module, "MOST_VALUES", 29)
    for answer in (client.post(PATH, good(), 422), post_arrow(client, sent, status=422)):
        assert answer["type"].endswith("#too-many-values")


# Arrow


def changed(**columns: Any) -> bytes:
    """A good stream with some columns as given; None takes one out."""
    found = {f"{name}_deg": values for name, values in poses(count=ROWS).items()} | columns
    kept = {name: values for name, values in found.items() if values is not None}
    return stream(pa.record_batch(list(kept.values()), names=list(kept)))


def doubled() -> bytes:
    batch = batch_of(poses(count=ROWS))
    return stream(
        pa.record_batch([*batch.columns, batch.column(0)], names=[*batch.schema.names, "pitch_deg"])
    )


def nulls(kind: Any = None) -> Any:
    return pa.array([1, None, 3, None, 5], kind or pa.float64())


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        (changed(boom_deg=nulls()), {"/boom_deg/1": "wrong-type", "/boom_deg/3": "wrong-type"}),
        (changed(boom_deg=nulls(pa.int8())), {"/boom_deg/1": "wrong-type", "/boom_deg/3": "wrong-type"}),
        (changed(boom_deg=np.array([1, np.nan, 3, np.inf, 5])), {"/boom_deg/1": "not-finite",
                                                                   "/boom_deg/3": "not-finite"}),
        (changed(boom_deg=pa.array(["1"] * ROWS)), {"/boom_deg": "wrong-type"}),
        (changed(boom_deg=pa.array(["1"] * ROWS).dictionary_encode()), {"/boom_deg": "wrong-type"}),
        (changed(boom_deg=pa.array([True] * ROWS)), {"/boom_deg": "wrong-type"}),
        (changed(boom_deg=pa.nulls(ROWS)), {"/boom_deg": "wrong-type"}),
        (changed(boom_deg=pa.array([[1.0]] * ROWS)), {"/boom_deg": "wrong-type"}),
        (changed(boom_deg=None), {"/boom_deg": "missing-joint"}),
        (changed(pitch_deg=None), {"/pitch_deg": "missing-joint"}),
        (changed(boom=np.zeros(ROWS)), {"/boom": "unknown-field"}),
        (changed(rotate_deg=np.zeros(ROWS)), {"/rotate_deg": "no-such-joint"}),
        (changed(boom_cylinder_mm=np.ones(ROWS)), {"/boom_cylinder_mm": "joint-given-twice"}),
        (changed(machine_of=np.array([0, 0, 1, 0, 0])), {"/machine_of/2": "unknown-machine"}),
        (changed(machine_of=np.array([0, -1, 0, 0, 0], dtype=np.int8)), {"/machine_of/1": "unknown-machine"}),
        (changed(machine_of=np.array([0, 2**64 - 1, 0, 0, 0], dtype=np.uint64)), {"/machine_of/1": "unknown-machine"}),
        (changed(machine_of=np.zeros(ROWS)), {"/machine_of": "wrong-type"}),
        (changed(machine_of=pa.array([0, 0, None, 0, 0])), {"/machine_of/2": "wrong-type"}),
        (doubled(), {"/pitch_deg": "given-twice"}),
        (stream(batch_of(poses(count=ROWS)).slice(0, 0)), {"": "wrong-length"}),
        (stream(batch_of(poses(count=ROWS)), compression="zstd"), {"": "wrong-form"}),
        (stream(batch_of(poses(count=ROWS)), compression="lz4"), {"": "wrong-form"}),
    ],
)  # fmt: skip
def test_arrow(client: Client, body: bytes, expected: dict[str, str]) -> None:
    assert faults(post_arrow(client, body, status=422), 422) == expected


def test_ten_thousand_columns(client: Client) -> None:
    batch = pa.record_batch({f"c{i}": np.zeros(1) for i in range(10_000)})
    answer = post_arrow(client, stream(batch), status=422)
    assert len(answer["errors"]) == 100


def test_a_hundred_nulls(client: Client) -> None:
    columns = {f"{name}_deg": pa.nulls(5000, pa.float64()) for name in poses()}
    answer = post_arrow(client, stream(pa.record_batch(columns)), status=422)
    assert [fault["code"] for fault in answer["errors"]] == ["wrong-type"] * 100


@pytest.mark.parametrize("cut", [1, 7, 8, 100, 600])
def test_a_stream_cut_short(client: Client, cut: int) -> None:
    """Cut by eight bytes it ends after a whole batch, and only the missing end mark shows it."""
    body = stream(batch_of(poses(count=ROWS)))
    answer = post_arrow(client, body[:-cut], status=400)
    assert answer["type"].endswith("#malformed-arrow")


def test_a_stream_cut_between_two_batches(client: Client) -> None:
    batch = batch_of(poses(count=ROWS))
    one = len(stream(batch)) - len(END)
    assert post_arrow(client, stream(batch, batch)[:one], status=400)["type"].endswith("#malformed-arrow")


@pytest.mark.parametrize(
    "body",
    [b"x", b"\x00" * 100, END, b'{"machines": []}', b"ARROW1\x00\x00", b"\xff\xff\xff\xff\xff\xff\xff\x7f"],
)
def test_bytes_that_are_no_stream(client: Client, body: bytes) -> None:
    assert post_arrow(client, body, status=400)["type"].endswith("#malformed-arrow")


@pytest.mark.parametrize("after", [b"\x00", END, b"x" * 64])
def test_bytes_after_the_end(client: Client, after: bytes) -> None:
    body = stream(batch_of(poses(count=ROWS))) + after
    assert post_arrow(client, body, status=400)["type"].endswith("#malformed-arrow")


def test_two_streams_in_one_body(client: Client) -> None:
    body = stream(batch_of(poses(count=ROWS)))
    [told] = post_arrow(client, body + body, status=400)["errors"]
    assert told["found"] == f"{len(body)} bytes after the end of the stream"


def test_what_is_no_stream_is_said_in_words(client: Client) -> None:
    [zeros] = post_arrow(client, bytes(10_000), status=400)["errors"]
    assert zeros["found"] == "no schema in the stream"
    [cut] = post_arrow(client, stream(batch_of(poses(count=ROWS)))[: -len(END)], status=400)["errors"]
    assert cut["found"].endswith(", and no end-of-stream mark")


@pytest.mark.parametrize(
    ("address", "named"),
    [
        (query(pairs=[]), ["machine"]), (query(outputs=[]), ["output"]),
        (query(pairs=[PAIR, ("no-such", "nor-this")]), ["machine.1", "attachment.1"]),
        (query(pairs=[PAIR, ("crawler-14t", "digging-1500")]), ["machine.1"]),
        (query(outputs=["left_height_m", "tooth_left_height_m"]), ["output.1"]),
        (query(pairs=[("crawler-14t", "published-mini-bucket")]), ["machine.0"]),
    ],
)  # fmt: skip
def test_faults_of_the_query_name_its_parameters(client: Client, address: str, named: list[str]) -> None:
    told = post_arrow(client, stream(batch_of(poses(count=ROWS))), address, 422)["errors"]
    assert [each["found"].rpartition(" in the query parameter ")[2] for each in told] == named


@pytest.mark.parametrize(
    ("address", "code"),
    [
        (f"{PATH}", "wrong-length"), (f"{PATH}?machine=crawler-14t&output=left_height_m", "wrong-length"),
        (query(outputs=[]), "wrong-length"), (query(outputs=["left_height"]), "not-a-choice"),
        (query(outputs=["left_height_m"] * 2), "given-twice"), (query() + "&rows=3", "unknown-field"),
        (query(pairs=[("no-such", "tilting-1800")]), "unknown-machine"), (query(pairs=[("No Such", "x")]), "wrong-form"),
        (query(pairs=[PAIR, ("crawler-14t", "digging-1500")]), "joints-differ"),
        (query(outputs=["tooth_left_height_m"]), "no-such-point"), (query(pairs=[PAIR] * 257), "wrong-length"),
    ],
)  # fmt: skip
def test_a_query_that_does_not_fit(client: Client, address: str, code: str) -> None:
    answer = post_arrow(client, stream(batch_of(poses(count=ROWS))), address, 422)
    assert set(faults(answer, 422).items()) == {("", code)}


WHOLE = stream(batch_of(poses(count=ROWS)), batch_of(poses(count=ROWS)))


# Spoilt exponents are absurd angles: refused row by row, but not without a warning where nothing is compiled.
@pytest.mark.filterwarnings("ignore:(overflow|invalid value) encountered:RuntimeWarning")
@settings(
    max_examples=several(400), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    places=st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), max_size=6),
    cut=st.none() | st.integers(0, len(WHOLE)),
)
def test_spoilt_streams(client: Client, places: list[tuple[int, int]], cut: int | None) -> None:
    """Whatever a few wrong bytes do: an answer, or a refusal."""
    body = bytearray(WHOLE)
    for place, byte in places:
        body[place] = byte
    sent = bytes(body[:cut]) or b"\x00"
    answer = client.http.post(query(), content=sent, headers={"content-type": ARROW})
    assert answer.status_code in {200, 400, 422}, answer.text
    if answer.status_code == 200:
        assert answer.json()["rows"] == 2 * ROWS


@settings(
    max_examples=several(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.binary(min_size=1, max_size=300))
def test_any_bytes(client: Client, body: bytes) -> None:
    assert client.http.post(query(), content=body, headers={"content-type": ARROW}).status_code == 400
