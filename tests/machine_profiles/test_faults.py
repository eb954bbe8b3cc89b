"""Every bad input gives its fault, at its path and line; several at once."""

import math

import pytest

from machine_profiles import ProfileFaulty, check_profile, parse_profile

from .texts import TWO_PIECE, edited, faults_of, line_with, text_of

MACHINE = ("machine", "crawler-14t")
DIGGING = ("attachment", "digging-1500")
TILTING = ("attachment", "tilting-1800")
ROTATOR = ("attachment", "tilt-rotator-1600")
COUPLED = ("attachment", "coupled-900")
GROUND = "foot_above_ground = 1700"
STICK = "[stick]\nlength = 2500"
EDGE = "edge = { x = -234, z = -1329 }"

CASES = [
    # profile, old, new, code, path, a part of the line the fault names
    (MACHINE, "schema = 1\n", "", "missing-key", "schema", ""),
    (MACHINE, "schema = 1", "schema = 2", "newer-schema", "schema", "schema"),
    (MACHINE, "schema = 1", 'schema = "1"', "not-a-version", "schema", "schema"),
    (MACHINE, "schema = 1", "schema = true", "not-a-version", "schema", "schema"),
    (MACHINE, "schema = 1", "schema = 0", "not-a-version", "schema", "schema"),
    (MACHINE, 'kind = "machine"', 'kind = "crane"', "not-a-choice", "kind", "kind"),
    (MACHINE, 'kind = "machine"', "kind = []", "not-a-choice", "kind", "kind"),
    (MACHINE, 'kind = "machine"\n', "", "missing-key", "kind", ""),
    (MACHINE, 'id = "crawler-14t"', 'id = "Crawler 14"', "not-a-slug", "id", "id ="),
    (MACHINE, 'id = "crawler-14t"', 'id = "crawler-14t\\n"', "not-a-slug", "id", "id ="),
    (MACHINE, 'id = "crawler-14t"', 'id = "x"', "not-a-slug", "id", "id ="),
    (MACHINE, 'name = "Crawler, 14 t class"', 'name = ""', "wrong-size", "name", "name ="),
    (MACHINE, 'length = "mm"', 'length = "yd"', "wrong-unit", "units.length", "length = "),
    (MACHINE, 'angle = "deg"', 'angle = "gon"', "wrong-unit", "units.angle", "angle = "),
    (MACHINE, "[units]", "[unit]", "missing-key", "units", ""),
    (MACHINE, STICK, "[stick]", "missing-key", "stick.length", "[stick]"),
    (MACHINE, STICK, "[stick]\nlength = nan", "not-finite", "stick.length", "length = nan"),
    (MACHINE, STICK, "[stick]\nlength = -inf", "not-finite", "stick.length", "length = -inf"),
    (MACHINE, STICK, '[stick]\nlength = "2500 mm"', "wrong-type", "stick.length", 'length = "2500'),
    (MACHINE, STICK, "[stick]\nlength = true", "wrong-type", "stick.length", "length = true"),
    (MACHINE, STICK, f"[stick]\nlength = 1{'0' * 400}", "wrong-type", "stick.length", "length = 10000"),
    (MACHINE, STICK, "[stick]\nlength = 2020-01-01", "wrong-type", "stick.length", "length = 2020"),
    (MACHINE, STICK, "[stick]\nlength = 0", "zero-length-link", "stick.length", "length = 0"),
    (MACHINE, STICK, "[stick]\nlength = -2500", "zero-length-link", "stick.length", "length = -2500"),
    (MACHINE, STICK, "[stick]\nlength = 2500000", "too-long", "stick.length", "length = 2500000"),
    (MACHINE, STICK, "[stick]\nlength = 1e300", "too-long", "stick.length", "length = 1e300"),
    (MACHINE, STICK, STICK + "\nlenght = 1", "unknown-key", "stick.lenght", "lenght"),
    (MACHINE, "left = -60", "left = -60, lefft = 1", "unknown-key", "boom.foot.lefft", "foot = {"),
    (MACHINE, "longest = 2430", "longest = 1300", "range-swapped", "boom.cylinder.shortest", "shortest = 1417"),
    (MACHINE, "longest = 2430", "longest = 3400", "no-closure", "boom.cylinder", "[boom.cylinder]"),
    (MACHINE, "longest = 2415", "longest = 3415", "no-closure", "bucket.cylinder", "[bucket.cylinder]"),
    (MACHINE, 'branch = "open"', 'branch = "left"', "not-a-choice", "bucket.linkage.branch", "branch"),
    (MACHINE, "idler = 570", "idler = 0", "zero-length-link", "bucket.linkage.idler", "idler = 0"),
    (MACHINE, "power_link = 500", "power_link = 0", "zero-length-link", "bucket.linkage.power_link", "power_link"),
    (MACHINE, "mast_angle = 180", "mast_angle = 540", "beyond-a-turn", "receiver.mast_angle", "mast_angle"),
    (MACHINE, STICK, STICK + "\nrange = { low = -1, high = 1 }", "exactly-one", "stick", "[stick]"),
    (MACHINE, "power_link = 500", "power_link = 500\nidler_range = { low = 1, high = 2 }", "exactly-one", "bucket",
     "[bucket.linkage]"),
    (MACHINE, "foot = { x = 2350, z = 950 }", 'foot = { to_inner = 900, to_outer = 500, side = "above" }',
     "tape-does-not-meet", "stick.cylinder.foot", "foot = { to_inner"),
    (MACHINE, "foot = { x = 2350, z = 950 }", 'foot = { to_inner = 0, to_outer = 4600, side = "above" }',
     "not-positive", "stick.cylinder.foot.to_inner", "foot = { to_inner"),
    (MACHINE, "foot = { x = 2350, z = 950 }", 'foot = { to_inner = 2500, to_outer = 2500, side = "left" }',
     "not-a-choice", "stick.cylinder.foot.side", "foot = { to_inner"),
    (MACHINE, "foot = { x = 2350, z = 950 }", "foot = 3", "wrong-type", "stick.cylinder.foot", "foot = 3"),
    (MACHINE, "foot = { x = 410, z = -490 }", 'foot = { to_inner = 9, to_outer = 9, side = "above" }',
     "missing-key", "boom.cylinder.foot.x", "foot = { to_inner"),
    (MACHINE, "eye = { x = -550, z = 300 }", 'eye = { to_inner = 600, to_outer = 3050, side = "above", to_foot = 1 }',
     "unknown-key", "stick.cylinder.eye.to_foot", "eye = { to_inner"),
    (MACHINE, "eye = { x = -550, z = 300 }", "eye = { x = -550, z = 300, y = 0 }", "unknown-key",
     "stick.cylinder.eye.y", "eye = { x = -550"),
    (MACHINE, "eye = { x = -550, z = 300 }", 'eye = { to_inner = 99999, to_outer = 9999, side = "above" }', "too-long",
     "stick.cylinder.eye.to_inner", "eye = { to_inner"),
    (MACHINE, "place = { x = 900, y = 180, z = 260 }", "place = { x = 900, y = 180, z = 1e9 }", "too-long",
     "receiver.place.z", "place ="),
    (MACHINE, GROUND, "foot_above_ground = 0", "not-positive", "boom.foot_above_ground", "foot_above_ground"),
    (MACHINE, GROUND, "foot_above_ground = -1700", "not-positive", "boom.foot_above_ground", "foot_above_ground"),
    (MACHINE, GROUND, "foot_above_ground = nan", "not-finite", "boom.foot_above_ground", "foot_above_ground"),
    (MACHINE, GROUND, "foot_above_ground = 1e9", "too-long", "boom.foot_above_ground", "foot_above_ground"),
    (MACHINE, GROUND, 'foot_above_ground = "1.7 m"', "wrong-type", "boom.foot_above_ground", "foot_above_ground"),
    (COUPLED, "play = 0.6", "play = -0.6", "out-of-range", "coupler.play", "play ="),
    (COUPLED, "play = 0.6", "play = 5.1", "out-of-range", "coupler.play", "play ="),
    (COUPLED, "play = 0.6", "play = 540", "beyond-a-turn", "coupler.play", "play ="),
    (COUPLED, "play = 0.6", "play = inf", "not-finite", "coupler.play", "play ="),
    (COUPLED, "play = 0.6", "plai = 0.6", "unknown-key", "coupler.plai", "plai ="),
    (ROTATOR, "angle = -12", "angle = -12\nplay = 0.6", "unknown-key", "mount.play", "play ="),
    (DIGGING, "spacing = 420", "spacing = 0.4", "zero-length-link", "pins.spacing", "spacing"),
    (DIGGING, "width = 1500", "width = -1500", "corners-swapped", "bucket.width", "width = -1500"),
    (DIGGING, "width = 1480", "width = 0", "corners-swapped", "teeth.width", "width = 0"),
    (DIGGING, "heel_width = 1440", "heel_width = -1", "corners-swapped", "bucket.heel_width", "heel_width"),
    (DIGGING, "width = 1500\n", "", "missing-key", "bucket.width", "[bucket]"),
    (DIGGING, "heel = { x = 408, z = -751 }", "heel = { x = -234, z = -1329 }", "zero-length-link", "bucket.heel",
     "heel ="),
    (DIGGING, EDGE, "edge = { points = [[0, -700, -900], [0, 0, -900], [0, 700, -900]], centre = 1 }",
     "not-both", "bucket.width", "width = 1500"),
    (DIGGING, "width = 1500\n" + EDGE, "edge = { points = [[0, -700, -9], [0, 0, -9], [0, 700, -9]], centre = 1 }",
     "corners-swapped", "bucket.edge.points", "edge ="),
    (DIGGING, "width = 1500\n" + EDGE, "edge = { points = [[0, 700, -9], [0, 0, -9], [0, -700, -9]], centre = 2 }",
     "edge-unnamed", "bucket.edge.centre", "edge ="),
    (DIGGING, "width = 1500\n" + EDGE, "edge = { points = [[0, 700], [0, 0, -9], [0, -700, -9]], centre = 1 }",
     "wrong-size", "bucket.edge.points.0", "edge ="),
    (DIGGING, "width = 1500\n" + EDGE, "edge = { points = [[0, 700, -9], [0, nan, -9], [0, -700, -9]], centre = 1 }",
     "not-finite", "bucket.edge.points.1.1", "edge ="),
    (TILTING, "left_corner_up = 164", "left_corner_up = -148", "wrong-sense", "tilt.check", "check ="),
    (TILTING, "left_corner_up = 164", "left_corner_up = 130", "check-off", "tilt.check", "check ="),
    (TILTING, "angle = 10", "angle = 0.1", "check-proves-nothing", "tilt.check", "check ="),
    (TILTING, "direction = { x = 0.788, y = 0, z = 0.616 }", "direction = { x = -0.788, y = 0, z = -0.616 }",
     "wrong-sense", "tilt.check", "check ="),
    (TILTING, "direction = { x = 0.788, y = 0, z = 0.616 }", "direction = { x = 0, y = 0, z = 0 }",
     "not-a-direction", "tilt.direction", "direction ="),
    (TILTING, "check = { angle = 10, left_corner_up = 164 }", "", "missing-key", "tilt.check", "[tilt]"),
    (TILTING, "low = -45, high = 45", "low = 45, high = -45", "range-swapped", "tilt.range", "range ="),
    (TILTING, "low = -45, high = 45", "low = -200, high = 200", "beyond-a-turn", "tilt.range", "range ="),
    (ROTATOR, "left_corner_forward = -272", "left_corner_forward = 272", "check-off", "rotate.check",
     "check = { angle = 30"),
    (ROTATOR, "direction = { x = 0, y = 0, z = 1 }", "direction = { x = 0, y = 0, z = -1 }", "wrong-sense",
     "rotate.check", "check = { angle = 30"),
    (ROTATOR, "heel = { x = 22, z = -679 }", 'heel = { to_inner = 700, to_outer = 700, side = "below" }',
     "tape-needs-pins", "bucket.heel", "heel ="),
]  # fmt: skip


