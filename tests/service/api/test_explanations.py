"""POST /v1/explanations and a job's: the package's numbers, shares that add up as shown, words, and refusals."""

import json
import math
import re
from collections.abc import Callable
from typing import Any

import pytest

from kinematics.explain import Change, Side, explain
from kinematics.units import RESOLUTION_M, LengthUnit, to_metres
from service.api.explanation_words import change_words, steps_of, whole_steps
from service.book.posing import solve
from service.book.requests import PoseIn
from service.pages import guide_text

from .doing import Client, JobDoer, Json, edge_at, fitted

PATH = "/v1/explanations"
PAIR = {"machine": "crawler-14t", "attachment": "tilting-1800", "units": "m"}
LEAN = {"pitch": 0.4, "roll": -0.2}
FIRST: Json = {
    "angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": 60.0, "tilt": 0.0},
    "attitude_deg": LEAN,
}
Make = Callable[..., JobDoer]


def moved(**to: float) -> Json:
    return {"angles_deg": FIRST["angles_deg"] | to, "attitude_deg": LEAN}


def told(client: Client, *sides: Json, **more: Any) -> Json:
    found: Json = client.post(PATH, PAIR | {"sides": [*sides]} | more, 200)
    return found


def of(explained: Json, quantity: str) -> Json:
    [found] = [each for each in explained["changes"] if each["quantity"] == quantity]
    assert isinstance(found, dict)
    return found


def shares(change: Json) -> dict[str, float]:
    return {each["factor"]: each["share"]["m"] for each in change["shares"]}


def test_the_numbers_of_the_package(client: Client) -> None:
    second = moved(boom=25.0, bucket=30.0)
    poses = [solve(fitted(), PoseIn.model_validate(each)) for each in (FIRST, second)]
    wanted = explain(*(Side(each, "left", 101.5) for each in poses))
    given = [each | {"edge_point": "left", "origin_elevation": 101.5} for each in (FIRST, second)]
    found = told(client, *given)["whole"]
    assert found["changed"] == ["boom", "bucket"]
    assert [each["quantity"] for each in found["changes"]] == ["height", "elevation", "reach", "lateral"]
    for change in found["changes"]:
        mine = wanted.changes[change["quantity"]]
        assert shares(change) == dict(mine.shares)
        assert change["change"]["m"] == mine.total
    slope = {each["factor"]: each["share_percent"] for each in found["cross_slope"]["shares"]}
    assert slope == {name: 100 * share for name, share in wanted.changes["cross_slope"].shares.items()}
    assert found["turn"] is None


@pytest.mark.parametrize("units", [*LengthUnit])
def test_as_shown_they_add_up(client: Client, units: LengthUnit) -> None:
    """Before plus every share is after, in the digits that people read."""
    sides = [
        moved(boom=30 - 1.37 * k, stick=-100 + 0.71 * k, bucket=60 - 2.9 * k, tilt=0.3 * k) for k in range(5)
    ]
    for k, side in enumerate(sides):
        side["origin_elevation"] = {LengthUnit.FTIN: f"333' {k}\""}.get(units, 101.5 + 0.013 * k)
    found = told(client, *sides, units=units.value)
    step = RESOLUTION_M[units]

    def steps(length: Json) -> int:
        text = length["shown"]
        metres = to_metres(text if units is LengthUnit.FTIN else float(text.split()[0]), units)
        count = round(metres / step)
        assert abs(count * step - metres) < 1e-6 * step * max(1, abs(count))
        return count

    for explained in (found["whole"], *found["steps"]):
        for change in explained["changes"]:
            total = sum(steps(each["share"]) for each in change["shares"])
            assert steps(change["before"]) + total == steps(change["after"]), change["words"]
            assert steps(change["change"]) == total


def test_the_way_and_the_whole(client: Client) -> None:
    sides = FIRST, moved(bucket=40.0), moved(bucket=40.0, boom=20.0)
    found = told(client, *sides)
    steps = [of(each, "height") for each in found["steps"]]
    assert [list(shares(each)) for each in steps] == [["bucket"], ["boom"]]
    whole = of(found["whole"], "height")
    assert abs(sum(each["change"]["m"] for each in steps) - whole["change"]["m"]) < 1e-12
    assert list(shares(whole)) == ["boom", "bucket"]


def test_the_bucket_curled_in_words(client: Client) -> None:
    found = told(client, FIRST, moved(bucket=40.0))["whole"]
    words = " ".join(found["words"])
    height, turn = of(found, "height"), found["turn"]
    assert turn["angle_deg"] == pytest.approx(20.0, abs=1e-9)
    assert turn["arc"]["m"] == pytest.approx(math.radians(20.0) * turn["radius"]["m"], abs=1e-12)
    way = "rose" if height["change"]["m"] > 0 else "fell"
    assert words.startswith(f"The height over the body's origin of the edge centre {way} by ")
    assert "Only the bucket changed: it was curled by 20.00 deg." in words
    assert (
        f"about the bucket pin, {turn['radius']['shown']} away, along an arc of {turn['arc']['shown']}"
        in words
    )
    other = re.search(
        r"bucket at (-?\d+\.\d) deg instead of 60\.0 deg would have left the edge centre (.*)\.$", words
    )
    assert other is not None
    assert "Seen from that axis it went from " in words


