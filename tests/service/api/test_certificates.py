"""Acceptance certificates over the door: everything missing at once, the verdict, and printed again unchanged."""

import hashlib
from collections.abc import Callable

import pytest

from kinematics.acceptance import tolerance_factor
from service.book.record_file import broken

from .checking import REACH, SERIALS, certificate, level_body, on_slope, rod, touched, zone
from .doing import Client, JobDoer, Json, as_asked, faults

Make = Callable[..., JobDoer]


@pytest.fixture(scope="module")
def checked(client: Client) -> JobDoer:
    """A job with 36 points, the tool 4 mm too high and too low in turn."""
    client.post(
        "/v1/jobs", {"id": "accepted", "name": "Village pump house", "units": "m", "datum": "slab is 100"}
    )
    at = JobDoer(client, "accepted", "m")
    zone(at)
    return at


@pytest.fixture(scope="module")
def issued(checked: JobDoer) -> Json:
    told: Json = checked.post("certificates", certificate())
    return told


def test_it_passes_by_its_rule(issued: Json) -> None:
    told = issued["certificate"]
    content = told["content"]
    assert told["passed"] is True
    assert len(content["points"]) == 36
    assert content["bias_m"] == pytest.approx(0.0, abs=1e-9)
    spread = 0.004 * (36 / 35) ** 0.5
    assert content["spread_m"] == pytest.approx(spread, rel=1e-6)
    assert content["rms_m"] == pytest.approx(0.004, rel=1e-6)
    assert content["reached_m"] == pytest.approx(tolerance_factor(36) * spread, rel=1e-6)
    assert content["sensors"] == SERIALS
    cells = {(each["distance"], each["side"], each["swing"]) for each in content["points"]}
    assert len(cells) == 18
    assert all(each["lean_deg"] == pytest.approx(3.0, abs=1e-6) for each in content["points"])
    assert "k = 2.4" in told["rule"]


def test_it_is_the_next_link_of_the_chain(client: Client, issued: Json) -> None:
    content = issued["certificate"]["content"]
    events = client.app.state.keeper.stored("accepted", issued["seq"])
    assert broken("accepted", events)[0] is None
    assert (events[-2].seq, events[-2].hash) == (content["head_seq"], content["head_hash"])
    assert events[-1].hash == issued["certificate"]["hash"]
    assert events[-1].previous_hash == content["head_hash"]


def test_printed_again_it_reads_the_same(client: Client, checked: JobDoer, issued: Json) -> None:
    at = f"{checked.path}/certificates/{issued['seq']}"
    assert client.get(at) == issued["certificate"]

    def printed(wanted: str) -> str:
        answer = client.http.get(f"{at}?format={wanted}")
        assert answer.status_code == 200
        if wanted == "pdf":
            assert answer.headers["content-type"] == "application/pdf"
            assert answer.content.startswith(b"%PDF")
            assert "certificate-accepted-" in answer.headers["content-disposition"]
        return hashlib.sha256(answer.content).hexdigest()

    before = {wanted: printed(wanted) for wanted in ("json", "html", "pdf")}
    checked.target("later", 1.0)
    assert {wanted: printed(wanted) for wanted in before} == before


def test_the_page_says_what_it_must(client: Client, checked: JobDoer, issued: Json) -> None:
    page = client.http.get(f"{checked.path}/certificates/{issued['seq']}?format=html").text
    content = issued["certificate"]["content"]
    for text in (
        "passed", "crawler-14t", content["stood"]["machine_hash"], content["stood"]["attachment_hash"], "B-4",
        "Ville d&#x27;eau, Łódka", "not a safety function", "swing radius", "±30 mm", content["head_hash"],
        "near, left, 1", "far, right, 2", "ISO 16269-6", "hollow marks the second swing",
    ):  # fmt: skip
        assert text in page, text


def test_a_list_of_them(checked: JobDoer, issued: Json) -> None:
    [line] = [each for each in checked.get("certificates") if each["seq"] == issued["seq"]]
    assert (line["passed"], line["status"], line["machine"]) == (True, "counts", "crawler-14t")


