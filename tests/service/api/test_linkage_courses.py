"""POST /v1/linkage-courses: columns that poses confirm, margins, travels, refusals."""

import pytest

from .doing import Client, Json

PATH = "/v1/linkage-courses"
BODY: Json = {"machine": "crawler-14t", "attachment": "digging-1500", "count": 9}


def test_every_place_is_one_that_a_pose_has(client: Client) -> None:
    bar = client.post(PATH, BODY, 200)["bucket_linkage"]
    for cylinder, bucket in zip(bar["cylinder_mm"], bar["bucket_deg"], strict=True):
        body = {"machine": BODY["machine"], "attachment": BODY["attachment"], "units": "m",
                "attitude_deg": {"pitch": 0.0, "roll": 0.0}, "angles_deg": {"boom": 10.0, "stick": -80.0},
                "cylinders_mm": {"bucket": cylinder}}  # fmt: skip
        assert client.post("/v1/poses", body, 200)["joints_deg"]["bucket"] == pytest.approx(bucket, abs=1e-9)
    assert bar["bucket_range_deg"] == pytest.approx(bar["bucket_high_deg"] - bar["bucket_low_deg"])
    least = min(min(angle, 180.0 - angle) for angle in bar["transmission_deg"])
    assert 0.0 < bar["dead_centre"]["angle_deg"] <= least + 1e-9
    assert bar["dead_centre"]["length_mm"] > 0.0
    assert {len(column) for column in bar.values() if isinstance(column, list)} == {9}


def test_travels(client: Client) -> None:
    answer = client.post(PATH, BODY, 200)
    assert [each["joint"] for each in answer["travels"]] == ["boom", "stick", "bucket"]
    boom = answer["travels"][0]
    assert (boom["shortest_mm"], boom["longest_mm"]) == (pytest.approx(1417.0), pytest.approx(2430.0))
    assert boom["stroke_mm"] == pytest.approx(1013.0)
    assert boom["travel_deg"] == pytest.approx(boom["high_deg"] - boom["low_deg"])
    assert boom["lever_greatest_mm"] >= max(boom["lever_shortest_mm"], boom["lever_longest_mm"])
    tilted = client.post(PATH, BODY | {"attachment": "tilting-1800"}, 200)["travels"][-1]
    assert tilted["joint"] == "tilt"
    assert tilted["stroke_mm"] is None
    assert tilted["lever_greatest_mm"] is None


@pytest.mark.parametrize("count", [1, 362])
def test_counts_out_of_range(client: Client, count: int) -> None:
    assert client.refused(PATH, BODY | {"count": count}, 422) == {"/count": "out-of-range"}


def test_a_machine_measured_by_ranges_has_travels_and_says_why_no_linkage(client: Client) -> None:
    text = """schema = 1
kind = "machine"
id = "ranges-only"
name = "Ranges only"
source = "Invented for a test."
units = { length = "mm", angle = "deg" }
boom = { foot = { forward = 250, left = -60 }, length = 4600, range = { low = -41, high = 54 } }
stick = { length = 2500, range = { low = -147, high = -30 } }
bucket = { range = { low = -29, high = 134 } }
"""
    client.post("/v1/machines", {"toml": text}, 201)
    answer = client.post(PATH, BODY | {"machine": "ranges-only"}, 200)
    assert answer["bucket_linkage"] is None
    assert "range" in answer["no_linkage_because"]
    assert [each["stroke_mm"] for each in answer["travels"]] == [None, None, None]
