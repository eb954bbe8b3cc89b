"""POST /v1/pose-columns: the numbers of /v1/poses row by row, in both forms, over several machines."""

import math
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest

from service.api import column_json, column_solving, columns
from service.api.column_json import ColumnsOut
from service.api.column_request import OUTPUTS as NAMES
from service.guard import ARROW
from tests.tolerances import NOISE_M

from .doing import Client, Json
from .tabling import COUNT, OUTPUTS, PAIR, PATH, as_json, batch_of, poses, post_arrow, query, stream, table

TOOL = ("crawler-14t", "digging-1500")
OTHER = ("crawler-21t", "digging-1500")


def close(found: float, wanted: float) -> None:
    assert math.isfinite(found)
    assert abs(found - wanted) <= NOISE_M


def one_by_one(client: Client, pair: tuple[str, str], angles: Json, i: int) -> Any:
    """The answer of /v1/poses to row i."""
    row = {name: float(values[i]) for name, values in angles.items()}
    body = {
        "machine": pair[0], "attachment": pair[1], "units": "m",
        "attitude_deg": {name: row.pop(name) for name in ("pitch", "roll")}, "angles_deg": row,
    }  # fmt: skip
    return client.http.post("/v1/poses", json=body)


def hold_to_poses(client: Client, pair: tuple[str, str], angles: Json, answer: Json, first: int = 0) -> int:
    """Compare rows from `first` on with /v1/poses; how many had numbers."""
    columns, good = answer["columns"], 0
    for i in range(len(angles["pitch"])):
        single = one_by_one(client, pair, angles, i)
        row = {name: column[first + i] for name, column in columns.items()}
        status = answer["status"][first + i]
        if single.status_code != 200:
            assert {fault["code"] for fault in single.json()["errors"]} == {status}
            assert set(row.values()) == {None}
            continue
        good += 1
        told = single.json()
        assert status == "ok"
        close(row["left_height_m"], told["heights"]["left"]["m"])
        close(row["centre_reach_m"], told["reach"]["m"])
        close(row["cross_slope_percent"], told["cross_slope_percent"])
        close(row["floor_angle_deg"], told["floor_angle_deg"])
        close(row["mast_angle_deg"], told["mast_deg"])
        assert row["past_square"] is told["past_square"]
    return good


@pytest.mark.parametrize("pair", [PAIR, TOOL, ("crawler-14t", "tilt-rotator-1600")])
def test_row_by_row(client: Client, pair: tuple[str, str]) -> None:
    angles = poses(pair)
    answer = client.post(PATH, as_json(angles, [pair]), 200)
    good = hold_to_poses(client, pair, angles, answer)
    assert 0 < good < COUNT, "rows of both kinds were wanted"
    assert answer["rows"] == COUNT
    assert answer["failed"] == COUNT - good
    assert "machine_of" not in answer


def test_the_answer_is_as_described(client: Client) -> None:
    for pairs in ([PAIR], [PAIR, PAIR]):
        sent = client.http.post(PATH, json=as_json(poses(), pairs))
        told = ColumnsOut.model_validate_json(sent.content)
        assert set(told.columns) == set(OUTPUTS)
        assert {len(column) for column in told.columns.values()} == {told.rows} == {len(told.status)}
        assert told.machines[0].machine.id == PAIR[0]
        assert told.machines[0].machine.revision == client.get(f"/v1/machines/{PAIR[0]}")["revision"]
        assert told.machines[0].attachment.revision == client.get(f"/v1/attachments/{PAIR[1]}")["revision"]
        assert "Advisory" in told.advisory


