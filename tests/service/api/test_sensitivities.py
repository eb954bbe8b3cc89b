"""POST /v1/sensitivities: wiring, units, words, and what has no derivative."""

import math
from typing import Any

import pytest

from kinematics.sensitivity import DIFFERENTIABLE, sensitivity
from service.api.sensitivities import _step_unit
from service.book.posing import solve
from service.book.requests import PoseIn

from .doing import Client, Json, fitted

PATH = "/v1/sensitivities"
BODY: Json = {
    "machine": "crawler-14t", "attachment": "tilting-1800", "attitude_deg": {"pitch": 2.0, "roll": -3.0},
    "angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": 60.0, "tilt": 4.0}, "outputs": ["left_height"],
}  # fmt: skip


def told(client: Client, **more: Any) -> list[Json]:
    found: list[Json] = client.post(PATH, BODY | more, 200)["sensitivities"]
    return found


def listed(one: Json) -> dict[str, float]:
    return {**one["per_rad"], **one["per_m"], **one["per_one"]}


def test_the_numbers_of_the_package(client: Client) -> None:
    outputs = [name for name in DIFFERENTIABLE if not name.startswith(("tooth_", "fore_boom_"))]
    pose = solve(
        fitted(), PoseIn.model_validate({name: BODY[name] for name in ("angles_deg", "attitude_deg")})
    )
    sensed = {"bucket": "power_link", "boom": "cylinder"}
    for asked in ({}, sensed):
        for one, output in zip(told(client, outputs=outputs, sensed=asked), outputs, strict=True):
            wanted = sensitivity(pose, output, asked)
            assert one["value"] == wanted.value
            expected = wanted.joints | {name: rate for name, rate in wanted.parameters.items() if rate != 0.0}
            assert listed(one) == expected
            assert all(map(math.isfinite, listed(one).values()))


@pytest.mark.parametrize(
    ("output", "unit", "value"),
    [("left_height", "m", ("heights", "left", "m")), ("cross_slope", "ratio", ("cross_slope_percent",)),
     ("floor_angle", "rad", ("floor_angle_deg",)), ("bucket_cylinder", "m", ("cylinders_mm", "bucket")),
     ("idler_angle", "rad", ("linkage", "idler_deg"))],
)  # fmt: skip
def test_a_step_of_a_joint_does_what_is_said(
    client: Client, output: str, unit: str, value: tuple[str, ...]
) -> None:
    """0.1 deg of bucket by two poses of /v1/poses, half a step to each side: what is left is of third order, 1e-7."""
    [one] = told(client, outputs=[output])
    assert one["unit"] == unit
    scale = {"cross_slope_percent": 1e-2, "cylinders_mm": 1e-3}.get(
        value[0], 1.0 if unit == "m" else math.radians(1.0)
    )
    asked = {name: field for name, field in BODY.items() if name != "outputs"} | {"units": "m"}

    def at(bucket: float) -> float:
        found = client.post("/v1/poses", asked | {"angles_deg": BODY["angles_deg"] | {"bucket": bucket}}, 200)
        for part in value:
            found = found[part]
        return scale * float(found)

    change = at(60.05) - at(59.95)
    assert one["per_rad"]["bucket"] * math.radians(0.1) == pytest.approx(change, rel=1e-5, abs=1e-9)
    for each in one["largest"]:
        if each["by"] == "bucket":
            assert each["change"] == pytest.approx(change, rel=1e-5)


def test_in_words(client: Client) -> None:
    """On level ground the boom's effect on the height is the reach from its foot: lever times 0.1 deg."""
    level = {"attitude_deg": {"pitch": 0.0, "roll": 0.0}}
    [one] = told(client, **level)
    pose = {name: field for name, field in BODY.items() if name != "outputs"} | {"units": "m"} | level
    answer = client.post("/v1/poses", pose, 200)
    lever = answer["points"]["left"]["level_m"][0] - answer["pins_body_m"]["boom_foot_pin"][0]
    assert one["per_rad"]["boom"] == pytest.approx(lever, abs=1e-9)
    [boom] = [each for each in one["largest"] if each["by"] == "boom"]
    millimetres = 1e3 * lever * math.radians(0.1)
    assert boom["words"] == f"0.1 deg of boom moves the height of the left corner by {millimetres:+.3g} mm"
    assert boom["step"] == "0.1 deg"
    [stick] = [each for each in one["largest"] if each["by"] == "stick_length"]
    assert stick["step"] == "1 mm"


