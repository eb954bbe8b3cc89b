"""POST /v1/explanations and a job's: the package's numbers, shares that add up as shown, words, and refusals."""

import json
import math
import re
from collections.abc import Callable
from typing import Any

import pytest

from kinematics.explain import Change, Side, explain
from kinematics.units import RESOLUTION_M, LengthUnit, show, to_metres
from service.api.explanation_words import change_words, slope_words, steps_of
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
        r"bucket at (-?\d+\.\d) deg instead of 60\.0 deg would have (\w+) the edge centre by (.*)\.$", words
    )
    assert other is not None
    start = float(other[1])
    ends = [
        solve(fitted(), PoseIn.model_validate(moved(bucket=each))).height("centre")
        for each in (start, start - 20.0)
    ]
    assert other[2] == ("raised" if ends[1] > ends[0] else "lowered")
    assert other[3] == show(abs(ends[1] - ends[0]), LengthUnit.M)
    assert "Seen from there it went from " in words


def test_through_the_lowest_point(client: Client) -> None:
    """A turn that begins before straight below the pin and ends behind it fell, then rose; by less than is shown: not."""
    heights = {angle / 4: solve(fitted(), PoseIn.model_validate(moved(bucket=angle / 4))).height("centre")
               for angle in range(0, 440)}  # fmt: skip
    lowest = min(heights, key=lambda angle: heights[angle])
    through = told(client, moved(bucket=lowest + 15.0), moved(bucket=lowest - 12.0))["whole"]
    [way] = [each for each in through["words"] if each.startswith("On the way")]
    falls, rises = (show(heights[lowest + by] - heights[lowest], LengthUnit.M) for by in (15.0, -12.0))
    assert way == (
        f"On the way its height fell by {falls}, then rose by {rises}: it went through the lowest point of its circle."
    )
    beside = [(lowest + 35.0, lowest + 15.0), (lowest + 15.0, lowest - 0.25)]
    for one, other in beside:
        words = told(client, moved(bucket=one), moved(bucket=other))["whole"]["words"]
        assert not any("lowest point" in each for each in words)


def test_two_changes_are_not_one(client: Client) -> None:
    """A reference that changed with the bucket: no turn, and nobody says that only the bucket changed."""
    found = told(
        client, FIRST | {"origin_elevation": 101.5}, moved(bucket=40.0) | {"origin_elevation": 101.0}
    )["whole"]
    assert found["changed"] == ["bucket", "reference"]
    assert found["turn"] is None
    words = " ".join(found["words"])
    assert "The reference changed" in words
    assert "Several things changed at once" in words
    assert "Only the" not in words
    assert "did not move" not in words


def test_the_lean_alone(client: Client) -> None:
    nose_up = FIRST | {"attitude_deg": {"pitch": 2.4, "roll": -0.2}}
    found = told(client, FIRST, nose_up)["whole"]
    assert found["turn"] is None
    assert found["words"][1:] == [
        "Only the body pitch changed: it pitched nose up by 2.00 deg.",
        "The body's origin is taken to stay where the reference has it.",
    ]


def test_sideways_is_told_sideways(client: Client) -> None:
    tilted = [moved(tilt=angle) for angle in (20.0, -20.0)]
    words = " ".join(told(client, *tilted)["whole"]["words"])
    assert "it was tilted right corner up by 40.00 deg" in words
    assert "to the left" in words
    assert "to the right" in words
    swung = [FIRST | {"swing_deg": angle} for angle in (0.0, 30.0)]
    assert told(client, *swung)["whole"]["words"][1].startswith("The body swung between the two.")


def test_halves_as_everywhere(client: Client) -> None:
    """Where an elevation is right at half a step its words say what `shown` says."""
    height = solve(fitted(), PoseIn.model_validate(FIRST)).height("centre")
    for half in (101.2005, 101.2025, 101.2045, 101.2065):
        sides = (
            FIRST | {"origin_elevation": half - height},
            FIRST | {"origin_elevation": half + 0.0021 - height},
        )
        change = of(told(client, *sides)["whole"], "elevation")
        assert f"from {change['before']['shown']} to {change['after']['shown']}" in change["words"]


def test_an_edge_near_plumb(client: Client) -> None:
    steep = Change(-4.9, -0.2, {"tilt": 52.0, "roll": -47.3})
    assert slope_words(steep).endswith("Near plumb a cross-slope says little, and its shares less.")
    assert not slope_words(Change(0.01, 0.02, {"tilt": 0.01})).endswith("less.")


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
    assert steps_of(down, LengthUnit.M) == (1000, 1000, {"boom": 0, "stick": 0})
    odd = Change(0.0005, 0.0014, {"boom": 0.0009, "stick": 0.0})
    assert steps_of(odd, LengthUnit.M) == (1, 1, {"boom": 0, "stick": 0})
    half = Change(0.0005, 0.0025, {"boom": 0.002})
    assert steps_of(half, LengthUnit.M) == (1, 3, {"boom": 2})


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