def test_every_output_has_its_unit(client: Client) -> None:
    """All that a machine with receiver, tilt and teeth can give, in one row, against the points of /v1/poses."""
    pair = ("crawler-14t", "digging-1500")
    angles = {"pitch": 2.0, "roll": -3.0, "boom": 30.0, "stick": -100.0, "bucket": 60.0}
    answer = client.post(PATH, as_json(angles, [pair], list(NAMES)), 200)
    told = one_by_one(client, pair, {name: [value] for name, value in angles.items()}, 0).json()
    assert list(answer["columns"]) == list(NAMES)
    for point, places in told["points"].items():
        for axis, value in zip(("reach", "lateral", "height"), places["level_m"], strict=True):
            close(answer["columns"][f"{point}_{axis}_m"][0], value)
    assert len(told["points"]) == 9
    close(answer["columns"]["heel_clearance_m"][0], told["heel_clearance"]["m"])
    close(answer["columns"]["mast_angle_deg"][0], told["mast_deg"])


@pytest.mark.parametrize("pairs", [[PAIR], [PAIR, PAIR]])
def test_both_forms_both_ways(client: Client, pairs: list[tuple[str, str]]) -> None:
    angles = poses()
    body = as_json(angles, pairs)
    wanted = client.post(PATH, body, 200)
    sent = stream(batch_of(angles))
    assert post_arrow(client, sent, query(pairs)) == wanted
    from_json = client.http.post(PATH, json=body, headers={"accept": f"text/html, {ARROW};q=0.9"})
    from_arrow = post_arrow(client, sent, query(pairs), accept=ARROW)
    assert from_json.headers["content-type"] == ARROW
    assert from_json.content == from_arrow.content
    found = table(from_json.content)
    assert {name: found.column(name).to_pylist() for name in OUTPUTS} == wanted["columns"]
    assert found.column("status").to_pylist() == wanted["status"]
    assert found.column("centre_reach_m").null_count == wanted["failed"] > 0
    metadata = found.schema.metadata
    assert metadata[b"tipdatum"].decode() == client.get("/v1/version")["version"]
    assert wanted["machines"][0]["attachment"]["revision"].encode() in metadata[b"machines"]
    if len(pairs) > 1:
        assert found.column("machine_of").to_pylist() == wanted["machine_of"]


def test_a_number_holds_for_all_rows(client: Client) -> None:
    angles = poses() | {"pitch": 1.5, "bucket": 30}
    spread = {name: np.broadcast_to(np.asarray(value, dtype=float), COUNT) for name, value in angles.items()}
    assert client.post(PATH, as_json(angles), 200) == client.post(PATH, as_json(spread), 200)
    lone = {name: float(np.asarray(value).flat[0]) for name, value in angles.items()}
    assert client.post(PATH, as_json(lone), 200)["rows"] == 1


def test_every_machine_takes_every_pose(client: Client) -> None:
    angles = poses(OTHER, 7)
    answer = client.post(PATH, as_json(angles, [TOOL, OTHER]), 200)
    assert answer["rows"] == 14
    assert answer["machine_of"] == [0] * 7 + [1] * 7
    assert hold_to_poses(client, TOOL, angles, answer) + hold_to_poses(client, OTHER, angles, answer, 7) > 0


def test_each_row_its_machine(client: Client) -> None:
    angles, which = poses(OTHER, 7), [1, 0, 0, 1, 1, 0, 1]
    answer = client.post(PATH, as_json(angles, [TOOL, OTHER], machine_of=which), 200)
    assert answer["machine_of"] == which
    for i, machine in enumerate(which):
        row = {name: values[i : i + 1] for name, values in angles.items()}
        alone = client.post(PATH, as_json(row, [(TOOL, OTHER)[machine]]), 200)
        assert {name: column[i] for name, column in answer["columns"].items()} == {
            name: column[0] for name, column in alone["columns"].items()
        }
    arrow = batch_of(angles).append_column("machine_of", np.array(which, dtype=np.uint8))
    assert post_arrow(client, stream(arrow), query([TOOL, OTHER])) == answer


