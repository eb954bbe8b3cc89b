"""Records at the seat beside the usual ones: known points, floor limits, rod checks, the receiver clamped elsewhere."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.service.api.doing import opened

from . import room, seat_room
from .seat_room import FOOTING_M, GONE, edge_at
from .view import View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.service.api.doing import JobDoer

TABLET = View((1280, 800))
_jobs = itertools.count(1)
BELOW = "document.querySelector('#floor').textContent.includes('BELOW THE FLOOR LIMIT')"


@pytest.fixture
def job(home: str) -> Iterator[JobDoer]:
    with seat_room.asking(home) as client:
        yield seat_room.begun(client, f"records-{next(_jobs)}")


def fill(page: Page, **labels: str) -> None:
    """Labels as they begin, "_" for a space."""
    for label, text in labels.items():
        page.locator("#slip label").filter(has_text=label.replace("_", " ")).locator(
            "input[type=text]:visible"
        ).fill(text)


@pytest.mark.parametrize("page", [TABLET], indirect=True, ids=str)
def test_a_known_point_and_a_line_below_it_whose_floor_limit_is_passed(page: Page, home: str) -> None:
    """A job without any point: both are declared at the seat, then dug to, too deep, and up again."""
    with seat_room.asking(home) as client:
        job = opened(client, "pointless")
        job.setup()
        with seat_room.machine(home, job) as machine:
            seat_room.seated(page, job.id)
            seat_room.press(page, "touch")
            page.locator("#slip").get_by_role("button", name="A known point").press("Enter")
            fill(page, Name="slab", Its_elevation="100", Its_standard="0.002")
            assert "standard uncertainty 0.002 m" in page.locator("#slip .says").inner_text()
            seat_room.write(page)
            seat_room.close(page)
            [point] = job.get()["points"]
            assert (point["elevation"]["shown"], point["uncertainty"]["shown"]) == ("100.000 m", "0.002 m")

            seat_room.record(page, "Add to the depth sheet")
            fill(page, Name="sump", Thickness="1.4", Overdig="0", Tolerance="0.03", Never_deeper="1.5")
            page.locator("#slip label").filter(has_text="Layer 1").locator("input").fill("all")
            assert "never deeper than 1.5 below slab" in page.locator("#slip .says").inner_text()
            assert "Floor limit at 98.500 m: it protects no pipe." in seat_room.write(page)
            seat_room.close(page)

            job.touch(seat_room.TOUCHED_M)
            page.locator("#sheet input[value=sump]").press("Space")
            for below, passed in ((1.3, False), (1.53, True), (1.4, False)):
                machine.stands(edge_at(below))
                seat_room.shows(page, seat_room.read(job, edge_at(below), "sump"))
                room.until(page, BELOW if passed else f"!{BELOW}")
            machine.stands(edge_at(1.53))
            room.until(page, BELOW)
            machine.quiet()
            room.until(page, f"{GONE} && !{BELOW}")


def test_only_figures_are_numbers(page: Page, job: JobDoer, watch: Watch) -> None:
    """Spellings of programs are no lengths of this trade: the service is told the text, and refuses it."""
    watch.expect("status of 422")
    seat_room.seated(page, job.id)
    seat_room.record(page, "A known point")
    for elevation in ("0x1F", "0b11", "1e2", "Infinity"):
        fill(page, Name="peg", Its_elevation=elevation)
        page.locator("#slip .write").click()
        page.locator("#slip .alert").get_by_text(f"'{elevation}'").wait_for()
    fill(page, Its_elevation="+99.5")
    seat_room.write(page)
    assert [each["elevation"]["m"] for each in job.get()["points"]] == [100.0, 99.5]


@pytest.mark.parametrize("page", [TABLET], indirect=True, ids=str)
def test_a_rod_check_is_recorded_where_it_is_asked_for(page: Page, home: str, job: JobDoer) -> None:
    dig = edge_at(FOOTING_M - 0.12)
    job.touch(seat_room.TOUCHED_M)
    with seat_room.machine(home, job, dig) as machine:
        seat_room.seated(page, job.id)
        seat_room.shows(page, seat_room.read(job, dig, "bottom of footing"))
        page.locator("#notices").get_by_role("button", name="Record a rod check").press("Enter")
        assert "hydraulics locked" in page.locator("#slip .says").inner_text()
        assert page.get_by_text("The job's own laser plane").is_hidden(), "none was struck"
        fill(page, Backsight="1.200")
        room.tab_to(page, "#slip .write")
        page.keyboard.press("Enter")
        page.locator("#slip .alert").get_by_text("Foresight: staff beside the edge: fill it in.").wait_for()
        # The staff on the slab reads 1.2, so beside an edge 1.3 m below it 2.5.
        fill(page, Foresight="2.500")
        machine.rested()
        told = seat_room.write(page)
        assert "Tool 98.700 m, staff 98.700 m." in told
        assert "bottom of footing: cut 0.120 m by the tool" in told
        seat_room.close(page)
        room.until(page, "!document.querySelector('#notices').textContent.includes('Rod check due')")
        [check] = job.get("daily-trust")["rod_checks"]
        assert (check["edge_point"], check["staff_by"], check["independent"]) == ("centre", "level", True)
        assert abs(check["difference"]["m"]) < 0.0006, "the pose is told to a millimetre"

        seat_room.record(page, "Rod check")
        page.locator("#slip input[value=elevation]").press("Space")
        assert page.locator("#slip label").filter(has_text="Foresight: ").is_hidden()
        fill(page, Elevation_by="98.090")
        told = seat_room.write(page)
        assert "far beyond" in told or "beyond" in told
        assert "Suspect: " in told, "0.610 m is two feet"
        page.locator("#slip").get_by_role("button", name="Undo entry").press("Enter")
        page.get_by_text("Which entry").wait_for()
        page.locator("#slip input[value='It did not happen']").press("Space")
        seat_room.write(page)
    assert [each["status"] for each in job.get("daily-trust")["rod_checks"]] == ["counts", "withdrawn"]


def test_a_strike_by_hand_brings_the_height_back(page: Page, home: str, job: JobDoer) -> None:
    """From a program with a receiver of its own, as the page takes none: what it gives, and its entry, are shown."""
    dig = edge_at(FOOTING_M - 0.12)
    job.touch(seat_room.TOUCHED_M)
    job.strike(2.6)
    job.move()
    with seat_room.machine(home, job, dig):
        seat_room.seated(page, job.id)
        room.until(page, f"{GONE} && document.querySelector('#because').textContent.includes('strike')")
        seq = job.strike(2.5)["seq"]
        seat_room.shows(page, seat_room.read(job, dig, "bottom of footing"))
        page.locator("#hangs").get_by_text(f"strike laser (entry {seq})").wait_for()


def test_the_receiver_clamped_elsewhere_voids_the_plane(page: Page, job: JobDoer, watch: Watch) -> None:
    job.touch(seat_room.TOUCHED_M)
    job.strike(2.6)
    assert job.get()["plane"] is not None
    seat_room.seated(page, job.id)
    seat_room.record(page, "Receiver clamped elsewhere")
    assert page.locator("#slip label").filter(has_text="Along the stick").is_hidden()
    page.locator("#slip input[value=place]").press("Space")
    fill(page, Along_the_stick="700", To_the_left="180", Up_where="260")
    assert "at 700, 180, 260 mm" in page.locator("#slip .says").inner_text()
    assert "Void now: laser plane" in seat_room.write(page)
    seat_room.close(page)
    assert job.get()["plane"] is None
    assert job.events()[-1]["payload"]["place_m"] == [0.7, 0.18, 0.26]
    seat_room.record(page, "Receiver clamped elsewhere")
    seat_room.write(page)
    assert job.events()[-1]["payload"]["place_m"] is None
