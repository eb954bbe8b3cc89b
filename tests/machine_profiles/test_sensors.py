"""Sensors in profile files: every key, every fault at its place, units, revisions."""

import math

import pytest

from kinematics.errors import Refused
from kinematics.machine import Range
from kinematics.sensor import Measure, Mounting, Sensor
from machine_profiles import json_schema, parse_profile, shipped

from .texts import TWO_PIECE, bare, edited, faults_of, text_of

CRAWLER = bare(text_of("machine", "crawler-14t"))
TILTING = bare(text_of("attachment", "tilting-1800"))
ROTATOR = bare(text_of("attachment", "tilt-rotator-1600"))
DIGGING = text_of("attachment", "digging-1500")
COUPLED = text_of("attachment", "coupled-900")
GRAVITY = """
[sensors.one]
place = "boom"
measures = "gravity-angle"
sign = -1
mounting = { nose_up = 3.2 }
range = { low = -180, high = 170 }
noise = 0.05
latency_ms = 30
age_limit_ms = 500
"""
ENCODER = edited(GRAVITY, ('"gravity-angle"', '"angle"'), ("{ nose_up = 3.2 }", "1.5"))
WIRE = edited(
    ENCODER, ('"angle"', '"length"'), ("sign = -1", "sign = 1"), ("low = -180, high = 170", "low = 0, high = 2500"),
    ("0.05", "0.5"),
)  # fmt: skip
UNIT = edited(
    GRAVITY, ('"boom"', '"body"'), ('"gravity-angle"', '"pitch-roll"'), ("sign = -1", "sign = -1\nside_sign = 1"),
    ("low = -180, high = 170", "low = -90, high = 90"),
)  # fmt: skip
SINGLE = edited(
    GRAVITY,
    ('"gravity-angle"', '"inclination"'),
    ("low = -180, high = 170", "low = -60, high = 60"),
)
TILT = edited(GRAVITY, ('"boom"', '"tilt"'), ("sign = -1", 'sign = 1\naxis = "left"'), ("3.2", "38"))
TURN = edited(ENCODER, ('"boom"', '"rotate"'))


def one(text: str) -> Sensor:
    """The only sensor of a text, given or a check."""
    profile = parse_profile(text)
    (sensor,) = (*profile.sensors.values(), *profile.checks.values())
    return sensor


def test_every_key_reaches_its_field() -> None:
    sensor = one(CRAWLER + edited(GRAVITY, ("3.2 }", "3.2, left_up = 0.4, to_left = -0.5 }")))
    assert sensor == Sensor(
        place="boom", measures=Measure.GRAVITY_ANGLE, sign=-1,
        mounting=Mounting(math.radians(3.2), math.radians(0.4), math.radians(-0.5)),
        range=Range(-math.pi, math.radians(170)), noise=math.radians(0.05), latency_s=0.03, age_limit_s=0.5,
    )  # fmt: skip
    encoder = one(CRAWLER + ENCODER)
    assert (encoder.measures, encoder.mounting) == (Measure.ANGLE, math.radians(1.5))
    wire = one(CRAWLER + WIRE)
    assert (wire.measures, wire.mounting, wire.range, wire.noise) == (
        Measure.LENGTH, 0.0015, Range(0.0, 2.5), 0.0005,
    )  # fmt: skip
    unit = one(CRAWLER + UNIT)
    assert (unit.measures, unit.sign, unit.side_sign) == (Measure.PITCH_ROLL, -1, 1)
    for said, branch in (("rising", 1), ("falling", -1)):
        text = edited(SINGLE, ("sign = -1", f'sign = -1\nbranch = "{said}"'))
        assert one(CRAWLER + text).branch == branch
    assert one(CRAWLER + SINGLE).branch is None
    assert one(TILTING + TILT).axis == "left"


