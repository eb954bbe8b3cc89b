"""How far readouts are trusted, through the door: what is told, what it rests on, what is refused."""

import math
from collections.abc import Callable

import pytest

from kinematics.reach import place_edge
from tests.tolerances import NOISE_M

from .callers import as_on_disk
from .doing import JobDoer, Json, as_asked, edge_at, fitted, metres

Opener = Callable[..., JobDoer]
FACTOR = 1.959963984540054
"""GUM table G.1: 95 % of a normal distribution."""
ROUNDING_MM = 1e-6


def budget(job: JobDoer, pose: Json, status: int = 200, **more: object) -> Json:
    body = {"pose": pose, "units": job.units, **more}
    answer: Json = job.post("uncertainties", body, status)
    return answer


def told(job: JobDoer, pose: Json, target: str | None = None) -> Json:
    answer: Json = job.read(pose, target)
    return answer


def test_a_readout_and_its_budget_say_the_same(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.target("pit", 1.0)
    for target, of in (("pit", "cut_fill"), (None, "elevation")):
        short, long = told(dug, edge_at(-2.4), target), budget(dug, edge_at(-2.4), target=target)
        assert long["of"] == short["trust"]["of"] == of
        assert long["standard"] == pytest.approx(1e3 * metres(short["trust"]["standard"]), abs=ROUNDING_MM)
        assert long["high"] - long["value"] == pytest.approx(FACTOR * long["standard"], abs=ROUNDING_MM)
        assert 1e3 * metres(short["trust"]["within"]) == pytest.approx(
            FACTOR * long["standard"], abs=ROUNDING_MM
        )
        centre = short["points"]["centre"]
        within = centre["cut_fill"]["within"] if target else centre["elevation_within"]
        assert within == short["trust"]["within"]
        assert [part["part"] for part in short["trust"]["parts"]] == [p["part"] for p in long["parts"][:5]]
    across = budget(dug, edge_at(-2.4), of="cross_slope")
    assert across["unit"] == "percent"
    assert short["cross_slope_within_percent"] == pytest.approx(FACTOR * across["standard"], abs=ROUNDING_MM)


@pytest.mark.parametrize("of", ["elevation", "cut_fill", "cross_slope"])
@pytest.mark.parametrize("edge_point", ["left", "right"])
def test_parts_add_up(dug: JobDoer, of: str, edge_point: str) -> None:
    dug.touch(-1.62)
    dug.target("pit", 1.0)
    made = budget(dug, edge_at(-2.4, tilt_deg=3.0), target="pit", of=of, edge_point=edge_point)
    assert math.fsum(part["share_percent"] for part in made["parts"]) == pytest.approx(100.0, abs=1e-6)
    assert math.fsum(p["standard"] ** 2 for p in made["parts"]) == pytest.approx(
        made["standard"] ** 2, rel=1e-9
    )
    assert math.fsum(one["share_percent"] for one in made["sources"]) == pytest.approx(100.0, abs=1.0)
    shares = [one["share_percent"] for one in made["sources"]]
    assert shares == sorted(shares, reverse=True)
    for one in made["sources"]:
        assert abs(one["rate"]) * one["uncertainty"] == pytest.approx(one["standard"], rel=1e-9)


def test_the_benchmark_counts_against_the_datum_alone(job: Opener) -> None:
    """Levelled from the slab, dug below the slab: how well the slab's elevation is known is no matter (domain)."""
    pit = job()
    body = {"name": "slab", "elevation": 100.0, "units": "m", "uncertainty": 0.02}
    pit.post("benchmarks", body)
    pit.setup()
    pit.touch(-1.62)
    pit.target("pit", 1.0)
    point = told(pit, edge_at(-2.4), "pit")["points"]["centre"]
    cut, elevation = (
        metres(each) / FACTOR for each in (point["cut_fill"]["within"], point["elevation_within"])
    )
    assert cut < 0.015
    assert elevation**2 - cut**2 == pytest.approx(0.02**2, rel=1e-9)
    as_on_disk(pit)


def test_touched_in_the_posture_that_is_dug_in(dug: JobDoer) -> None:
    """Zeros, skews, wear and dimensions cancel; noise, slop and flex count twice."""
    pose = edge_at(-1.62)
    dug.post("touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": pose})
    parts = {part["part"]: part["standard"] for part in budget(dug, pose)["parts"]}
    assert not {"sensor zeros", "sensors skewed", "dimensions", "edge wear"} & {
        k for k, v in parts.items() if v > 1e-6
    }
    assert parts["flex"] == pytest.approx(3.0 * math.sqrt(2.0), rel=1e-9)
    far = {part["part"]: part["standard"] for part in budget(dug, edge_at(-2.4, stick_deg=-40.0))["parts"]}
    assert far["sensor zeros"] > 0.3


