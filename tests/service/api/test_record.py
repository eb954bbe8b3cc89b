"""The as-dug record: all of it in every format, in the job's units; as far as the chain holds, and no further."""

import csv
import io
import json
import re
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from service.app import create_app
from service.book.record_file import broken_record, read_record
from service.settings import Settings
from tests.service.paper.reading import sheets_of, words_of

from .doing import Client, JobDoer, edge_at, opened

NASTY = '<script>alert("1")</script>'
CHINESE = "水泵房"


def get(job: JobDoer, wanted: str, status: int = 200, **headers: str) -> Any:
    answer = job.client.http.get(f"{job.path}/record{f'?format={wanted}' if wanted else ''}", headers=headers)
    assert answer.status_code == status, answer.text
    return answer


def rows(job: JobDoer) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(get(job, "csv").text)))


def squeezed(job: JobDoer) -> str:
    """The words of the PDF without spaces, since a line may break anywhere between them."""
    return re.sub(r"\s+", "", words_of(get(job, "pdf").content))


def dig(job: JobDoer, target: str = "footing", count: int = 3) -> JobDoer:
    job.touch(-1.62)
    job.target(target, 1.42)
    for i in range(count):
        job.post(
            "checks",
            {"target": target, "pose": edge_at(-3.04 + 0.01 * i), "units": job.units, "note": f"no. {i}"},
        )
    return job


@pytest.fixture
def pit(dug: JobDoer) -> JobDoer:
    """Checks 7 to 9, the last withdrawn, and a check of the benchmark."""
    dig(dug)
    dug.withdraw(9)
    dug.touch(-1.625, purpose="check")
    return dug


def test_json_is_every_entry_with_its_chain(pit: JobDoer) -> None:
    answer = get(pit, "json")
    assert answer.headers["content-type"] == "application/json"
    assert answer.headers["etag"] == '"11"'
    record = read_record(answer.text)
    found, head = broken_record(record)
    assert found is None
    assert head == record.head
    assert head is not None
    assert head.seq == 11
    listed = pit.events()
    assert [e.seq for e in record.events] == [e["seq"] for e in listed]
    assert [str(e.uuid) for e in record.events] == [e["uuid"] for e in listed]
    assert record.events[6].type == "check-taken"


def test_csv(pit: JobDoer) -> None:
    first, _, third = rows(pit)
    assert get(pit, "csv").text.startswith("entry,status,observed_utc,")
    assert (first["entry"], first["status"], first["target"], first["centre_word"]) == (
        "7",
        "counts",
        "footing",
        "on grade",
    )
    assert (first["centre_elevation_m"], first["centre_above_target_m"]) == ("98.580", "0.000")
    assert float(first["centre_elevation_unrounded_m"]) == pytest.approx(98.58, abs=1e-6)
    assert third["status"] == "withdrawn"
    assert third["note"] == "no. 2"
    assert first["hangs_on"] == "2 5 6"
    assert "stick -70.00" in first["pose_deg"]
    assert len(first["machine_revision"]) == 64


@pytest.mark.parametrize(
    ("units", "shown"), [("mm", "98580"), ("ft", "323.43"), ("ftUS", "323.42"), ("ftin", "323' 5 1/8\"")]
)
def test_units_stand_in_the_head(job: Callable[..., JobDoer], units: str, shown: str) -> None:
    other = dig(job(units).equipped(), count=1)
    [row] = rows(other)
    # 98.58 m is 323.4252 international, 323.4246 survey feet; feet and inches are given to a sixteenth.
    assert abs(float(row["centre_elevation_unrounded_m"]) - 98.58) < 1e-3
    assert row[f"centre_elevation_{units}"] == shown
    page, paper = get(other, "html").text, squeezed(other)
    escaped = shown.replace("'", "&#x27;").replace('"', "&quot;")
    assert f">{escaped}</td>" in page
    assert shown.replace(" ", "") in paper
    word = {
        "mm": "millimetres",
        "ft": "international feet",
        "ftUS": "US survey feet",
        "ftin": "feet, inches",
    }[units]
    assert word in page
    assert word.replace(" ", "") in paper


