"""Machines and attachments through HTTP: revisions, verdicts, refusals."""

import json
from pathlib import Path

import pytest

from machine_profiles import json_schema, shipped
from service.prompt import verdict_of

from .doing import Client, Json, faults

ON_EVERY_DATABASE = True

OWN = """schema = 1
kind = "machine"
id = "ID"
name = "Our digger"
source = "SOURCE"
units = { length = "mm", angle = "deg" }
boom = { foot = { forward = 250, left = -60 }, length = 4600, range = { low = -41, high = 54 } }
stick = { length = 2500, range = { low = -147, high = -30 } }
bucket = { range = { low = -29, high = 134 } }
"""
FAULTY = """schema = 1
kind = "machine"
id = "Not An Id"
name = "Faulty"
source = "x"
wheels = 4

[units]
length = "furlong"
angle = "deg"

[boom]
foot = { forward = 250, left = -60 }
length = 0
range = { low = 54, high = -41 }

[stick]
length = "long"
range = { low = -147, high = -30 }

[bucket]
range = { low = -29, high = 134 }
"""
POSE = {
    "units": "m", "angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": 60.0},
    "attitude_deg": {"pitch": 0.0, "roll": 0.0},
}  # fmt: skip


def own(name: str, source: str = "taped") -> Json:
    return {"toml": OWN.replace("ID", name).replace("SOURCE", source)}


@pytest.mark.parametrize(("kind", "plural"), [("machine", "machines"), ("attachment", "attachments")])
def test_the_shipped_are_there(client: Client, kind: str, plural: str) -> None:
    listed = {line["id"]: line for line in client.get(f"/v1/{plural}")}
    for (shipped_kind, name), profile in shipped().items():
        if shipped_kind != kind:
            continue
        assert listed[name]["revision"] == profile.content_hash
        assert listed[name]["origin"] == "shipped"
        answer = client.http.get(f"/v1/{plural}/{name}")
        assert answer.headers["ETag"] == f'"{profile.content_hash}"'
        whole = answer.json()
        assert whole["toml"] == profile.source_text
        assert whole["document"] == json.loads(json.dumps(profile.document))
        assert whole["facts"]
        [only] = client.get(f"/v1/{plural}/{name}/revisions")
        assert client.get(f"/v1/{plural}/{name}/revisions/{only['revision']}") == whole


def test_a_machine_of_one_s_own_with_ranges_only(client: Client) -> None:
    answer = client.http.post("/v1/machines", json=own("ours-a"))
    assert answer.status_code == 201
    first = answer.json()
    assert answer.headers["Location"] == f"/v1/machines/ours-a/revisions/{first['revision']}"
    assert client.get(answer.headers["Location"]) == first
    pose = client.post("/v1/poses", POSE | {"machine": "ours-a", "attachment": "trenching-600"}, 200)
    assert pose["machine"] == {"id": "ours-a", "revision": first["revision"]}
    assert pose["cylinders_mm"] == {}
    assert pose["linkage"] is None
    assert pose["mast_deg"] is None
    like = client.post("/v1/poses", POSE | {"machine": "crawler-14t", "attachment": "trenching-600"}, 200)
    assert pose["heights"]["centre"]["m"] == pytest.approx(like["heights"]["centre"]["m"], abs=1e-9)


def test_revisions_are_added_and_never_changed(client: Client) -> None:
    first = client.post("/v1/machines", own("ours-b"))
    assert client.post("/v1/machines", own("ours-b")) == first, "the same content is the same revision"
    second = client.post("/v1/machines", own("ours-b", "taped again"))
    assert second["revision"] != first["revision"]
    lines = client.get("/v1/machines/ours-b/revisions")
    assert [line["revision"] for line in lines] == [first["revision"], second["revision"]]
    assert client.get("/v1/machines/ours-b") == second
    assert client.get(f"/v1/machines/ours-b/revisions/{first['revision']}") == first
    assert client.refused("/v1/machines", own("ours-b"), 409) == {"/toml": "older-revision"}
    assert client.get("/v1/machines/ours-b") == second
    pose = client.post("/v1/poses", POSE | {"machine": "ours-b", "attachment": "trenching-600"}, 200)
    assert pose["machine"]["revision"] == second["revision"]


def test_a_job_keeps_the_revision_it_began_with(client: Client) -> None:
    first = client.post("/v1/machines", own("ours-c"))
    client.post("/v1/jobs", {"id": "keeps", "name": "Keeps", "units": "m"})
    client.post("/v1/jobs/keeps/setups", {"machine": "ours-c", "attachment": "trenching-600"})
    client.post("/v1/machines", own("ours-c", "taped again"))
    assert client.get("/v1/jobs/keeps")["machine"]["revision"] == first["revision"]


