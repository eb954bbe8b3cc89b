"""The text of exported models: the same each time, whatever a profile is called; what it says of itself."""

import dataclasses
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.assembly import Assembly
from kinematics.errors import Refused
from machine_profiles.exchange import Attitude, Provenance, mjcf, urdf

from .models import MADE, pairs

Writer = Callable[[Assembly, Attitude, Provenance], str]
BOTH = pytest.mark.parametrize("write", [urdf, mjcf])
PAIR = "crawler-14t with tilt-rotator-1600"


def tree_of(text: str) -> ET.Element:
    return ET.fromstring(text)  # noqa: S314  # our own text


def comment(text: str) -> str:
    """The one comment of a file that reads."""
    tree_of(text)
    found: list[str] = re.findall("<!--(.*?)-->", text, flags=re.DOTALL)
    assert len(found) == 1
    return found[0]


@BOTH
def test_the_same_each_time(write: Writer) -> None:
    for assembly, made in pairs().values():
        assert write(assembly, Attitude(0.01, 0.02), made) == write(assembly, Attitude(0.01, 0.02), made)


@BOTH
@given(name=st.text(min_size=1, max_size=80))
def test_any_name_leaves_a_file_that_reads(write: Writer, name: str) -> None:
    assembly, made = pairs()[PAIR]
    renamed = dataclasses.replace(made, machine_name=name, attachment_name=f"{name}--><!--")
    words = comment(write(assembly, Attitude(0.0, 0.0), renamed))
    assert "--" not in words
    assert made.machine_revision in words


@BOTH
def test_it_says_where_it_is_from_and_what_it_lacks(write: Writer) -> None:
    assembly, made = pairs()[PAIR]
    words = comment(write(assembly, Attitude(0.0, 0.0), made))
    for part in (
        made.machine_revision, made.attachment_revision, "tipdatum 0.1.0", "Crawler, 14 t class", "asses",
        "loop", "sensors, uncertainties, the play of a coupler",
    ):  # fmt: skip
        assert part in " ".join(words.split()), part


@BOTH
def test_names_are_given_once(write: Writer) -> None:
    for assembly, made in pairs().values():
        root = tree_of(write(assembly, Attitude(0.0, 0.0), made))
        for kind in ("link", "joint", "body", "site"):
            names = [each.attrib["name"] for each in root.iter(kind) if "name" in each.attrib]
            assert len(names) == len(set(names)), kind


def test_no_joint_of_a_urdf_has_the_name_of_a_link() -> None:
    """Readers that keep both in one list would take one for the other."""
    for assembly, made in pairs().values():
        root = tree_of(urdf(assembly, Attitude(0.0, 0.0), made))
        joints = {each.attrib["name"] for each in root.iter("joint")}
        assert not joints & {each.attrib["name"] for each in root.iter("link")}


@BOTH
def test_a_machine_without_parts_has_none_of_them(write: Writer) -> None:
    assembly, _ = pairs()["crawler-14t with digging-1500"]
    bare = dataclasses.replace(
        assembly,
        machine=dataclasses.replace(assembly.machine, receiver=None),
        attachment=dataclasses.replace(assembly.attachment, teeth=None),
    )
    text = write(bare, Attitude(0.0, 0.0), MADE)
    for word in ("receiver", "tilt", "rotate", "fore_boom", "swing_boom", "tooth_left", "edge_0"):
        assert f'name="{word}' not in text


@pytest.mark.parametrize(("pitch", "roll", "codes"), [
    (math.nan, 0.0, ["not-finite"]), (0.0, math.inf, ["not-finite"]), (0.8, -0.9, ["too-steep", "too-steep"]),
])  # fmt: skip
def test_a_lean_that_is_none_is_refused(pitch: float, roll: float, codes: list[str]) -> None:
    with pytest.raises(Refused) as refused:
        Attitude(pitch, roll)
    assert [fault.code for fault in refused.value.faults] == codes