@pytest.mark.parametrize(("profile", "old", "new", "code", "path", "on_line"), CASES)
def test_each_fault_has_its_code_path_and_line(
    profile: tuple[str, str], old: str, new: str, code: str, path: str, on_line: str
) -> None:
    text = edited(text_of(*profile), (old, new))
    faults = faults_of(text)
    place = [(fault.code, fault.path) for fault in faults]
    assert (code, path) in place
    fault = faults[place.index((code, path))]
    assert fault.line is not None
    if on_line:
        assert on_line in text.splitlines()[fault.line - 1]
    assert fault.found
    assert fault.expected
    assert str(fault.line) in str(fault)


def test_one_change_gives_one_fault_where_nothing_hangs_on_it() -> None:
    multiple = ("[units]",)  # a misspelt table is unknown and the right one missing
    for profile, old, new, code, path, _ in CASES:
        if old in multiple:
            continue
        faults = faults_of(edited(text_of(*profile), (old, new)))
        others = [f for f in faults if (f.code, f.path) != (code, path)]
        same_table = path.rpartition(".")[0]
        assert all(f.path.startswith(same_table) for f in others), (path, others)


def test_several_faults_come_at_once_in_the_order_of_the_file() -> None:
    text = edited(
        text_of(*MACHINE),
        ('length = "mm"', 'length = "yd"'),
        (STICK, "[stick]\nlength = inf\nrange = { low = -1, high = 1 }"),
        ("power_link = 500", "power_lnk = 500"),
        ("mast_angle = 180", 'mast_angle = "up"'),
    )
    faults = faults_of(text)
    assert {(fault.code, fault.path) for fault in faults} == {
        ("wrong-unit", "units.length"),
        ("not-finite", "stick.length"),
        ("exactly-one", "stick"),
        ("unknown-key", "bucket.linkage.power_lnk"),
        ("missing-key", "bucket.linkage.power_link"),
        ("wrong-type", "receiver.mast_angle"),
    }
    assert [fault.line for fault in faults] == sorted(fault.line or 0 for fault in faults)
    unknown = next(fault for fault in faults if fault.code == "unknown-key")
    assert unknown.advice == "did you mean power_link?"
    assert "idler_pivot, idler, power_link, branch, idler_range" in unknown.expected