def test_page_and_paper_say_the_same(pit: JobDoer) -> None:
    page, paper = get(pit, "html").text, squeezed(pit)
    head = read_record(get(pit, "json").text).head
    state = pit.get()
    for told in (
        f"{head.seq}:{head.hash}", state["machine"]["revision"], state["attachment"]["revision"], "Checks by target",
        "Checks of footing", "Depth sheet", "Benchmarks", "Level book", "Misclosures that count",
        "\u22120.005 m at entry 11", "withdrawn", "tipdatum record verify FILE", "Check against a rod",
        "competent person", "hydraulics locked", "cave-in kills", "undermine", "inspected by", "boom", "2, 5, 6",
        "Long section of footing, setup 1: 3 checks", "Clopper", "not a safety function", "2 of 2, 100 %",
    ):  # fmt: skip
        in_page = told.replace("'", "&#x27;") in page.replace("\u00a0", " ")
        assert in_page, told
        assert told.replace(" ", "") in paper, told
    assert page.count("<img ") == 1
    assert sheets_of(get(pit, "pdf").content) >= 2


def test_a_page_may_load_nothing(pit: JobDoer) -> None:
    answer = get(pit, "html")
    policy = answer.headers["content-security-policy"]
    assert re.fullmatch(
        r"default-src 'none'; style-src 'sha256-\S+'; img-src data:; .*frame-ancestors 'none'", policy
    )
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["content-disposition"].startswith("inline")
    other = get(pit, "pdf")
    assert "style-src" not in other.headers["content-security-policy"]
    assert other.headers["content-disposition"] == f'attachment; filename="as-dug-{pit.id}.pdf"'


@pytest.mark.parametrize(
    ("accept", "kind"),
    [("text/html,application/xhtml+xml;q=0.9", "text/html"), ("application/pdf", "application/pdf"),
     ("text/csv", "text/csv"), ("*/*", "application/json"), ("", "application/json"), ("image/png", "application/json")],
)  # fmt: skip
def test_by_the_accept_header(pit: JobDoer, accept: str, kind: str) -> None:
    assert get(pit, "", accept=accept).headers["content-type"].startswith(kind)
    assert get(pit, "csv", accept=accept).headers["content-type"].startswith("text/csv")


def test_no_other_format(pit: JobDoer) -> None:
    assert get(pit, "docx", 422).json()["errors"][0]["code"] == "not-a-choice"


def test_names_are_inert_and_whole(job: Callable[..., JobDoer]) -> None:
    named = job(datum=NASTY).equipped()
    dig(named, NASTY, count=1)
    named.target(CHINESE, 1.0)
    named.target("=1+1", 1.0)
    named.post("checks", {"target": "=1+1", "pose": edge_at(-2.62), "units": "m", "note": "+cmd"})
    page = get(named, "html").text
    assert "<script" not in page
    assert page.count("&lt;script&gt;") >= 4
    assert CHINESE in page
    paper = squeezed(named)
    assert NASTY in paper
    assert "[U+6C34][U+6CF5][U+623F]" in paper
    assert "[U+6C34]" in paper
    row = rows(named)[-1]
    assert (row["target"], row["note"]) == ("'=1+1", "'+cmd")


def test_an_empty_record(job: Callable[..., JobDoer]) -> None:
    bare = job()
    assert broken_record(read_record(get(bare, "json").text))[0] is None
    assert rows(bare) == []
    page, paper = get(bare, "html").text, squeezed(bare)
    for told in (
        "no checks",
        "No check that counts was taken",
        "none on the job",
        "no target on the depth sheet",
        "No misclosure",
    ):
        assert told in page
        assert told.replace(" ", "") in paper


def test_verdicts(job: Callable[..., JobDoer]) -> None:
    sure = job(units="m", estimates={"contact_mm": 0.1}).equipped()
    sure.touch(-1.62)
    sure.target("footing", 1.42, tolerance=0.2)
    sure.post("checks", {"target": "footing", "pose": edge_at(-3.04), "units": "m"})
    assert '<div class="verdict"><b>surely within</b>' in get(sure, "html").text
    sure.post("checks", {"target": "footing", "pose": edge_at(-2.84), "units": "m"})
    assert '<div class="verdict open"><b>not sure</b>' in get(sure, "html").text
    sure.post("checks", {"target": "footing", "pose": edge_at(-2.54), "units": "m"})
    assert '<div class="verdict not"><b>surely beyond</b>' in get(sure, "html").text