def test_profiles_refused(client: Client) -> None:
    taken = {"toml": OWN.replace("ID", "crawler-14t").replace("SOURCE", "x")}
    assert set(client.refused("/v1/machines", taken, 409).values()) == {"name-taken"}
    assert client.refused("/v1/attachments", own("ours-d"), 422) == {"/toml": "wrong-kind"}
    assert client.refused("/v1/machines", {"toml": 3}, 422) == {"/toml": "wrong-type"}
    assert client.refused("/v1/machines", own("ours-d") | {"x": 1}, 422) == {"/x": "unknown-field"}
    assert client.refused("/v1/machines", {"toml": "x" * 200_001}, 422) == {"/toml": "wrong-length"}
    for path, code in (
        ("machines/ours-d", "unknown-machine"), ("machines/ours-d/revisions", "unknown-machine"),
        ("attachments/no", "unknown-attachment"), ("machines/crawler-14t/revisions/0", "unknown-revision"),
    ):  # fmt: skip
        assert set(faults(client.get(f"/v1/{path}", 404), 404).values()) == {code}
    other = shipped()["machine", "crawler-21t"].content_hash
    assert client.get(f"/v1/machines/crawler-14t/revisions/{other}", 404)["title"] == "No such revision"


def test_every_fault_of_a_file_with_its_line(client: Client, tmp_path: Path) -> None:
    problem = client.post("/v1/machines", {"toml": FAULTY}, 422)
    assert len(problem["errors"]) >= 4
    lines = {fault["numbers"].get("line") for fault in problem["errors"]}
    wanted = {n for n, line in enumerate(FAULTY.splitlines(), 1) if any(
        word in line for word in ("Not An Id", "wheels", "furlong", "long\""))}  # fmt: skip
    assert wanted <= lines
    file = tmp_path / "faulty.toml"
    file.write_text(FAULTY, encoding="utf-8")
    verdict = client.post("/v1/profile-checks", {"toml": FAULTY}, 200)
    assert verdict == verdict_of(str(file), None)
    assert not verdict["ok"]
    assert len(verdict["faults"]) == len(problem["errors"])


@pytest.mark.parametrize(
    "text", ["", "= 3", "schema = 1\nschema = 1", "a = [", "\ufeffschema = 1", 'x = "\x01"']
)
def test_text_that_is_no_toml(client: Client, tmp_path: Path, text: str) -> None:
    file = tmp_path / "broken.toml"
    file.write_text(text, encoding="utf-8", newline="")
    verdict = client.post("/v1/profile-checks", {"toml": text}, 200)
    assert not verdict["ok"]
    assert verdict == verdict_of(str(file), None)
    assert client.post("/v1/attachments", {"toml": text}, 422)["title"] == "The profile has faults"


@pytest.mark.parametrize(("name", "fits"), [
    ("crawler-14t", None), ("crawler-14t", "tilting-1800"), ("crawler-14t", "published-mini-bucket"),
    ("trenching-600", "crawler-21t"), ("trenching-600", "published-mini"), ("published-mini-bucket", "published-mini"),
])  # fmt: skip
def test_the_same_verdict_as_at_the_prompt(
    client: Client, tmp_path: Path, name: str, fits: str | None
) -> None:
    [text] = [profile.source_text for (_, known), profile in shipped().items() if known == name]
    file = tmp_path / "profile.toml"
    file.write_text(text, encoding="utf-8")
    body = {"toml": text} if fits is None else {"toml": text, "fits": fits}
    verdict = client.post("/v1/profile-checks", body, 200)
    assert verdict == verdict_of(str(file), fits)
    assert verdict["ok"] is not (fits is not None and ("mini" in name) != ("mini" in fits))


def test_a_check_records_nothing(client: Client) -> None:
    assert client.post("/v1/profile-checks", own("ours-e"), 200)["ok"]
    client.get("/v1/machines/ours-e", 404)
    found = client.refused("/v1/profile-checks", own("ours-e") | {"fits": "no-such"}, 422)
    assert found == {"/fits": "unknown-attachment"}


def test_schemas(client: Client) -> None:
    assert client.get("/v1/profile-schemas/machine") == json.loads(json.dumps(json_schema("machine")))
    assert client.get("/v1/profile-schemas/attachment") == json.loads(json.dumps(json_schema("attachment")))
    client.get("/v1/profile-schemas/barge", 422)


@pytest.mark.parametrize("path", ["poses", "corrections", "placements", "passes", "sensitivities"])
def test_both_that_are_unknown_are_told_at_once(client: Client, path: str) -> None:
    described = client.get("/openapi.json")
    schema = described["paths"][f"/v1/{path}"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    body = described["components"]["schemas"][schema["$ref"].rpartition("/")[2]]["examples"][0]
    found = client.refused(f"/v1/{path}", body | {"machine": "none", "attachment": "nor-this"}, 422)
    assert found == {"/machine": "unknown-machine", "/attachment": "unknown-attachment"}


def test_a_revision_follows_the_one_that_was_read(client: Client) -> None:
    """Measured again beside somebody else: the second of two is refused, and nothing of the first is lost."""
    first = client.post("/v1/machines", own("again", "by tape"))
    tag = client.http.get("/v1/machines/again").headers["etag"]
    assert tag == f'"{first["revision"]}"'
    second = client.post("/v1/machines", own("again", "by laser"), if_match=tag)
    assert client.post("/v1/machines", own("again", "by laser"), if_match=tag) == second, "sent again"
    assert client.refused("/v1/machines", own("again", "by eye"), 412, if_match=tag) == {
        "": "revision-mismatch"
    }
    assert client.get("/v1/machines/again")["revision"] == second["revision"]
    assert client.refused("/v1/machines", own("none-yet"), 412, if_match=tag) == {"": "revision-mismatch"}
    assert [*client.refused("/v1/machines", own("again"), 400, if_match='"12"').values()] == ["bad-header"]
    assert len(client.get("/v1/machines/again/revisions")) == 2
