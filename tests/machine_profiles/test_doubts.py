"""What is allowed but hardly true is told, in numbers, and refuses nothing. Limits: common practice, no source."""

import re
from pathlib import Path

import pytest

from machine_profiles import check_pair, check_profile, parse_profile, shipped
from machine_profiles.doubts import doubts

from .texts import TWO_PIECE, completed, edited, text_of

ROOT = Path(__file__).parents[2]
MACHINE = """schema = 1
kind = "machine"
id = "own"
name = "Own"
source = "Invented for the tests."
[units]
length = "m"
angle = "deg"
[boom]
foot = { forward = 0.25, left = -0.06 }
length = 4.6
range = { low = -41, high = 54 }
[stick]
length = 2.5
range = { low = -147, high = -30 }
[bucket]
range = { low = -29, high = 134 }
"""
BUCKET = """schema = 1
kind = "attachment"
id = "own-bucket"
name = "Own bucket"
source = "Invented for the tests."
[units]
length = "m"
angle = "deg"
[pins]
spacing = 0.42
[bucket]
width = 1.5
edge = { x = -0.234, z = -1.329 }
heel = { x = 0.408, z = -0.751 }
"""


def documented() -> list[str]:
    """Every whole profile of the README and of the guide on measuring, and the guide's parts after their own."""
    texts = []
    for file in (ROOT / "README.md", ROOT / "service" / "guide" / "measuring.md"):
        blocks = re.findall(r"```toml[^\n]*\n(.*?)```", file.read_text(encoding="utf-8"), re.DOTALL)
        texts += completed(blocks)
    return texts


def test_nothing_shipped_or_documented_is_doubtful() -> None:
    texts = (
        [profile.source_text for profile in shipped().values()] + documented() + [TWO_PIECE, MACHINE, BUCKET]
    )
    assert len(texts) >= 17 + 6 + 3
    for text in texts:
        verdict = check_profile(text)
        assert verdict.ok
        assert verdict.doubts == (), text


def test_no_shipped_pair_that_fits_is_doubtful() -> None:
    profiles = shipped().values()
    for machine in (each for each in profiles if each.kind == "machine"):
        for tool in (each for each in profiles if each.kind == "attachment"):
            verdict = check_pair(machine, tool)
            if (machine.id, tool.id) == (
                "published-mini",
                "compact-bucket-400",
            ):  # closes, and is not meant to be
                assert verdict.doubts == (
                    "the transmission angle runs from 14 to 179 deg over the stroke; usual are 15 to 165: "
                    "is this the attachment for this machine, and are the linkage's pins right?",
                )
            elif tool.sensors and not machine.sensors:
                assert not verdict.ok or verdict.doubts[0].startswith("no sensor gives pitch, roll, ")
            else:
                assert not (verdict.ok and verdict.doubts), verdict.doubts


@pytest.mark.parametrize(
    ("text", "old", "new", "said"),
    [
        (MACHINE, "length = 4.6", "length = 0.79", ["boom.length is 0.790 m"]),
        (MACHINE, "length = 4.6", "length = 25.1", ["boom.length is 25.100 m"]),
        (MACHINE, "length = 2.5", "length = 0.39", ["stick.length is 0.390 m"]),
        (MACHINE, "length = 2.5", "length = 20.1", ["stick.length is 20.100 m"]),
        (MACHINE, "forward = 0.25, left = -0.06", "forward = 3, left = -4", ["5.000 m from the swing axis"]),
        (MACHINE, "length = 4.6", "foot_above_ground = 0.19\nlength = 4.6", ["foot_above_ground is 0.190 m"]),
        (MACHINE, "length = 4.6", "foot_above_ground = 5.1\nlength = 4.6", ["foot_above_ground is 5.100 m"]),
        (BUCKET, "spacing = 0.42", "spacing = 0.079", ["pins.spacing is 0.079 m"]),
        (BUCKET, "spacing = 0.42", "spacing = 1.21", ["pins.spacing is 1.210 m"]),
        (BUCKET, "z = -1.329", "z = 1.329", ["bucket.edge lies 1.329 m above the pin line"]),
        (BUCKET, "z = -0.751", "z = 0.751", ["bucket.heel lies 0.751 m above the pin line"]),
        (BUCKET, "x = -0.234, z = -1.329", "x = -0.03, z = -0.04", ["edge is 0.050 m"]),
        (BUCKET, "x = -0.234, z = -1.329", "x = -3, z = -4", ["edge is 5.000 m"]),
        (BUCKET, "width = 1.5", "width = 4.1", ["4.100 m wide"]),
        (BUCKET, "width = 1.5", "width = 0.149", ["the edge is 0.149 m wide"]),
        (
            TWO_PIECE,
            "forward = 100, left = 20",
            "forward = 4000, left = 0",
            ["from the swing post", "3.500 m"],
        ),
    ],
)
def test_each_doubt(text: str, old: str, new: str, said: list[str]) -> None:
    verdict = check_profile(edited(text, (old, new)))
    assert verdict.ok
    (doubt,) = verdict.doubts
    for part in said:
        assert part in doubt
    assert verdict.as_json()["doubts"] == [doubt]


