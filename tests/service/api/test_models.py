"""POST /v1/models: the file is the package's, of the profiles on record; what cannot be, refused."""

import math

import pytest

from kinematics.assembly import assemble
from kinematics.machine import Attachment, Machine
from machine_profiles import shipped
from machine_profiles.exchange import WRITERS, Attitude, provenance_of

from .doing import Client, Json

PATH = "/v1/models"
ASKED: Json = {
    "machine": "crawler-14t",
    "attachment": "tilting-1800",
    "format": "urdf",
    "attitude_deg": {"pitch": 0.4, "roll": -0.2},
}


@pytest.mark.parametrize("form", ["urdf", "mjcf"])
def test_the_file_is_the_packages(client: Client, form: str) -> None:
    answer = client.http.post(PATH, json=ASKED | {"format": form})
    assert answer.status_code == 200
    assert answer.headers["content-type"].partition(";")[0] == "application/xml"
    ending = "urdf" if form == "urdf" else "xml"
    name = f'filename="crawler-14t-with-tilting-1800.{ending}"'
    assert answer.headers["content-disposition"] == f"attachment; {name}"
    carrier, tool = shipped()["machine", "crawler-14t"], shipped()["attachment", "tilting-1800"]
    assert isinstance(carrier.geometry, Machine)
    assert isinstance(tool.geometry, Attachment)
    release = client.get("/v1/version")["version"]
    attitude = Attitude(math.radians(0.4), math.radians(-0.2))
    expected = WRITERS[form](
        assemble(carrier.geometry, tool.geometry), attitude, provenance_of(carrier, tool, release)
    )
    assert answer.text == expected


@pytest.mark.parametrize(("more", "codes"), [
    ({"attitude_deg": {"pitch": 60.0, "roll": -80.0}},
     [("too-steep", "/attitude_deg/pitch"), ("too-steep", "/attitude_deg/roll")]),
    ({"machine": "nobodys"}, [("unknown-machine", "/machine")]),
    ({"machine": "published-mini"}, [("no-closure", "")]),
    ({"format": "sdf"}, [("not-a-choice", "/format")]),
])  # fmt: skip
def test_refusals(client: Client, more: Json, codes: list[tuple[str, str]]) -> None:
    answer = client.http.post(PATH, json=ASKED | more)
    assert answer.status_code in {404, 422}
    told = [(each["code"], each["pointer"]) for each in answer.json()["errors"]]
    assert [code for code, _ in told] == [code for code, _ in codes], told
    assert all(pointer in {each for _, each in codes} or not codes[0][1] for _, pointer in told), told


def test_a_lean_that_was_not_given_is_asked_for(client: Client) -> None:
    answer = client.http.post(
        PATH, json={key: value for key, value in ASKED.items() if key != "attitude_deg"}
    )
    assert [(each["code"], each["pointer"]) for each in answer.json()["errors"]] == [
        ("missing-field", "/attitude_deg")
    ]