def test_a_tighter_tolerance_does_not_pass_and_says_so(client: Client, checked: JobDoer) -> None:
    told = checked.post("certificates", certificate(tolerance=0.009))["certificate"]
    assert told["passed"] is False
    assert "no point is beyond it" in told["verdict"]
    told = checked.post("certificates", certificate(tolerance=0.003))
    assert len(told["certificate"]["content"]["beyond"]) == 36
    page = client.http.get(f"{checked.path}/certificates/{told['seq']}?format=html").text
    assert "not passed" in page
    assert "Issued before of this stand: entry" in page


def test_everything_missing_at_once(job: Make) -> None:
    at = touched(job())
    for off in (0.001, 0.002):
        rod(at, off)
    told = at.post("certificates", certificate(serials={"boom": "B-2", "bom": "x"}), 422)["errors"]
    codes = [each["code"] for each in told]
    assert codes.count("serial-missing") == 4
    assert codes.count("no-such-sensor") == 1
    assert {"too-few-checks", "swing-unknown", "lean-too-small"} <= set(codes)
    assert codes.count("cell-empty") == 18


def test_named_cells(job: Make) -> None:
    at = job()
    zone(at, skip=(("far", "left", 2), ("near", "centre", 1)))
    found = at.post("certificates", certificate(), 422)["errors"]
    assert [each["found"] for each in found] == [
        "no point near, centre, at swing 1", "no point far, left, at swing 2",
    ]  # fmt: skip


def test_a_void_check_ends_a_certificate_and_is_in_no_other(job: Make) -> None:
    at = job()
    seqs = zone(at)
    told = at.post("certificates", certificate(tolerance=0.02))
    voids = at.withdraw(seqs[5])["voids"]
    assert voids == [f"entry {seqs[5]}", f"entry {told['seq']}"]
    assert [each["status"] for each in at.get("certificates")] == ["void"]
    page = at.client.http.get(f"{at.path}/certificates/{told['seq']}?format=html").text
    assert "no longer valid" in page
    assert at.refused("certificates", certificate(checks=seqs[:5]), 422) == {"/checks": "unknown-field"}
    again = at.post("certificates", certificate())["certificate"]
    assert again["passed"] is True
    assert [each["seq"] for each in again["content"]["points"]] == [seq for seq in seqs if seq != seqs[5]]
    [left] = again["content"]["left_out"]
    assert (left["seq"], left["because"]) == (seqs[5], "withdrawn or void")
    page = at.client.http.get(f"{at.path}/certificates/{again['seq']}?format=html").text
    assert "Left out: 1 rod check of this stand" in page


def test_staffs_that_the_tool_set_up_itself(job: Make) -> None:
    """By the job's own plane, or from a turning point that its edge measured: what is wrong with the tool is in both."""
    at = job()
    seqs = zone(at)
    at.laser()
    at.strike(0.4)
    pose = as_asked(on_slope(4.6, -2.0, 1))
    at.post("turning-points", {"name": "stone", "edge_point": "centre", "pose": pose})
    rod_body = {"edge_point": "centre", "pose": pose, "units": "m", "swing_deg": 0.0}
    by = {"plane_reading": 2.4}, {"level": {"benchmark": "stone", "backsight": 1.0, "foresight": 1.0}}
    dependent = [at.post("rod-checks", rod_body | each) for each in by]
    assert [each["check"]["independent"] for each in dependent] == [False, False]
    content = at.post("certificates", certificate())["certificate"]["content"]
    assert [each["seq"] for each in content["points"]] == seqs
    assert [(each["seq"], each["because"]) for each in content["left_out"]] == [
        (each["seq"], "not independent") for each in dependent
    ]  # fmt: skip


def test_another_attachment_has_no_points_yet(job: Make) -> None:
    at = job()
    zone(at)
    at.post("attachment-changes", {"attachment": "digging-1500"})
    told = at.post("certificates", certificate(), 422)["errors"]
    assert {"too-few-checks", "cell-empty", "no-such-sensor"} <= {each["code"] for each in told}


def test_one_point_posted_again_is_refused(job: Make) -> None:
    """18 cells at 14 mm either way fail at 30 mm; a good point posted many times must not mend that."""
    at = job()
    zone(at, off=0.014)
    assert at.post("certificates", certificate())["certificate"]["passed"] is False
    good = on_slope(4.6, -2.4, 1)
    body = level_body(at, 101.5 + good.height("centre"), as_asked(good), swing_deg=0.0)
    first = at.post("rod-checks", body)["seq"]
    for _ in range(3):
        at.post("rod-checks", body)
    told = at.post("certificates", certificate(), 422)["errors"]
    assert [each["code"] for each in told] == ["point-repeated"] * 3
    assert f"entry {first}" in told[0]["found"]