def test_cylinders_and_stand_ins(client: Client) -> None:
    """What /v1/poses tells of cylinders and linkage leads back to the same rows."""
    angles = {name: values[:8] for name, values in poses(TOOL).items()}
    told = [one_by_one(client, TOOL, angles, i) for i in range(8)]
    good = [i for i, single in enumerate(told) if single.status_code == 200]
    kept = {name: values[good] for name, values in angles.items()}
    wanted = client.post(PATH, as_json(kept, [TOOL]), 200)["columns"]
    singles = [told[i].json() for i in good]
    lean = {name: kept[name] for name in ("pitch", "roll")}
    lengths = {
        name: [single["cylinders_mm"][name] for single in singles] for name in ("boom", "stick", "bucket")
    }
    idler = {"idler": [single["linkage"]["idler_deg"] for single in singles]}
    by_length = as_json(lean, [TOOL], cylinders_mm=lengths)
    by_idler = as_json(
        lean | {"boom": kept["boom"]} | idler, [TOOL], cylinders_mm={"stick": lengths["stick"]}
    )
    arrow = batch_of(lean | {"boom": kept["boom"]} | idler).append_column(
        "stick_cylinder_mm", lengths["stick"]
    )
    for answer in (
        client.post(PATH, by_length, 200), client.post(PATH, by_idler, 200),
        post_arrow(client, stream(arrow), query([TOOL])),
    ):  # fmt: skip
        assert answer["failed"] == 0
        for name in ("left_height_m", "centre_reach_m", "floor_angle_deg"):
            for found, expected in zip(answer["columns"][name], wanted[name], strict=True):
                close(found, expected)


def test_a_row_says_why_it_has_no_number(client: Client) -> None:
    fine = {"pitch": 0.0, "roll": 0.0, "boom": 30.0, "stick": -100.0}
    steep = as_json(fine | {"pitch": [0.0, 46.0, 0.0], "bucket": [60.0, 60.0, 500.0]}, [TOOL])
    answer = client.post(PATH, steep, 200)
    assert answer["status"] == ["ok", "too-steep", "beyond-joint"]
    assert answer["failed"] == 2
    stretched = as_json(fine, [TOOL], cylinders_mm={"bucket": [1900.0, 9000.0]})
    assert client.post(PATH, stretched, 200)["status"] == ["ok", "out-of-stroke"]


def test_long_columns_are_written_in_pieces_and_solved_in_parts(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = as_json(poses(count=3000))
    wanted = client.http.post(PATH, json=body).content
    monkeypatch.setattr(column_json, "_PIECE", 7)
    monkeypatch.setattr(column_solving, "_WORTH_PARTING", 10)
    assert client.http.post(PATH, json=body).content == wanted


def test_others_are_answered_meanwhile(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    begun, over = threading.Event(), threading.Event()

    def slow(*given: Any) -> column_solving.Solved:
        begun.set()
        assert over.wait(30.0)
        return column_solving.solve(*given)

    monkeypatch.setattr(columns, "solve", slow)
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(client.http.post, PATH, json=as_json(poses()))
        assert begun.wait(30.0)
        assert client.get("/v1/health") == {"status": "good"}
        over.set()
        assert waiting.result(30.0).status_code == 200


def test_arrow_in_many_batches(client: Client) -> None:
    angles = poses()
    whole = batch_of(angles)
    pieces = [whole.slice(0, 3), whole.slice(3, 0), whole.slice(3, 30), whole.slice(33)]
    assert post_arrow(client, stream(*pieces)) == post_arrow(client, stream(whole))


@pytest.mark.parametrize("kind", ["f4", "f2", "i4", "u1", "i8"])
def test_other_numbers_are_numbers(client: Client, kind: str) -> None:
    angles = {name: np.abs(values).astype(kind) % 100 for name, values in poses().items()}
    same = {name: values.astype(float) for name, values in angles.items()}
    assert post_arrow(client, stream(batch_of(angles))) == client.post(PATH, as_json(same), 200)


def test_an_uploaded_machine_takes_columns_too(client: Client) -> None:
    toml = client.get("/v1/attachments/digging-1500")["toml"].replace("digging-1500", "our-own-1500")
    client.post("/v1/attachments", {"toml": toml})
    angles = poses(TOOL)
    own = client.post(PATH, as_json(angles, [("crawler-14t", "our-own-1500")]), 200)
    assert own["columns"] == client.post(PATH, as_json(angles, [TOOL]), 200)["columns"]
    assert own["machines"][0]["attachment"]["id"] == "our-own-1500"
