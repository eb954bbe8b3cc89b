"""GET /v1/tones: every row is what `kinematics.tone` says of heights in it, its ends are the band's."""

import math

import pytest

from kinematics.tone import ToneWidths, tone

from .doing import Client, Json

PATH = "/v1/tones"
A_SEMITONE = 1 / 12
"""Of an octave: less than that is not missed between two neighbours."""


def told(client: Client, **asked: str) -> Json:
    answer = client.http.get(PATH, params=asked)
    assert answer.status_code == 200, answer.text
    found: Json = answer.json()
    return found


def codes(problem: Json) -> list[str]:
    assert problem["status"] == 422
    return [each["code"] for each in problem["errors"]]


def test_each_row_is_near_what_its_heights_sound_like(client: Client) -> None:
    rows = told(client, tolerance="0.03", heard="0.3", units="m")["rows"]
    heights = [row["above_target"]["m"] for row in rows]
    assert heights == sorted(heights)
    assert all(map(math.isfinite, heights))
    widths = ToneWidths(0.03, 0.3)
    for row, low, high in zip(rows, heights, heights[1:], strict=False):
        for height in (low + 1e-6, 0.5 * (low + high), high - 1e-6):
            expected = tone(height, widths)
            assert expected is not None
            assert abs(math.log2(row["pitch_hz"] / expected.pitch_hz)) < A_SEMITONE, height
            assert row["in_pairs"] == expected.in_pairs
            assert (row["pulses_per_s"] == 0) == (expected.pulses_per_s == 0), height
    assert (rows[-1]["pitch_hz"], rows[-1]["pulses_per_s"]) == (None, None)
    assert heights[-1] == pytest.approx(0.3, abs=1e-6)
    [on_grade] = [row for row in rows if row["pulses_per_s"] == 0]
    assert on_grade["pitch_hz"] == 600.0


def test_how_far_it_is_heard_unless_asked_otherwise(client: Client) -> None:
    for tolerance, far in (("0.02", 0.3), ("0.05", 0.5)):
        assert told(client, tolerance=tolerance, units="m")["heard"]["m"] == pytest.approx(far)


def test_in_every_unit_the_same(client: Client) -> None:
    metres = told(client, tolerance="0.0254", heard="0.3048", units="m")["rows"][:-1]
    for tolerance, heard, units in (("25.4", "304.8", "mm"), ('1"', "1'", "ftin")):
        rows = told(client, tolerance=tolerance, heard=heard, units=units)["rows"][:-1]
        assert [row["pitch_hz"] for row in rows] == pytest.approx(
            [row["pitch_hz"] for row in metres], rel=1e-9
        )


def test_refusals_all_at_once(client: Client) -> None:
    answer = client.http.get(PATH, params={"tolerance": "wide", "heard": "nan", "units": "m"})
    assert codes(answer.json()) == ["not-a-number"] * 2
    for tolerance, heard, code in (
        ("0.3", "0.03", "heard-too-near"),
        ("0", "0.3", "out-of-range"),
        ("0.03", "999", "length-absurd"),
    ):
        answer = client.http.get(PATH, params={"tolerance": tolerance, "heard": heard, "units": "m"})
        assert codes(answer.json()) == [code]