def test_moved_and_never_swung(job: Make) -> None:
    """The second half after a move, in the same posture, with a swing that was only typed."""
    at = job()
    zone(at, skip=tuple((distance, side, 2) for distance in REACH for side in ("left", "centre", "right")))
    at.post("moves", {})
    touch = on_slope(4.6, -1.5, 1)
    at.post(
        "touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": as_asked(touch)}
    )
    for k, distance in enumerate(REACH):
        for side in ("left", "centre", "right"):
            pose = on_slope(REACH[distance], -2.1, 1)
            staff = 101.5 + pose.height(side) - 0.004 * (-1) ** k
            at.post("rod-checks", level_body(at, staff, as_asked(pose), side, swing_deg=90.0))
    codes = {each["code"] for each in at.post("certificates", certificate(), 422)["errors"]}
    assert {"too-few-checks", "cell-empty"} <= codes, "what was read before the move is of another stand"


def test_a_swing_that_was_only_typed(job: Make) -> None:
    """The machine did not swing: the body leans as before."""
    at = job()
    zone(at)
    stayed = on_slope(4.6, -2.4, 1)
    body = level_body(at, 101.5 + stayed.height("left"), as_asked(stayed), "left", swing_deg=90.0)
    at.post("rod-checks", body)
    told = at.post("certificates", certificate(), 422)["errors"]
    assert [each["code"] for each in told] == ["swing-not-seen"]
    assert "anticlockwise" in told[0]["advice"]


def test_a_verdict_never_stands_beside_figures_that_pass(job: Make) -> None:
    at = job()
    zone(at)
    reached = at.post("certificates", certificate())["certificate"]["content"]["reached_m"]
    told = at.post("certificates", certificate(tolerance=reached - 0.0001))["certificate"]
    assert told["passed"] is False
    assert f"{1000 * reached:.1f} mm against {1000 * (reached - 0.0001):.1f} mm" in told["verdict"]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"tolerance": 30.0}, {"/tolerance": "out-of-range"}), ({"tolerance": 0.0}, {"/tolerance": "out-of-range"}),
        ({"tolerance": -0.03}, {"/tolerance": "out-of-range"}), ({"units": "mm"}, {"/units": "wrong-units"}),
        ({"near_to_percent": 85.0}, {"/near_to_percent": "range-swapped"}),
        ({"builder": ""}, {"/builder": "wrong-length"}), ({"customer": "a\nb"}, {"/customer": "wrong-form"}),
        ({"checks": [5]}, {"/checks": "unknown-field"}), ({"passed": True}, {"/passed": "unknown-field"}),
        ({"least_lean_deg": 0.0}, {"/least_lean_deg": "out-of-range"}),
    ],
)  # fmt: skip
def test_bad_requests(checked: JobDoer, change: Json, expected: dict[str, str]) -> None:
    assert checked.refused("certificates", certificate(**change), 422) == expected


def test_nan(client: Client, checked: JobDoer) -> None:
    problem = client.raw(f"{checked.path}/certificates", '{"tolerance": NaN, "near_to_percent": NaN}', 422)
    found = faults(problem, 422)
    assert found["/near_to_percent"] == "not-finite"
    assert "/tolerance" in found


def test_without_a_machine(job: Make) -> None:
    assert job().refused("certificates", certificate(), 409) == {"": "no-setup"}


def test_what_is_no_certificate(client: Client, checked: JobDoer) -> None:
    for seq in (1, 10**6):
        client.get(f"{checked.path}/certificates/{seq}", 404)
    client.get(f"{checked.path}/certificates/0", 422)
    client.get(f"{checked.path}/certificates/1?format=docx", 422)
    client.get("/v1/jobs/nowhere/certificates", 404)


def test_in_feet(client: Client, job: Make) -> None:
    at = job("ft")
    zone(at)
    told = at.post("certificates", certificate(tolerance=0.1, units="ft"))
    assert told["certificate"]["passed"] is True
    assert "0.100 ft" in told["certificate"]["rule"]
    answer = client.http.get(f"{at.path}/certificates/{told['seq']}?format=pdf")
    assert answer.content.startswith(b"%PDF")