@pytest.mark.parametrize(
    ("text", "old", "new"),
    [
        (MACHINE, "length = 4.6", "length = 0.8"),
        (MACHINE, "length = 4.6", "length = 25"),
        (MACHINE, "length = 2.5", "length = 0.4"),
        (MACHINE, "length = 4.6", "foot_above_ground = 0.2\nlength = 4.6"),
        (MACHINE, "length = 4.6", "foot_above_ground = 5\nlength = 4.6"),
        (BUCKET, "spacing = 0.42", "spacing = 0.08"),
        (BUCKET, "spacing = 0.42", "spacing = 1.2"),
        (BUCKET, "width = 1.5", "width = 4.0"),
        (BUCKET, "width = 1.5", "width = 0.15"),
        (BUCKET, "z = -0.751", "z = 0"),
    ],
)
def test_the_limits_themselves_are_usual(text: str, old: str, new: str) -> None:
    assert doubts(parse_profile(edited(text, (old, new))).geometry) == ()


def test_feet_in_a_file_in_inches() -> None:
    """16.5 ft written into a file in inches: 16.5 * 0.0254 = 0.4191 m."""
    text = edited(
        MACHINE, ('length = "m"', 'length = "in"'), ("length = 4.6", "length = 16.5"),
        ("forward = 0.25, left = -0.06", "forward = 10, left = -2"), ("length = 2.5", "length = 98"),
    )  # fmt: skip
    (doubt,) = check_profile(text).doubts
    assert "boom.length is 0.419 m" in doubt
    assert "units.length" in doubt


def test_a_pair_has_the_doubts_of_both_and_its_own() -> None:
    machine = parse_profile(edited(MACHINE, ("length = 2.5", "length = 1.3")))
    bucket = parse_profile(edited(BUCKET, ("width = 1.5", "width = 4.5")))
    verdict = check_pair(machine, bucket)
    assert verdict.ok
    wide, far = verdict.doubts
    assert wide.startswith("own-bucket: the bucket is 4.500 m wide")
    # hypot(0.234, 1.329) = 1.3494
    assert "1.349 m from the bucket pin" in far
    assert "(1.300 m)" in far


def test_a_coupler_moves_the_edge_away_from_the_bucket_pin() -> None:
    """Edge at (-0.234, -1.329) below a coupler at (0, -0.5), not turned: hypot(0.234, 1.829) = 1.8439 m."""
    machine = parse_profile(edited(MACHINE, ("length = 2.5", "length = 1.8")))
    bucket = parse_profile(edited(BUCKET, ("[bucket]", "[coupler]\nx = 0\nz = -0.5\nangle = 0\n[bucket]")))
    (far,) = check_pair(machine, bucket).doubts
    assert "1.844 m" in far


def test_a_refused_pair_keeps_its_doubts() -> None:
    bucket = parse_profile(edited(text_of("attachment", "digging-1500"), ("spacing = 420", "spacing = 4200")))
    verdict = check_pair(shipped()["machine", "crawler-14t"], bucket)
    assert not verdict.ok
    assert any("pins.spacing is 4.200 m" in doubt for doubt in verdict.doubts)
    assert check_pair(bucket, bucket).doubts == ()


def test_the_pair_has_the_link_lengths_of_its_machine() -> None:
    machine = parse_profile(MACHINE)
    alone, pair = check_profile(MACHINE).facts, check_pair(machine, parse_profile(BUCKET)).facts
    assert pair["link_lengths_m"] == alone["link_lengths_m"] == {"boom": 4.6, "stick": 2.5}
