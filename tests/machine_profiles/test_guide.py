"""The guide on measuring: its files parse, its worked figures are right."""

import math
import re
from pathlib import Path

from kinematics.machine import MOST_PLAY_RAD, Attachment, Machine
from machine_profiles import parse_profile

GUIDE = Path(__file__).parents[2] / "service" / "guide" / "measuring.md"


def blocks() -> list[str]:
    return re.findall(r"```toml\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)


def test_every_example_is_a_profile_or_completes_the_one_before() -> None:
    whole = ""
    taken = []
    for block in blocks():
        whole = block if block.startswith("schema") else f"{whole}\n{block}"
        taken.append(parse_profile(whole))
    assert [profile.id for profile in taken] == ["our-digger", "our-bucket", "our-bucket"]
    assert isinstance(taken[0].geometry, Machine)
    assert taken[0].geometry.boom_length == 4.6
    assert isinstance(taken[2].geometry, Attachment)
    assert taken[2].geometry.tilt is not None


def test_the_guide_names_what_may_be_measured_besides() -> None:
    text = GUIDE.read_text(encoding="utf-8")
    assert "`boom.foot_above_ground`" in text
    assert "`coupler.play`" in text
    most_deg = math.degrees(MOST_PLAY_RAD)
    assert f"More than {most_deg:g} degrees is refused" in text


def test_the_worked_edge_and_the_taped_edge_agree_with_the_formula() -> None:
    s, a, b, p, q = 420, 312, -281, -1064, -831
    x, z = (p * a + q * b) / s, (q * a - p * b) / s
    assert f"gives x = {x:.0f}, z = {z:.0f}." in GUIDE.read_text(encoding="utf-8")
    taped = parse_profile(blocks()[1]).geometry
    assert isinstance(taped, Attachment)
    assert math.dist(taped.edge[1], (x / 1e3, 0.0, z / 1e3)) <= 0.0015  # tape read to whole millimetres


def test_a_short_base_costs_what_the_guide_says() -> None:
    block = blocks()[1]
    assert "moves the edge by 3.6 mm" in GUIDE.read_text(encoding="utf-8")
    exact, wrong = (parse_profile(text).geometry for text in (block, block.replace("1481", "1482")))
    assert isinstance(exact, Attachment)
    assert isinstance(wrong, Attachment)
    assert abs(math.dist(exact.edge[1], wrong.edge[1]) * 1e3 - 3.6) <= 0.05


def test_the_table_of_costs() -> None:
    text = GUIDE.read_text(encoding="utf-8")
    for lever_m, said in ((8.0, "14 mm"), (2.0, "3.5 mm"), (1.06, "1.9 mm")):
        cost_mm = lever_m * math.radians(0.1) * 1e3
        assert abs(cost_mm - float(said.split()[0])) <= 0.06
        assert f"| {said} |" in text
    assert abs(5 * math.sin(math.radians(45)) - 3.5) <= 0.04