def test_the_tracks_moved(client: Client, job: Make) -> None:
    """To the same height by another touch: no share, but nobody says that one origin carries both."""
    at = job("m")
    at.equipped()
    at.touch(-1.6)
    before = client.get(at.path)["seq"]
    again = at.touch(-1.6, stick_deg=-72.0)["seq"]
    at.move()
    at.touch(-1.6)
    pose = edge_at(-1.9)
    sides = {None: pose, before: pose, again: pose}

    def between(first: int | None, second: int | None) -> Json:
        asked = [{"pose": sides[seq], **({} if seq is None else {"seq": seq})} for seq in (first, second)]
        found: Json = client.post(f"{at.path}/explanations", {"units": "m", "sides": asked}, 200)["whole"]
        return found

    touched = between(before, again)
    assert touched["changed"] == []
    assert touched["words"][1].startswith("Another touch or strike carries the second height")
    moved_on = between(before, None)
    assert moved_on["words"][1].startswith("The tracks moved between the two")
    assert moved_on["words"][-1] == "Nothing else changed between the two."


def test_a_sloping_target_is_one_target(client: Client, job: Make) -> None:
    """Only the bucket differs: the plane, built anew for each pose, is the same; above it as readouts have it."""
    at = job("m")
    at.equipped()
    at.touch(-1.6)
    at.target("drain", 0.4, along_percent=-8.0, across_percent=3.0)
    zero = edge_at(-1.9)
    at.station("drain", 0.0, zero)
    for bucket in (30.0, 41.7, 52.3, 60.1):
        pose = moved(bucket=bucket)
        sides = [{"pose": each, "target": "drain"} for each in (FIRST, pose)]
        found = client.post(f"{at.path}/explanations", {"units": "m", "sides": sides}, 200)["whole"]
        assert found["changed"] == ["bucket"]
        change = of(found, "above_target")
        for side, each in (("before", FIRST), ("after", pose)):
            cut = at.read(each, "drain")["points"]["centre"]["cut_fill"]
            assert change[side]["m"] == pytest.approx(cut["above_target"]["m"], abs=1e-9)


def test_two_hundred_sides_of_a_long_log(client: Client, job: Make) -> None:
    """Every state is folded on from the one before, whatever the order asked."""
    at = job("m")
    at.equipped()
    for k in range(12):
        at.touch(-1.6 + 0.01 * (k % 3))
    last = client.get(at.path)["seq"]
    seqs = [5 + k % (last - 4) for k in range(199, -1, -1)]
    sides = [{"pose": edge_at(-1.9), "seq": seq} for seq in seqs]
    found = client.post(f"{at.path}/explanations", {"units": "m", "sides": sides}, 200)
    assert len(found["steps"]) == 199
    total = sum(of(each, "elevation")["change"]["m"] for each in found["steps"])
    assert total == pytest.approx(of(found["whole"], "elevation")["change"]["m"], abs=1e-9)
    states = client.app.state.keeper.states_at(at.id, sorted(set(seqs)))
    assert {seq: state.seq for seq, state in states.items()} == {seq: seq for seq in set(seqs)}


def test_a_height_on_one_side_only(client: Client, job: Make) -> None:
    """Before the touch there was none; without one on either side, heights over the origin, and the tracks are told."""
    at = job("m")
    at.equipped()
    before = client.get(at.path)["seq"]
    at.touch(-1.6)
    sides = [{"pose": edge_at(-1.9), "seq": before}, {"pose": edge_at(-1.9)}]
    problem = client.post(f"{at.path}/explanations", {"units": "m", "sides": sides}, 422)
    [fault] = problem["errors"]
    assert (fault["pointer"], fault["code"]) == ("/sides/0", "one-sided")
    assert fault["found"] == "no height: no touch or strike counts"
    bare = job("m")
    bare.equipped()
    first = client.get(bare.path)["seq"]
    bare.setup()
    sides = [{"pose": edge_at(-1.9), "seq": first}, {"pose": edge_at(-1.9)}]
    found = client.post(f"{bare.path}/explanations", {"units": "m", "sides": sides}, 200)["whole"]
    assert found["words"][1:] == [
        "The tracks moved between the two.",
        "Nothing else changed between the two.",
    ]


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
    toothless = [{"pose": edge_at(-1.9)}, {"pose": edge_at(-1.9), "edge_point": "tooth_left"}]
    assert at.refused("explanations", {"units": "m", "sides": toothless}, 422) == {
        "/sides/1/edge_point": "no-such-point"
    }
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