@pytest.mark.parametrize("sensed", [{}, {"bucket": "idler", "boom": "cylinder"}])
def test_no_joint_or_sensor_is_left_out(client: Client, sensed: dict[str, str]) -> None:
    """Nothing but the boom moves the boom's cylinder: the others are told all the same."""
    readings = {"pitch", "roll", "stick", "tilt"} | (
        {"idler", "boom_cylinder"} if sensed else {"boom", "bucket"}
    )
    for one in told(client, outputs=["left_height", "boom_cylinder"], sensed=sensed):
        first, rest = one["largest"][: len(readings)], one["largest"][len(readings) :]
        assert {each["by"] for each in first} == readings
        for part in (first, rest):
            sizes = [abs(each["change"]) for each in part]
            assert sizes == sorted(sizes, reverse=True)
        assert all(abs(each["change"]) >= 1e-6 for each in rest)
        assert not readings & {each["by"] for each in rest}
        counting = [rate for name, rate in one["per_m"].items() if name not in readings and abs(rate) >= 1e-3]
        assert len(rest) == min(10, len(counting))
        if one["output"] == "boom_cylinder":
            [tilt] = [each for each in first if each["by"] == "tilt"]
            assert tilt["words"] == "0.1 deg of tilt moves the boom cylinder by less than 0.001 mm"


def test_what_is_sensed_takes_the_place_of_the_joint(client: Client) -> None:
    sensed = {"bucket": "idler", "boom": "cylinder"}
    [by_angle], [by_sensor] = told(client), told(client, sensed=sensed)
    assert {"bucket", "boom"} <= set(by_angle["per_rad"])
    assert {"idler"} <= set(by_sensor["per_rad"])
    assert not {"bucket", "boom"} & set(by_sensor["per_rad"])
    assert "boom_cylinder" in by_sensor["per_m"]
    assert "idler_length" in set(by_sensor["per_m"]) - set(by_angle["per_m"])


def test_every_name_has_its_unit() -> None:
    """A unit of the step by the end of the name: all of the joints and parameters there are."""
    asked = {"angles_deg": BODY["angles_deg"] | {"rotate": 5.0}, "attitude_deg": BODY["attitude_deg"]}
    pose = solve(fitted(attachment="tilt-rotator-1600"), PoseIn.model_validate(asked))
    sensed = {"bucket": "idler", "boom": "cylinder", "stick": "cylinder"}
    found = sensitivity(pose, "left_height", sensed)
    angles = {name for name in (*found.joints, *found.parameters) if _step_unit(name) == "deg"}
    assert angles == {"pitch", "roll", "idler", "tilt", "rotate", "coupler_angle", "mount_angle"}
    numbers = {name for name in found.parameters if _step_unit(name) == ""}
    assert numbers == {f"{axis}_{i}" for axis in ("mast", "tilt_axis", "rotate_axis") for i in "xyz"}
    assert {
        _step_unit(name) for name in ("boom", "fore_boom", "stick", "bucket", "swing_boom", "rotate")
    } == {"deg"}


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"outputs": []}, {"/outputs": "wrong-length"}), ({"outputs": ["left_height_m"]}, {"/outputs/0": "not-a-choice"}),
        ({"outputs": ["left_height", "tooth_left_height"]}, {"/outputs/1": "no-such-point"}),
        ({"outputs": ["square"]}, {"/outputs/0": "not-a-choice"}),
        ({"outputs": ["fore_boom_cylinder", "left_height"]}, {"/outputs/0": "no-cylinder"}),
        ({"sensed": {"boom": "idler"}, "outputs": ["left_height", "left_reach"]}, {"/sensed/boom": "not-sensed-so"}),
        ({"sensed": {"fore_boom": "cylinder"}}, {"/sensed/fore_boom": "not-sensed-so"}),
        ({"sensed": {"tilt": "cylinder"}}, {"/sensed/tilt": "no-cylinder"}),
        ({"sensed": {"boom": "tape"}}, {"/sensed/boom": "not-a-choice"}),
        ({"machine": "no-such"}, {"/machine": "unknown-machine"}), ({"units": "m"}, {"/units": "unknown-field"}),
        ({"angles_deg": BODY["angles_deg"] | {"boom": 89.0}}, {"/angles_deg/boom": "beyond-joint"}),
    ],
)  # fmt: skip
def test_refusals(client: Client, change: Json, expected: dict[str, str]) -> None:
    assert client.refused(PATH, BODY | change, 422) == expected