def test_geometry_faults_come_at_once_too() -> None:
    text = edited(
        text_of(*MACHINE),
        (STICK, "[stick]\nlength = 0"),
        ("foot = { x = 2350, z = 950 }", 'foot = { to_inner = 900, to_outer = 500, side = "above" }'),
        ("longest = 2430", "longest = 1300"),
        ("mast_angle = 180", "mast_angle = 540"),
    )
    assert {(fault.code, fault.path) for fault in faults_of(text)} == {
        ("zero-length-link", "stick.length"),
        ("tape-does-not-meet", "stick.cylinder.foot"),
        ("range-swapped", "boom.cylinder.shortest"),
        ("beyond-a-turn", "receiver.mast_angle"),
    }


def test_tape_that_cannot_meet_says_by_how_much() -> None:
    """900 and 500 from pins 4600 apart leave 3200 mm between."""
    text = edited(
        text_of(*MACHINE),
        ("foot = { x = 2350, z = 950 }", 'foot = { to_inner = 900, to_outer = 500, side = "above" }'),
    )
    (fault,) = faults_of(text)
    assert "miss each other by 3.2000 m" in fault.found


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("schema = 1", "schema = = 1", 1),
        ("[units]", "[units", 7),
        ("idler = 570", "idler = 570 mm", None),
        ("mast_angle = 180\n", 'mast_angle = "180', None),
        ("idler = 570", "idler = 570\nidler = 571", None),
        ("idler = 570", f"idler = {'[' * 9000}", None),
        ("idler = 570", f"idler = {'9' * 5000}", None),
    ],
)
def test_broken_toml_names_line_and_column(old: str, new: str, line: int | None) -> None:
    text = edited(text_of(*MACHINE), (old, new))
    (fault,) = faults_of(text)
    assert fault.code == "broken-toml"
    assert fault.path == ""
    if line is not None:
        assert fault.line == line
        assert "column" in fault.found


