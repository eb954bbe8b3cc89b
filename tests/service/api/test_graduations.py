"""GET /v1/graduations: what `kinematics.graduation` says, and refusals in its own words."""

import pytest

from kinematics.graduation import graduation

from .doing import Client

PATH = "/v1/graduations"


@pytest.mark.parametrize("units", ["m", "mm", "ft", "ftUS", "ftin"])
def test_a_staff_about_a_height(client: Client, units: str) -> None:
    told = client.get(f"{PATH}?units={units}&around_m=98.43")
    expected = graduation(98.43, units)
    assert (told["units"], told["block_m"], told["blocks_per_figure"]) == (
        units, expected.block_m, expected.blocks_per_figure,
    )  # fmt: skip
    assert [(each["m"], each["written"]) for each in told["figures"]] == list(expected.figures)
    assert [(each["m"], each["written"]) for each in told["scale_bars"]] == list(expected.bars)


@pytest.mark.parametrize(
    ("query", "code"), [("units=m&around_m=1e9", "length-absurd"), ("units=m&around_m=nan", "not-finite")]
)
def test_a_height_that_is_none_is_refused(client: Client, query: str, code: str) -> None:
    answer = client.http.get(f"{PATH}?{query}")
    assert answer.status_code == 422
    assert [each["code"] for each in answer.json()["errors"]] == [code]


def test_units_are_needed(client: Client) -> None:
    assert client.http.get(f"{PATH}?around_m=1").status_code == 422
