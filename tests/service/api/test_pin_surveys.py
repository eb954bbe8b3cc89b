"""POST /v1/pin-surveys: a profile that is taken when it is posted, and faults at the fields they come from."""

import pytest

from kinematics.arm import pose
from machine_profiles.exchange import Attitude
from tests.machine_profiles.exchange.models import pairs
from tests.machine_profiles.exchange.surveying import seen, table, told_of

from .doing import Client, Json

PATH = "/v1/pin-surveys"
ASSEMBLY = pairs()["crawler-14t with digging-1500"][0]
ATTITUDE = Attitude(0.0, 0.0)
CSV = table(
    seen(pose(ASSEMBLY, pitch=0.0, roll=0.0, boom=0.5, stick=-1.6, bucket=1.0)), "mm",
    attitude=ATTITUDE, heading=2.0, shift=(1.0, 2.0, 3.0),
)  # fmt: skip
WORDS = {1: "raises", -1: "lowers", None: None}
ASKED: Json = {
    "kind": "machine", "id": "our-digger", "name": "Our digger", "source": "Total station.", "csv": CSV,
    "attitude_deg": {"pitch": 0.0, "roll": 0.0},
    "strokes_mm": {
        joint: {"shortest": stroke.shortest * 1e3, "longest": stroke.longest * 1e3, "extending": WORDS[stroke.extending]}
        for joint, stroke in told_of(ASSEMBLY, attitude=ATTITUDE).strokes.items()
    },
}  # fmt: skip


def test_a_machine_and_its_bucket_are_taken(client: Client) -> None:
    machine = client.http.post(PATH, json=ASKED)
    assert machine.status_code == 200, machine.text
    bare = {key: value for key, value in ASKED.items() if key != "strokes_mm"}
    bucket = client.http.post(
        PATH, json=bare | {"kind": "attachment", "id": "our-bucket", "name": "Our bucket"}
    )
    assert bucket.status_code == 200, bucket.text
    assert machine.json()["facts"]["joint_ranges_deg"]["boom"][0] == pytest.approx(-41.2, abs=0.1)
    checked = client.http.post("/v1/profile-checks", json={"toml": machine.json()["toml"]}).json()
    assert checked["facts"] == machine.json()["facts"]
    for plural, answer in (("machines", machine), ("attachments", bucket)):
        assert client.http.post(f"/v1/{plural}", json={"toml": answer.json()["toml"]}).status_code == 201


@pytest.mark.parametrize(("more", "told"), [
    ({"csv": "pin,x,z\n"}, [("wrong-heading", "/csv")]),
    ({"csv": CSV + "pinn,1,2,3\n"}, [("unknown-pin", "/csv")]),
    ({"strokes_mm": ASKED["strokes_mm"] | {"boom": {"shortest": 1417, "longest": 2430, "extending": "lowers"}}},
     [("mirrored", "/strokes_mm/boom")]),
    ({"strokes_mm": {k: v for k, v in ASKED["strokes_mm"].items() if k != "stick"}},
     [("missing-joint", "/strokes_mm/stick")]),
    ({"ranges_deg": {"idler": {"low": 20, "high": 40}}}, [("no-such-joint", "/ranges_deg/idler")]),
    ({"boom_foot_left_mm": -60}, [("not-both", "/boom_foot_left_mm")]),
    ({"attitude_deg": {"pitch": 0, "roll": 50}}, [("too-steep", "/attitude_deg/roll")]),
    ({"id": "-"}, [("wrong-form", "/id")]),
    ({"strokes_mm": ASKED["strokes_mm"] | {"bucket": {"shortest": 1410, "longest": 9000}}}, [("no-closure", "/csv")]),
])  # fmt: skip
def test_refusals(client: Client, more: Json, told: list[tuple[str, str]]) -> None:
    answer = client.http.post(PATH, json=ASKED | more)
    assert answer.status_code == 422, answer.text
    assert [(each["code"], each["pointer"]) for each in answer.json()["errors"]] == told