def test_what_is_left_out_has_one_meaning_and_one_revision() -> None:
    mounting = one(CRAWLER + GRAVITY).mounting
    assert mounting == Mounting(math.radians(3.2), 0.0, 0.0)
    short, long = (
        parse_profile(CRAWLER + text)
        for text in (GRAVITY, edited(GRAVITY, ("3.2 }", "3.2, left_up = -0.0, to_left = 0 }")) + "check = false\n")
    )  # fmt: skip
    assert short.content_hash == long.content_hash != parse_profile(CRAWLER).content_hash
    assert parse_profile(CRAWLER + "[sensors]\n").content_hash == parse_profile(CRAWLER).content_hash


def test_a_check_stands_apart() -> None:
    second = GRAVITY.replace("sensors.one", "sensors.two")
    profile = parse_profile(CRAWLER + GRAVITY + second + "check = true\n")
    assert (list(profile.sensors), list(profile.checks)) == (["one"], ["two"])
    with pytest.raises(TypeError):
        profile.sensors["three"] = profile.sensors["one"]  # type: ignore[index]


@pytest.mark.parametrize("place", ["swing_boom", "boom", "fore_boom", "stick", "bucket"])
def test_an_encoder_at_every_joint_of_a_machine(place: str) -> None:
    assert one(TWO_PIECE + edited(ENCODER, ('"boom"', f'"{place}"'))).place == place


@pytest.mark.parametrize("place", ["body", "boom", "stick", "idler", "power_link"])
def test_gravity_on_every_link_of_a_machine(place: str) -> None:
    assert one(CRAWLER + edited(UNIT, ('"body"', f'"{place}"'))).place == place


def test_gravity_on_every_part_of_an_attachment() -> None:
    for text, place in ((DIGGING, "bucket"), (COUPLED, "bucket"), (COUPLED, "coupler"), (ROTATOR, "tilt")):
        assert one(text + edited(UNIT, ('"body"', f'"{place}"'))).place == place