def test_nothing_of_the_laser_within_one_stand(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.strike(1.1)
    parts = {part["part"] for part in budget(dug, edge_at(-2.4))["parts"]}
    assert not {"laser level", "curvature", "receiver"} & parts
    dug.post("moves")
    dug.strike(1.2)
    after = {part["part"]: part["standard"] for part in budget(dug, edge_at(-2.4))["parts"]}
    # 10 arc seconds over 20 m between the receiver's places; two crossings of 1.5 mm.
    assert after["laser level"] == pytest.approx(20e3 * math.radians(10 / 3600), rel=1e-9)
    assert after["receiver"] == pytest.approx(1.5 * math.sqrt(2.0), rel=1e-9)


def test_estimates_reach_the_budget(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.post("estimates", {"estimates": {"contact_mm": 12.0, "temperature_k": 0.0}})
    parts = {part["part"]: part["standard"] for part in budget(dug, edge_at(-2.4))["parts"]}
    assert parts["benchmark contact"] == pytest.approx(12.0, rel=1e-9)
    assert "temperature" not in parts
    assert told(dug, edge_at(-2.4))["trust"]["largest"].startswith("benchmark contact alone: ")


def helped(job: JobDoer, pose: Json, target: str | None, point: str) -> tuple[float, float, float]:
    """Standard uncertainty before, as promised of a touch in this posture, and once the edge has touched so; mm."""
    before = budget(job, pose, target=target)
    words = f"touch {point} in the posture you dig in"
    [promised] = [each["standard"] for each in before["would_help"] if each["words"] == words]
    shown = told(job, pose, target)["trust"]
    if promised < 0.9 * before["standard"]:
        assert shown["would_help"].endswith(f" at best: {words}")
    job.post("touches", {"point": point, "purpose": "reference", "edge_point": "centre", "pose": pose})
    return before["standard"], promised, budget(job, pose, target=target)["standard"]


@pytest.mark.parametrize("target", ["pit", "drain", None])
def test_what_would_help_does_help(dug: JobDoer, target: str | None) -> None:
    """The number promised for a touch in the digging posture is the number told after it, drift and slope counted."""
    dug.touch(-1.62, stick_deg=-40.0)
    dug.target("pit", 1.0)
    dug.target("drain", 0.8, along_percent=30.0)
    dug.station("drain", 0.0, edge_at(-2.0))
    before, promised, then = helped(dug, edge_at(-2.4, stick_deg=-100.0), target, "slab")
    assert promised < before
    assert then == pytest.approx(promised, rel=1e-9)


def test_the_point_to_touch_is_the_target_s_own(job: Opener) -> None:
    """A rim of its own datum and a turning point: what the target hangs on is named, and touching it helps as said."""
    pit = job().equipped()
    pit.post("benchmarks", {"name": "rim", "elevation": 99.0, "units": "m", "uncertainty": 0.02})
    pit.touch(-1.62, stick_deg=-40.0)
    pit.turning_point("stone", -1.9)
    pit.post("targets", pit.target_body("by the rim", 1.0) | {"benchmark": "rim"})
    pit.post("targets", pit.target_body("by the stone", 1.0) | {"benchmark": "stone"})
    for target, point in (("by the rim", "rim"), ("by the stone", "stone")):
        before, promised, then = helped(pit, edge_at(-2.4, stick_deg=-100.0), target, point)
        assert promised < before
        assert then == pytest.approx(promised, rel=1e-9)


def test_elevation_by_the_benchmark_that_is_known_best(job: Opener) -> None:
    pit = job().equipped()
    pit.post("benchmarks", {"name": "rim", "elevation": 99.0, "units": "m", "uncertainty": 0.02})
    pit.touch(-1.2, "rim", stick_deg=-40.0)
    before, promised, then = helped(pit, edge_at(-2.4, stick_deg=-100.0), None, "slab")
    assert before > 20.0
    assert then == pytest.approx(promised, rel=1e-9)


def test_no_trust_in_a_cut_that_is_not_there(dug: JobDoer) -> None:
    """A drain whose station is not known: its elevation is told, and trusted as that."""
    dug.touch(-1.62)
    dug.target("drain", 0.8, along_percent=30.0)
    answer = told(dug, edge_at(-2.4), "drain")
    assert answer["points"]["centre"]["cut_fill"] is None
    assert answer["trust"]["of"] == "elevation"
    across = budget(dug, edge_at(-2.4), of="cross_slope")
    assert across["would_help"] == []


def test_monte_carlo_agrees(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.target("pit", 1.0)
    made = budget(dug, edge_at(-2.4), target="pit", trials=50_000, seed=7)
    repeated = made["monte_carlo"]
    # A standard deviation of 50 000 draws is good to 0.3 %; four times that.
    assert repeated["standard"] == pytest.approx(made["standard"], rel=0.0127)
    assert repeated["low"] == pytest.approx(made["low"], abs=0.03 * made["standard"])
    assert repeated["high"] == pytest.approx(made["high"], abs=0.03 * made["standard"])
    assert (repeated["trials"], repeated["lost"]) == (50_000, 0)
    assert budget(dug, edge_at(-2.4), target="pit", trials=50_000, seed=7)["monte_carlo"] == repeated


def test_other_uncertainties_than_the_profiles(dug: JobDoer) -> None:
    dug.touch(-1.62, stick_deg=-40.0)
    pose = edge_at(-2.4, stick_deg=-100.0)
    before = budget(dug, pose)
    worse = budget(dug, pose, standard={"boom.zero": 3.0, "stick.zero": 3.0})
    assert worse["standard"] > 2.0 * before["standard"]
    own = [each["source"] for each in before["sources"] if not each["source"].startswith("before")]
    sure = budget(dug, pose, standard=dict.fromkeys(own, 0))
    assert not set(own) & {each["source"] for each in sure["sources"]}
    assert sure["standard"] < 0.9 * before["standard"]
    pair = [{"one": "boom.zero", "other": "stick.zero", "coefficient": 1.0}]
    assert budget(dug, pose, correlations=pair)["standard"] != before["standard"]


@pytest.mark.parametrize(
    ("body", "refused"),
    [
        ({"standard": {"boom.zer": 1.0}}, {"/standard/boom.zer": "unknown-parameter"}),
        ({"standard": {"boom.zero": -1.0}}, {"/standard/boom.zero": "out-of-range"}),
        ({"correlations": [{"one": "boom.noise", "other": "stick.zero", "coefficient": 1.0}]},
         {"/correlations/0": "not-correlated-so"}),
        ({"correlations": [{"one": "boom.zero", "other": "zero", "coefficient": 1.0}]},
         {"/correlations/0": "unknown-parameter"}),
        ({"correlations": [{"one": "boom.zero", "other": "stick.zero", "coefficient": 1.1}]},
         {"/correlations/0/coefficient": "out-of-range"}),
        ({"correlations": [
            {"one": "boom.zero", "other": "stick.zero", "coefficient": 1.0},
            {"one": "stick.zero", "other": "idler.zero", "coefficient": 1.0},
            {"one": "boom.zero", "other": "idler.zero", "coefficient": -1.0}]}, {"/correlations": "not-a-correlation"}),
        ({"of": "cut_fill"}, {"/of": "invalid-request"}),
        ({"of": "depth"}, {"/of": "not-a-choice"}),
        ({"trials": 999}, {"/trials": "out-of-range"}),
        ({"trials": 1_000_000}, {"/trials": "out-of-range"}),
        ({"coverage_percent": 100.0}, {"/coverage_percent": "out-of-range"}),
        ({"sigma": 1.0}, {"/sigma": "unknown-field"}),
        ({"line": "teeth"}, {"/line": "no-such-point"}),
    ],
)  # fmt: skip
def test_refused(dug: JobDoer, body: Json, refused: Json) -> None:
    dug.touch(-1.62)
    assert dug.refused("uncertainties", {"pose": edge_at(-2.4), "units": "m", **body}, 422) == refused


def test_no_height_no_trust_in_it(dug: JobDoer) -> None:
    answer = told(dug, edge_at(-2.4))
    assert answer["trust"] is None
    assert answer["points"]["left"]["elevation_within"] is None
    assert answer["cross_slope_within_percent"] > 0.1
    assert dug.refused("uncertainties", {"pose": edge_at(-2.4), "units": "m"}, 409) == {"": "height-unknown"}


def test_no_uncertainty_in_the_profiles_is_told(job: Opener) -> None:
    """A machine without sensors or [uncertainty]: usual values, every one of them named."""
    pit = job()
    pit.benchmark("slab", 100.0)
    pit.setup("crawler-21t", "digging-1500")
    assembly = fitted("crawler-21t", "digging-1500")
    pose = as_asked(place_edge(assembly, pitch=0.0, roll=0.0, point="centre", reach=6.0, height=-1.5,
                               floor_angle=0.1).pose)  # fmt: skip
    pit.post("touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": pose})
    made = budget(pit, pose)
    assert any(each.startswith("sensors: as are usual") for each in made["assumed"])
    assert told(pit, pose)["trust"]["assumed"] == len(made["assumed"]) > 0


def test_a_target_that_slopes(dug: JobDoer) -> None:
    """Where along it the edge stands counts: 50 mm of station on 10 % are 5 mm."""
    dug.touch(-1.62)
    dug.target("drain", 0.8, along_percent=10.0)
    dug.post(
        "stations",
        {"target": "drain", "station": 0.0, "edge_point": "centre", "pose": edge_at(-2.0), "units": "m"},
    )
    parts = {part["part"]: part["standard"] for part in budget(dug, edge_at(-2.4), target="drain")["parts"]}
    assert parts["distances"] == pytest.approx(5.0, rel=1e-9)


def test_in_feet(job: Opener) -> None:
    pit = job("ft").equipped()
    pit.touch(-1.62)
    pit.target("pit", 1.0)
    trust = told(pit, edge_at(-2.4), "pit")["trust"]
    assert trust["within"]["shown"] == f"{metres(trust['within']) / 0.3048:.2f} ft"
    assert abs(metres(trust["within"]) - FACTOR * metres(trust["standard"])) <= NOISE_M


@pytest.mark.parametrize(
    ("body", "refused"),
    [
        ({"standard": {"boom.zero": 10.1, "boom_length": 1001.0, "pin_slop": 1e300}},
         {"/standard/boom.zero": "out-of-range", "/standard/boom_length": "out-of-range",
          "/standard/pin_slop": "out-of-range"}),
        ({"standard": {"a/b.c": 1.0}}, {"/standard/a~1b.c": "unknown-parameter"}),
        ({"standard": {"body.skew.roll": 1.0}}, {"/standard/body.skew.roll": "unknown-parameter"}),
        ({"standard": {"boom.zer": 1.0}, "correlations": [{"one": "q", "other": "boom.zero", "coefficient": 0.5}]},
         {"/standard/boom.zer": "unknown-parameter", "/correlations/0": "unknown-parameter"}),
        ({"correlations": [{"one": "boom.zero", "other": "stick.zero", "coefficient": 1.0},
                           {"one": "stick.zero", "other": "boom.zero", "coefficient": 1.0}]},
         {"/correlations/1": "given-twice"}),
        ({"correlations": [{"one": "boom.zero", "other": "boom.zero", "coefficient": 1.0}]},
         {"/correlations/0": "not-a-correlation"}),
        ({"coverage_percent": 0.9}, {"/coverage_percent": "out-of-range"}),
        ({"coverage_percent": 99.999, "trials": 1000}, {"/coverage_percent": "too-few-draws"}),
    ],
)  # fmt: skip
def test_what_if_refused(dug: JobDoer, body: Json, refused: Json) -> None:
    dug.touch(-1.62)
    assert dug.refused("uncertainties", {"pose": edge_at(-2.4), "units": "m", **body}, 422) == refused


def test_pin_slop_is_asked_and_told_as_a_standard_uncertainty(dug: JobDoer) -> None:
    dug.touch(-1.62)
    made = budget(dug, edge_at(-2.4), standard={"pin_slop": 2.0})
    told_so = next(each for each in made["sources"] if each["source"] == "pin_slop")
    assert (told_so["uncertainty"], told_so["uncertainty_unit"]) == (pytest.approx(2.0, rel=1e-12), "mm")


def test_of_a_bucket_revised_the_rest_stays(job: Opener) -> None:
    """Pins measured anew, 1 mm farther apart: dug in the posture of the touch, of all that lasts their spacing alone is
    left of both buckets; and a receiver clamped elsewhere is no matter."""
    pit = job()
    toml = pit.client.get("/v1/attachments/tilting-1800")["toml"].replace(
        '"tilting-1800"', '"our-own-1800"', 1
    )
    assert "spacing = 420" in toml
    pit.client.post("/v1/attachments", {"toml": toml})
    pit.equipped(attachment="our-own-1800")
    pit.post("estimates", {"estimates": {"temperature_k": 0.0}})
    pose = edge_at(-1.62)
    at_slab = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": pose}
    pit.post("touches", at_slab)
    pit.client.post("/v1/attachments", {"toml": toml.replace("spacing = 420", "spacing = 421")})
    pit.post("attachment-changes", {"attachment": "our-own-1800"})
    pit.post("receiver-clamps", {"place_mm": [1500.0, 100.0, 300.0]})
    made = budget(pit, pose, trials=20_000)
    told_of = {one["source"]: one["standard"] for one in made["sources"] if one["part"] == "dimensions"}
    assert told_of.keys() == {"pin_spacing", "before: dimensions"}
    # Each spacing was measured to 3 mm, and the two hardly differ.
    assert told_of["before: dimensions"] == pytest.approx(told_of["pin_spacing"], rel=0.01)
    assert told_of["pin_spacing"] > 1.0
    # A standard deviation of 20 000 draws is good to 0.5 %; four times that.
    assert made["monte_carlo"]["standard"] == pytest.approx(made["standard"], rel=0.02)