def test_through_the_lowest_point(client: Client) -> None:
    """A turn that begins before straight below the pin and ends behind it: fell, then rose."""
    heights = {angle: solve(fitted(), PoseIn.model_validate(moved(bucket=angle))).height("centre")
               for angle in range(0, 110, 2)}  # fmt: skip
    lowest = min(heights, key=lambda angle: heights[angle])
    through = told(client, moved(bucket=lowest + 15.0), moved(bucket=lowest - 15.0))["whole"]
    assert any("through the lowest point" in each for each in through["words"])
    beside = told(client, moved(bucket=lowest + 35.0), moved(bucket=lowest + 15.0))["whole"]
    assert not any("lowest point" in each for each in beside["words"])


def test_nothing_changed(client: Client) -> None:
    found = told(client, FIRST, FIRST)["whole"]
    assert found["changed"] == []
    assert found["words"][-1] == "Nothing changed between the two."
    assert of(found, "height")["shares"] == []


def test_largest_remainders() -> None:
    change = Change(0.0, 0.0030, {"boom": 0.0014, "stick": 0.0014, "bucket": 0.0002})
    assert steps_of(change, LengthUnit.M) == (0, 3, {"boom": 2, "stick": 1, "bucket": 0})
    assert change_words("height", ("centre", "centre"), change, LengthUnit.M) == (
        "The height over the body's origin of the edge centre rose by 0.003 m, from 0.000 m to 0.003 m: "
        "boom +0.002 m, stick +0.001 m."
    )
    across = change_words("reach", ("centre", "left"), Change(4.0, 3.9, {"edge_point": -0.1}), LengthUnit.FT)
    assert across == (
        "The reach shrank by 0.32 ft, from 13.12 ft (edge centre) to 12.80 ft (left corner): "
        "choice of edge point -0.32 ft."
    )
    down = Change(1.0, 0.9996, {"boom": -0.0002, "stick": -0.0002})
    assert whole_steps(down, 0.001) == (1000, 1000, {"boom": 0, "stick": 0})


def test_a_strike_between(client: Client, job: Make) -> None:
    """The same pose read before a second touch and after it: the whole change is the reference's."""
    at = job("m")
    at.equipped()
    at.touch(-1.6)
    before = client.get(at.path)["seq"]
    at.touch(-1.58)
    at.target("footing", 0.4)
    pose = edge_at(-1.9)
    body = {"units": "m", "sides": [{"pose": pose, "seq": before}, {"pose": pose}]}
    found = client.post(f"{at.path}/explanations", body, 200)["whole"]
    assert found["changed"] == ["reference"]
    elevation = of(found, "elevation")
    assert shares(elevation) == {"reference": pytest.approx(-0.02, abs=1e-9)}
    assert any(each.startswith("The reference changed") for each in found["words"])
    aimed = [{"pose": each, "target": "footing"} for each in (edge_at(-1.9), edge_at(-1.8))]
    cut = of(
        client.post(f"{at.path}/explanations", {"units": "m", "sides": aimed}, 200)["whole"], "above_target"
    )
    assert cut["change"]["m"] == pytest.approx(0.1, abs=1e-9)
    one = {"pose": edge_at(-1.9), "target": "footing", "units": "m"}
    there = client.post(f"{at.path}/readouts", one, 200)["points"]["centre"]["cut_fill"]["above_target"]
    assert cut["before"]["m"] == pytest.approx(there["m"], abs=1e-12)


def test_refused(client: Client, job: Make) -> None:
    bad = [moved(boom=170.0), FIRST | {"target_elevation": 99.0}, FIRST | {"origin_elevation": 1e9}]
    assert client.refused(PATH, PAIR | {"sides": bad}, 422) == {
        "/sides/0/angles_deg/boom": "beyond-joint", "/sides/1/target_elevation": "one-sided",
        "/sides/2/origin_elevation": "length-absurd",
    }  # fmt: skip
    mixed = [FIRST, FIRST | {"origin_elevation": 100.0}]
    assert client.refused(PATH, PAIR | {"sides": mixed}, 422) == {"/sides/0/origin_elevation": "one-sided"}
    assert client.refused(PATH, PAIR | {"sides": [FIRST]}, 422) == {"/sides": "wrong-length"}
    teeth = [FIRST, FIRST | {"edge_point": "tooth_left"}]
    assert client.refused(PATH, PAIR | {"sides": [*teeth, FIRST]}, 422) == {
        "/sides/1/edge_point": "no-such-point"
    }
    at = job("m")
    at.equipped()
    at.touch(-1.6)
    ahead = {
        "units": "m",
        "sides": [{"pose": edge_at(-1.9), "seq": 99}, {"pose": edge_at(-1.9), "target": "no"}],
    }
    assert client.refused(f"{at.path}/explanations", ahead, 422) == {
        "/sides/0/seq": "no-such-entry", "/sides/1/target": "unknown-target",
    }  # fmt: skip
    assert client.refused(f"{at.path}/explanations", ahead | {"units": "ft"}, 422) == {
        "/units": "wrong-units"
    }


def test_the_guides_example(client: Client) -> None:
    """The guide's command runs as it is written, and its answer is of the shape that the text tells."""
    text = guide_text("explaining")
    assert text is not None
    [body] = re.findall(r"-d '(\{.*?\})'", text, re.S)
    found = client.post(PATH, json.loads(body), 200)
    assert set(found) >= {"whole", "steps", "units", "advisory"}
    assert found["whole"]["changed"] == ["bucket"]
    elevation = of(found["whole"], "elevation")
    assert set(elevation) >= {"before", "after", "change", "shares"}
    assert any("the same turn begun with the bucket at" in each for each in found["whole"]["words"])