def test_a_slope_is_drawn_along_its_stations(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.target("drain", 1.42, along_percent=-2.0)
    for at, height in ((0.0, -3.04), (2.0, -3.08)):
        dug.post("checks", {"target": "drain", "pose": edge_at(height), "units": "m", "station": at})
    page = get(dug, "html").text
    assert "Long section of drain: 2 checks" in page
    assert ">station</th>" in page
    assert ">2.000</td>" in page


def test_what_waits_is_told(pit: JobDoer) -> None:
    assert "wait for the seat" not in get(pit, "html").text


# A chain that does not hold


@pytest.fixture
def altered(tmp_path: Path) -> Iterator[Callable[[str], Any]]:
    """The answer of a service after a statement on its file."""
    with Client(create_app(Settings(data_folder=tmp_path))) as client:
        job = dig(opened(client, "pump-house", "m").equipped())

        def ask(statement: str) -> Any:
            with sqlite3.connect(tmp_path / "tipdatum.sqlite") as connection:
                connection.execute(statement)
            connection.close()
            return {each: get(job, each) for each in ("json", "csv", "html", "pdf")}

        yield ask


@pytest.mark.parametrize(
    ("statement", "seq"),
    [
        ("UPDATE event SET payload = replace(payload, '98.58', '98.57') WHERE seq = 7", 7),
        ("UPDATE event SET actor = 'another' WHERE seq = 4", 4),
        ("DELETE FROM event WHERE seq = 5", 5), ("DELETE FROM event WHERE seq = 9", 9),
        ("UPDATE event SET payload = 'x' WHERE seq = 8", 8),
    ],
)  # fmt: skip
def test_the_record_of_a_broken_chain_ends_before_it(
    altered: Callable[[str], Any], statement: str, seq: int
) -> None:
    """And says so, in every format: to be read by people, and to programs that hold it against itself."""
    told = altered(statement)
    said = f"can be read up to entry {seq - 1} only. At entry {seq}: "
    for each in told.values():
        assert each.headers["etag"] == f'"{seq - 1}"'
    record = read_record(told["json"].text)
    assert [each.seq for each in record.events] == list(range(1, seq))
    found, head = broken_record(record)
    assert head is None
    assert found is not None
    assert found.seq == seq
    *lines, last = list(csv.DictReader(io.StringIO(told["csv"].text)))
    assert (last["entry"], last["status"], last["target"]) == (str(seq), "not readable", "")
    assert said in last["note"]
    assert [int(each["entry"]) for each in lines] == [each for each in (7, 8, 9) if each < seq]
    assert said in told["html"].text
    assert f'<div class="verdict not"><b>ends at entry {seq - 1}</b>' in told["html"].text
    assert said.replace(" ", "") in re.sub(r"\s+", "", words_of(told["pdf"].content))


def test_of_a_log_without_a_first_entry_there_is_no_record(tmp_path: Path) -> None:
    with Client(create_app(Settings(data_folder=tmp_path))) as client:
        job = opened(client, "pump-house", "m").equipped()
        with sqlite3.connect(tmp_path / "tipdatum.sqlite") as connection:
            connection.execute("DELETE FROM event WHERE seq = 1")
        connection.close()
        for wanted in ("json", "csv", "html", "pdf"):
            assert get(job, wanted, 500).json()["type"] == "/guide/problems#log-damaged"


# Size


def test_many_checks_are_drawn_farthest_first(dug: JobDoer, monkeypatch: pytest.MonkeyPatch) -> None:
    from service.api import record_drawing  # noqa: PLC0415

    monkeypatch.setattr(record_drawing, "MOST_DRAWN", 2)
    dig(dug, count=4)
    assert "4 checks, the 2 farthest from the target drawn" in get(dug, "html").text


def test_the_record_as_it_is_read_stays_json(pit: JobDoer) -> None:
    told = json.loads(get(pit, "json").text)
    assert list(told) == [
        "kind",
        "version",
        "job",
        "written_utc",
        "written_by",
        "how_to_verify",
        "head",
        "events",
    ]