@pytest.mark.parametrize("text", ["x" * 70_000, "a.b." * 20_000, "\n" * 16_385, "[" * 50_000_000])
def test_a_huge_file_is_refused_unread(text: str) -> None:
    (fault,) = faults_of(text)
    assert fault.code == "too-large"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\0",
        "\ud800",
        "[a]\n[a]",
        "[[schema]]",
        "a = " + "{b = " * 3000,
        "a." * 8000 + "a = 1",
        "[" + "a." * 4000 + "a]\nb = 1",
    ],
)
def test_nonsense_is_a_fault_never_another_exception(text: str) -> None:
    assert faults_of(text)
    verdict = check_profile(text).as_json()
    assert verdict["ok"] is False
    assert verdict["faults"]
    assert verdict["facts"] == {}


def test_a_byte_order_mark_is_no_fault() -> None:
    text = text_of(*MACHINE)
    assert parse_profile("\ufeff" + text).content_hash == parse_profile(text).content_hash


def test_a_long_wrong_value_is_shown_short() -> None:
    text = edited(text_of(*MACHINE), ('branch = "open"', f'branch = "{"o" * 5000}"'))
    (fault,) = faults_of(text)
    assert len(fault.found) <= 60


def test_bucket_cylinder_without_linkage() -> None:
    text = text_of(*MACHINE)
    start, end = text.index("[bucket.linkage]"), text.index("[bucket.cylinder]")
    without = text[:start] + "[bucket]\nrange = { low = -30, high = 120 }\n" + text[end:]
    assert [(f.code, f.path) for f in faults_of(without)] == [("missing-key", "bucket.linkage")]