# text, sensor, old, new, code, path below the sensor
FORM = [
    *((CRAWLER, GRAVITY, line, "", "missing-key", key) for line, key in (
        ('place = "boom"\n', "place"), ('measures = "gravity-angle"\n', "measures"), ("sign = -1\n", "sign"),
        ("mounting = { nose_up = 3.2 }\n", "mounting"), ("range = { low = -180, high = 170 }\n", "range"),
        ("noise = 0.05\n", "noise"), ("latency_ms = 30\n", "latency_ms"), ("age_limit_ms = 500\n", "age_limit_ms"),
        ("nose_up = 3.2", "mounting.nose_up"), ("low = -180, ", "range.low"),
    )),
    (CRAWLER, GRAVITY, "noise", "noize", "unknown-key", "noize"),
    (CRAWLER, GRAVITY, "latency_ms", "latency_s", "unknown-key", "latency_s"),
    (CRAWLER, GRAVITY, "nose_up = 3.2", "nose_up = 3.2, lef_up = 1", "unknown-key", "mounting.lef_up"),
    (CRAWLER, GRAVITY, '"boom"', '"arm"', "not-a-choice", "place"),
    (CRAWLER, GRAVITY, '"boom"', '"tilt"', "not-a-choice", "place"),
    (TILTING, TILT, '"tilt"', '"body"', "not-a-choice", "place"),
    (CRAWLER, GRAVITY, '"gravity-angle"', '"gravity"', "not-a-choice", "measures"),
    (CRAWLER, GRAVITY, "sign = -1", "sign = 0", "not-a-choice", "sign"),
    (CRAWLER, GRAVITY, "sign = -1", "sign = 1.0", "not-a-choice", "sign"),
    (CRAWLER, GRAVITY, "sign = -1", "sign = true", "not-a-choice", "sign"),
    (CRAWLER, UNIT, "side_sign = 1", "side_sign = 2", "not-a-choice", "side_sign"),
    (CRAWLER, UNIT, "side_sign = 1", "side_sign = true", "not-a-choice", "side_sign"),
    (CRAWLER, GRAVITY, "sign = -1", 'sign = "-1"', "not-a-choice", "sign"),
    (CRAWLER, UNIT, "side_sign = 1\n", "", "missing-key", "side_sign"),
    (CRAWLER, GRAVITY, "sign = -1", "sign = -1\nside_sign = 1", "not-sensed-so", "side_sign"),
    (CRAWLER, SINGLE, "sign = -1", 'sign = -1\nbranch = "up"', "not-a-choice", "branch"),
    (CRAWLER, SINGLE, '"boom"', '"body"', "missing-key", "axis"),
    (TILTING, TILT, 'axis = "left"\n', "", "missing-key", "axis"),
    (TILTING, TILT, 'axis = "left"', 'axis = "right"', "not-a-choice", "axis"),
    (CRAWLER, GRAVITY, "{ nose_up = 3.2 }", "3.2", "wrong-type", "mounting"),
    (CRAWLER, GRAVITY, "{ nose_up = 3.2 }", '"3.2"', "wrong-type", "mounting"),
    (CRAWLER, ENCODER, "mounting = 1.5", "mounting = { nose_up = 1.5 }", "wrong-type", "mounting"),
    (CRAWLER, ENCODER, "mounting = 1.5", "mounting = nan", "not-finite", "mounting"),
    (CRAWLER, GRAVITY, "nose_up = 3.2", "nose_up = inf", "not-finite", "mounting.nose_up"),
    (CRAWLER, GRAVITY, "noise = 0.05", "noise = true", "wrong-type", "noise"),
    (CRAWLER, GRAVITY, "noise = 0.05", "noise = 0.05\ncheck = 1", "wrong-type", "check"),
    (CRAWLER, GRAVITY, "[sensors.one]", "[sensors]\none = 3\n[other]", "wrong-type", ""),
    (CRAWLER, GRAVITY, '"boom"', '"bucket"', "not-sensed-so", "place"),
    (DIGGING, ENCODER, '"boom"', '"bucket"', "not-sensed-so", "place"),
]  # fmt: skip
PLACES = [
    (CRAWLER, ENCODER, '"boom"', '"swing_boom"', "no-such-joint", "place"),
    (CRAWLER, ENCODER, '"boom"', '"fore_boom"', "no-such-joint", "place"),
    (CRAWLER, WIRE, '"boom"', '"fore_boom"', "no-such-joint", "place"),
    (DIGGING, TURN, '"rotate"', '"tilt"', "no-such-joint", "place"),
    (TILTING, TURN, '"rotate"', '"rotate"', "no-such-joint", "place"),
    (TWO_PIECE, GRAVITY, '"boom"', '"idler"', "no-linkage", "place"),
    (TWO_PIECE, WIRE, '"boom"', '"boom"', "no-cylinder", "place"),
    (TWO_PIECE, WIRE, '"boom"', '"bucket"', "no-cylinder", "place"),
    (DIGGING, GRAVITY, '"boom"', '"coupler"', "not-sensed-so", "place"),
    (TILTING, GRAVITY, '"boom"', '"bucket"', "not-sensed-so", "place"),
    (ROTATOR, GRAVITY, '"boom"', '"bucket"', "not-sensed-so", "place"),
    (TILTING, TILT, 'axis = "left"', 'axis = "ahead"', "not-sensed-so", "mounting"),
    (TILTING, TILT, "nose_up = 38", "nose_up = 128", "not-sensed-so", "mounting"),
    (CRAWLER, GRAVITY, "3.2 }", "3.2, left_up = 180 }", "not-sensed-so", "mounting.left_up"),
    (CRAWLER, GRAVITY, "3.2 }", "3.2, to_left = 90 }", "out-of-range", "mounting.to_left"),
    (CRAWLER, GRAVITY, "sign = -1", 'sign = -1\nbranch = "rising"', "not-sensed-so", "branch"),
    (CRAWLER, GRAVITY, "sign = -1", 'sign = -1\naxis = "left"', "not-sensed-so", "axis"),
    (CRAWLER, ENCODER, '"boom"', '"body"', "not-sensed-so", "measures"),
    (TWO_PIECE, GRAVITY, '"boom"', '"swing_boom"', "not-sensed-so", "measures"),
    (CRAWLER, GRAVITY, "low = -180, high = 170", "low = 180, high = -180", "range-swapped", "range"),
    (CRAWLER, GRAVITY, "high = 170", "high = 400", "out-of-range", "range.high"),
    (CRAWLER, GRAVITY, "noise = 0.05", "noise = 0", "out-of-range", "noise"),
    (CRAWLER, GRAVITY, "noise = 0.05", "noise = 6", "out-of-range", "noise"),
    (CRAWLER, WIRE, "high = 2500", "high = 2.5e6", "too-long", "range.high"),
    (CRAWLER, WIRE, "mounting = 1.5", "mounting = 1e300", "too-long", "mounting"),
    (CRAWLER, WIRE, "mounting = 1.5", "mounting = -30000", "out-of-range", "mounting"),
    (CRAWLER, GRAVITY, "latency_ms = 30", "latency_ms = -30", "out-of-range", "latency_ms"),
    (CRAWLER, GRAVITY, "latency_ms = 30", "latency_ms = 500", "out-of-range", "age_limit_ms"),
    (CRAWLER, GRAVITY, "age_limit_ms = 500", "age_limit_ms = 0", "out-of-range", "age_limit_ms"),
    (CRAWLER, GRAVITY, "age_limit_ms = 500", "age_limit_ms = 5e5", "out-of-range", "age_limit_ms"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sensor", "old", "new", "code", "path"), FORM + PLACES)
def test_each_fault_alone_with_its_code_path_and_line(
    text: str, sensor: str, old: str, new: str, code: str, path: str
) -> None:
    whole = text + edited(sensor, (old, new))
    where = f"sensors.one.{path}".rstrip(".")
    renamed = {"noize": "noise", "latency_s": "latency_ms"}.get(path)
    found = [
        fault for fault in faults_of(whole)
        if not (fault.path == f"sensors.one.{renamed}" or fault.path.startswith("other"))
    ]  # fmt: skip
    assert [(fault.code, fault.path) for fault in found] == [(code, where)]
    (fault,) = found
    line = whole.splitlines()[(fault.line or 0) - 1]
    keys = path.partition(".")[0] or "one"
    assert line.startswith(f"{keys} =") or (
        line == "[sensors.one]" and (code == "missing-key" or path in {"axis", "side_sign"})
    )
    assert fault.found
    assert fault.expected
    assert "None" not in str(fault)


@pytest.mark.parametrize("name", ["Boom", "a b", "a.b", "", "x" * 41, "Number", "CaseMounting", "[key]"])
def test_a_name_is_of_plain_letters(name: str) -> None:
    text = CRAWLER + edited(GRAVITY, ("[sensors.one]", f'[sensors."{name}"]'))
    (fault,) = faults_of(text)
    assert fault.code == "not-a-slug"
    assert fault.path.startswith("sensors")
    assert "underscores" in fault.expected
    for broken in ("nose_up = 3.2, colour = 1", "nose_up = nan", "to_left = 1"):
        faults = faults_of(edited(text, ("nose_up = 3.2", broken)))
        assert len(faults) >= 2, "a bad name hides nothing else, and breaks nothing"


def test_a_joint_given_twice_by_one_file() -> None:
    second = edited(ENCODER, ("sensors.one", "sensors.two"))
    text = CRAWLER + GRAVITY + second
    (fault,) = faults_of(text)
    assert (fault.code, fault.path) == ("joint-given-twice", "sensors.two")
    assert fault.found == "boom by one and two"
    assert text.splitlines()[(fault.line or 0) - 1] == "[sensors.two]"
    assert parse_profile(text + "check = true\n").checks
    pitch = edited(
        SINGLE, ('"boom"', '"body"'), ("sensors.one", "sensors.two"), ("sign = -1", 'sign = 1\naxis = "left"')
    )
    (fault,) = faults_of(CRAWLER + UNIT + pitch)
    assert fault.found == "roll by one and two"


def test_all_at_once_those_of_the_geometry_too() -> None:
    text = edited(CRAWLER, ("[stick]\nlength = 2500", "[stick]\nlength = 0")) + edited(
        WIRE, ("high = 2500", "high = 2.5e6"), ("noise = 0.5", "noise = 0"), ("latency_ms = 30", "latency_ms = -1")
    ) + edited(ENCODER, ('"boom"', '"swing_boom"'), ("sensors.one", "sensors.two"))  # fmt: skip
    faults = faults_of(text)
    assert [(fault.code, fault.path) for fault in faults] == [
        ("zero-length-link", "stick.length"),
        ("too-long", "sensors.one.range.high"),
        ("out-of-range", "sensors.one.noise"),
        ("out-of-range", "sensors.one.latency_ms"),
        ("no-such-joint", "sensors.two.place"),
    ]


def test_keys_and_geometry_of_form_faults_at_once() -> None:
    text = CRAWLER + edited(
        UNIT, ("side_sign = 1\n", ""), ("noise = 0.05", 'noise = "0.05 deg"'), ("{ nose_up = 3.2 }", "3.2")
    )
    assert {(fault.code, fault.path) for fault in faults_of(text)} == {
        ("missing-key", "sensors.one.side_sign"),
        ("wrong-type", "sensors.one.noise"),
        ("wrong-type", "sensors.one.mounting"),
    }


def test_sensors_that_are_no_table() -> None:
    for value in ("3", "[]", '"one"'):
        (fault,) = faults_of(
            edited(CRAWLER, ('kind = "machine"\n', f'kind = "machine"\nsensors = {value}\n'))
        )
        assert (fault.code, fault.path) == ("wrong-type", "sensors")
        assert fault.expected == "a table"


def test_on_its_back_by_sign_and_nose_up_is_the_same_sensor() -> None:
    """What a file may not say by left_up = 180 it says by sign -1 and nose_up 180: the same two axes."""
    back = Mounting(math.radians(20), math.pi).axes()
    turned = Mounting(math.radians(20) - math.pi).axes()
    for nose, up in ((0.3, 0.9), (-0.8, 0.2), (0.1, -0.7)):
        g = (nose, 0.1, up)
        by_back, by_sign = (
            math.atan2(*(sum(a * b for a, b in zip(axes[i], g, strict=True)) for i in (0, 2)))
            for axes in (back, turned)
        )
        assert math.isfinite(by_back)
        assert abs(math.remainder(by_back + by_sign, 2 * math.pi)) <= 1e-12  # two arctangents


@pytest.mark.parametrize("kind", ["machine", "attachment"])
def test_the_schema_shows_every_key(kind: str) -> None:
    schema = json_schema(kind)
    defined = schema["$defs"][f"{kind.capitalize()}Sensor"]
    assert set(defined["properties"]) == {
        "place", "measures", "sign", "mounting", "range", "noise", "latency_ms", "age_limit_ms", "axis", "side_sign",
        "branch", "check", "zero_uncertainty", "skew_uncertainty", "per_kelvin",
    }  # fmt: skip
    assert set(defined["properties"]) - set(defined["required"]) == {
        "axis", "side_sign", "branch", "check", "zero_uncertainty", "skew_uncertainty", "per_kelvin",
    }  # fmt: skip
    assert schema["$defs"]["CaseMounting"]["required"] == ["nose_up"]
    assert schema["properties"]["sensors"]["anyOf"][0]["additionalProperties"] is False


# Revisions before profiles knew sensors and uncertainties (0.1.0 and after).
BEFORE = {
    ("machine", "compact-1t8"): "596cfbe67dce5411dddc6a3ed069abdb60690188e73770e9306215a21620194d",
    ("machine", "crawler-14t"): "a9a41ba372e1191a8e92ac1c08bf6664cf1fe43f315f44e567f086d41388c75f",
    ("machine", "crawler-21t"): "b44f64b2a975cea46f4f1df1ed479971b66e03f72cdf38d175748aa4330f2bf9",
    ("machine", "long-reach-22t"): "3f8f0f5d5bd8c4cb937468d1dae0b9ec729602ee202ba4a946054e216b61585a",
    ("machine", "midi-8t"): "3daa19b38791d0f51804de11de927e18fe08295831b7c2bddccf4c61974f8a8d",
    ("machine", "published-mini"): "b384f407f46443a4039f2f02a2f932bda5447b5ac52c00ca96ac7523509d94e5",
    ("machine", "wheeled-16t"): "b4abca46a86b427c19a92278632ab33cffdceae62a71b963d1a0039a83531489",
    ("attachment", "compact-bucket-400"): "7e3382ed2b8dfaaa185f0a7e7497f88acfa35c9b69206325f9f3e6ebaef50c81",
    ("attachment", "coupled-900"): "6f453ad7316cde4c39d56478b347f9b9861f1074228684ed272c0d4bab7472fc",
    ("attachment", "digging-1500"): "2f1f84e41afed711fc25363728faa54d4df41ba98e66f4faa1bc9163fb9d3e36",
    ("attachment", "ditching-1800"): "9d2d494df771e294bd1acb99940c0b45a1cd028988b022dd15a33aa4ace27cb1",
    ("attachment", "midi-bucket-700"): "310fd3942245a7de78c21cba7c80059827d5b431cfbe358fa358f1ea55d48e8f",
    (
        "attachment",
        "published-mini-bucket",
    ): "7cc14f999b930cc854ea6a06673e8ad25f2f3d47904bcfa25db729225790b481",
    ("attachment", "tilt-rotator-1600"): "27d913baad2456e29afbae6faa8cd5d252195bc570e25d9432c08d8de5064cf0",
    ("attachment", "tilting-1800"): "d8e19257ecd64e8f2f7e474e8e64435ca2bcac4802fb42931ba17378522f5e03",
    ("attachment", "trenching-600"): "cecaa3b69af10794012acdf0f93cf15cae79821e28d4beb7d6c21ee5e85a4d9a",
    ("attachment", "v-bucket-1200"): "d0b5cfb63847708683bdba8641dec775830bfc03ff651b6a9c91140dcba93faf",
}
SENSED = {"crawler-14t", "compact-1t8", "midi-8t", "tilting-1800", "tilt-rotator-1600"}


def test_only_files_that_say_more_have_another_revision() -> None:
    assert set(BEFORE) == set(shipped())
    for name, profile in shipped().items():
        assert parse_profile(bare(profile.source_text)).content_hash == BEFORE[name]
        assert profile.content_hash != BEFORE[name]
        assert ("sensors" in profile.document) == bool(profile.sensors) == (name[1] in SENSED)
        assert "uncertainty" in profile.document


# Revisions with sensors, before profiles knew uncertainties.
SENSORS_ONLY = {
    ("machine", "compact-1t8"): "1285d3a441bb9c6378b6cb223289c3b173c39900a2f00603ffb45313d50b2f22",
    ("machine", "crawler-14t"): "ab65f080809f3b195d975618e79cea813b6daaa07e1cfed0e18bb605b7035a4e",
    ("machine", "midi-8t"): "cac9dd0c9b4bf7777e9c172503280abd20833229fd281d388676b29958c90e60",
    ("attachment", "tilt-rotator-1600"): "c2138f46ee1a91dcaee3a03aab1bbe238545d6f88fdee87c4b3b129cac42b0cb",
    ("attachment", "tilting-1800"): "69f926580690077ab3603ba50fbc861b6a985d5cdb743e1272c61a0330020a53",
}


@pytest.mark.parametrize("name", SENSORS_ONLY)
def test_sensors_without_uncertainties_keep_their_revision(name: tuple[str, str]) -> None:
    text = shipped()[name].source_text.partition("\n# Bores, pressures")[0]  # profiles knew none then
    head, _, rest = text.partition("\n# Uncertainty:")
    lines = (head + rest[rest.index("\n# Sensors:") :]).splitlines(keepends=True)
    left = [line for line in lines if not line.startswith(("zero_unc", "skew_unc", "per_kelvin"))]
    assert parse_profile("".join(left)).content_hash == SENSORS_ONLY[name]


def test_a_refused_sensor_leaves_no_profile() -> None:
    """The error that kinematics raises does not come through as its own."""
    try:
        faults_of(CRAWLER + edited(GRAVITY, ("noise = 0.05", "noise = 0")))
    except Refused:
        pytest.fail("the loader has errors of its own")
