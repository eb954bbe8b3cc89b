"""Acceptance certificates over the door: everything missing at once, the verdict, and printed again unchanged."""

import hashlib
from collections.abc import Callable

import pytest

from kinematics.acceptance import tolerance_factor
from service.book.record_file import broken

from .checking import SERIALS, certificate, level_body, on_slope, rod, touched, zone
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
    assert at.refused("certificates", certificate(checks=seqs), 422) == {"/checks/5": "check-void"}
    rest = [seq for seq in seqs if seq != seqs[5]]
    assert at.post("certificates", certificate(checks=rest))["certificate"]["passed"] is True


def test_checks_that_may_not_count(job: Make) -> None:
    at = job()
    seqs = zone(at)
    at.laser()
    at.strike(0.4)
    plane = at.post("rod-checks", {
        "edge_point": "centre", "pose": as_asked(on_slope(4.6, -2.0, 1)), "plane_reading": 2.4, "units": "m",
        "swing_deg": 0.0,
    })["seq"]  # fmt: skip
    told = at.refused("certificates", certificate(checks=[*seqs, plane, 2, 99, seqs[0]]), 422)
    assert told == {
        "/checks/36": "not-independent", "/checks/37": "unknown-check", "/checks/38": "unknown-check",
        "/checks/39": "given-twice",
    }  # fmt: skip
    at.post("attachment-changes", {"attachment": "digging-1500"})
    told = at.refused("certificates", certificate(checks=seqs[:20]), 422)
    assert told["/checks/0"] == "check-elsewhere"
    assert told["/serials/tilt"] == "no-such-sensor"


def test_a_swing_that_was_only_typed(job: Make) -> None:
    """The machine did not swing: the body leans as before."""
    at = job()
    seqs = zone(at)
    stayed = on_slope(4.6, -2.0, 1)
    origin = 100.0 + 1.5
    body = level_body(at, origin + stayed.height("left"), as_asked(stayed), "left", swing_deg=90.0)
    wrong = at.post("rod-checks", body)["seq"]
    told = at.post("certificates", certificate(checks=[*seqs, wrong]), 422)["errors"]
    assert [each["code"] for each in told] == ["swing-not-seen"]
    assert "anticlockwise" in told[0]["advice"]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"tolerance": 30.0}, {"/tolerance": "out-of-range"}), ({"tolerance": 0.0}, {"/tolerance": "out-of-range"}),
        ({"tolerance": -0.03}, {"/tolerance": "out-of-range"}), ({"units": "mm"}, {"/units": "wrong-units"}),
        ({"near_to_percent": 85.0}, {"/near_to_percent": "range-swapped"}),
        ({"builder": ""}, {"/builder": "wrong-length"}), ({"customer": "a\nb"}, {"/customer": "wrong-form"}),
        ({"checks": []}, {"/checks": "wrong-length"}), ({"passed": True}, {"/passed": "unknown-field"}),
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