def test_tables_of_the_wrong_kind_are_named_once() -> None:
    start = text_of(*MACHINE).index("[bucket.linkage]")
    machine = text_of(*MACHINE)[:start] + "[bucket]\nlinkage = 3\ncylinder = 4\n"
    assert {(f.code, f.path) for f in faults_of(machine)} == {
        ("wrong-type", "bucket.linkage"),
        ("wrong-type", "bucket.cylinder"),
    }
    start = text_of(*DIGGING).index("[bucket]")
    assert {(f.code, f.path) for f in faults_of("teeth = 4\nbucket = 3\n" + text_of(*DIGGING)[:start])} == {
        ("wrong-type", "bucket"),
        ("wrong-type", "teeth"),
    }


def test_linkage_without_anything_that_turns_it() -> None:
    text = text_of(*MACHINE)
    start, end = text.index("[bucket.cylinder]"), text.index("[receiver]")
    assert [(f.code, f.path) for f in faults_of(text[:start] + text[end:])] == [("exactly-one", "bucket")]


def test_a_link_that_misses_is_a_fault_of_the_pair_not_of_the_machine() -> None:
    """Idler and power link can only be judged with the attachment's pin spacing."""
    text = edited(text_of(*MACHINE), ("power_link = 500", "power_link = 50"))
    assert parse_profile(text).id == "crawler-14t"


def test_the_exception_prints_every_fault_with_its_line() -> None:
    text = edited(text_of(*DIGGING), ("width = 1480", "widht = 1480"))
    with pytest.raises(ProfileFaulty) as caught:
        parse_profile(text)
    assert str(caught.value).count("\n") == 1
    assert f"line {line_with(text, 'widht')}: teeth.widht: expected one of tip, width" in str(caught.value)


def test_two_piece_faults_have_their_place() -> None:
    text = edited(
        TWO_PIECE, ("length = 1500", "length = 0"), ("low = -60, high = 50", "low = 50, high = -60")
    )
    found = {(fault.code, fault.path) for fault in faults_of(text)}
    assert ("zero-length-link", "fore_boom.length") in found
    assert ("range-swapped", "swing_boom.range") in found
    assert not any(math.isnan(fault.line or 0) for fault in faults_of(text))


@pytest.mark.parametrize(
    ("old", "new", "advice"),
    [
        ('length = "mm"', 'length = "inch"', "did you mean in?"),
        ('branch = "open"', 'branch = "Open"', "did you mean open?"),
        ('branch = "open"', 'branch = "sideways"', ""),
    ],
)
def test_a_choice_nearly_right_is_offered(old: str, new: str, advice: str) -> None:
    (fault,) = faults_of(edited(text_of(*MACHINE), (old, new)))
    assert fault.advice == advice


def test_a_swapped_range_shows_no_number_in_another_unit_than_the_file_s() -> None:
    for high, found in ((-45, "the lower end above the upper"), (45, "both ends alike")):
        text = edited(text_of(*TILTING), ("low = -45, high = 45", f"low = 45, high = {high}"))
        (fault,) = faults_of(text)
        assert (fault.found, fault.expected) == (found, "the lower end below the upper")
