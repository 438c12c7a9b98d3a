"""The printed sheet says what the sheet says, grouped by where it is used, on either paper."""

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader

from api.wire.papers.clipboard import ScanCode
from api.wire.papers.paper import PAPERS
from api.wire.papers.pull_sheet import make_pull_sheet_pdf
from inventory.models import Container
from inventory.short_codes import make_short_code
from jobs.queries.pull_sheet import PullSheet, get_pull_sheet
from tests.factories.jobs import DAY
from tests.factories.kits import SmallDay, make_fitting, make_small_day

pytestmark = pytest.mark.django_db


@pytest.fixture
def small() -> SmallDay:
    small = make_small_day()
    small.drum("D-1", 55)
    small.reel("F-1", 3000)
    for label in ("E-1", "E-2"):
        small.vessel(label)
    for role in ("pressure_end", "exit_end", "union"):
        small.pieces(make_fitting(role), 4)
    return small


def read_pages(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def make_pages(sheet: PullSheet, paper: str = "a4") -> list[str]:
    return read_pages(make_pull_sheet_pdf(sheet, paper=paper))


def test_make_pull_sheet_pdf_groups_by_where_things_are_used(small: SmallDay) -> None:
    text = "\n".join(make_pages(get_pull_sheet(crew_code="north", date=DAY)))
    places = [text.index(f"\n{group}\n") for group in ("Pressure end", "Exit end", "Cleaning", "Blowing")]
    assert places == sorted(places)
    assert places[0] < text.index("D-1") < places[1] < text.index("E-1") < places[2]
    assert places[3] < text.index("F-1")


def test_make_pull_sheet_pdf_has_every_line_with_its_reason_behind_all(small: SmallDay) -> None:
    sheet = get_pull_sheet(crew_code="north", date=DAY)
    *front, last = make_pages(sheet)
    assert last.count("Why so much") == 1
    assert len(sheet.lines) > 5
    for line in sheet.lines:
        assert line.title in " ".join(front)
        assert line.why.split(";")[0][:30] in last.replace("\n", " ")


def test_make_pull_sheet_pdf_has_a_short_code_for_each_container(small: SmallDay) -> None:
    text = "\n".join(make_pages(get_pull_sheet(crew_code="north", date=DAY)))
    for label in ("D-1", "E-1", "F-1"):
        assert make_short_code(Container.objects.get(label=label).pk) in text


def test_make_pull_sheet_pdf_shows_every_caution_once(small: SmallDay) -> None:
    sheet = get_pull_sheet(crew_code="north", date=DAY)
    text = " ".join(make_pages(sheet)).replace("\n", " ")
    for caution in sheet.cautions:
        assert text.count(caution[:40]) == 1, caution
    assert text.index("Never feel for a leak") > text.index("Pressure end")


def test_make_pull_sheet_pdf_gives_cuts_with_their_marks(small: SmallDay) -> None:
    Container.objects.filter(label="F-1").update(
        outer_mark=10_000_000_000, inner_mark=13_000_000_000, mark_unit="[ft_i]"
    )
    sheet = get_pull_sheet(crew_code="north", date=DAY)
    cut = sheet.cut_lists[0].cuts[0]
    assert (cut.title, cut.length) == ("Blow run R1", "1132.2 ft")
    assert (cut.mark_from, cut.mark_to) == ("10000 ft", "11132.2 ft")
    assert "11132.2 ft" in " ".join(make_pages(sheet))


def test_make_pull_sheet_pdf_leaves_room_for_marks_nobody_knows(small: SmallDay) -> None:
    text = " ".join(make_pages(get_pull_sheet(crew_code="north", date=DAY)))
    assert text.count("read: ____") == 2


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_make_pull_sheet_pdf_is_the_same_each_time_on_its_paper(small: SmallDay, paper: str) -> None:
    sheet = get_pull_sheet(crew_code="north", date=DAY)
    made = [make_pull_sheet_pdf(sheet, paper=paper) for _ in range(2)]
    assert made[0] == made[1]
    page = PdfReader(io.BytesIO(made[0])).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(PAPERS[paper], abs=1)


def test_make_pull_sheet_pdf_takes_whatever_people_call_their_things(small: SmallDay) -> None:
    sheet = get_pull_sheet(crew_code="north", date=DAY)
    odd = replace(sheet.lines[0], title="<b>Ж & \u0000 </para>", why="x" * 3000)
    pages = make_pages(replace(sheet, lines=[odd, *sheet.lines[1:]], crew_name="Жук <i>"))
    text = " ".join(pages)
    assert "<b>" in text
    assert "</para>" in text


@pytest.mark.outside_check(
    "ISO/IEC 18004: a code has finder patterns of seven modules in three corners; how known: from memory"
)
def test_scan_code_is_a_qr_code() -> None:
    rows = ScanCode("0042-7")._rows
    side = len(rows)
    assert side == 21 + 4
    finder = [1, 1, 1, 1, 1, 1, 1]
    for top, left in ((2, 2), (2, side - 9), (side - 9, 2)):
        assert [int(cell) for cell in rows[top][left : left + 7]] == finder
    assert [int(cell) for cell in rows[side - 3][side - 9 : side - 2]] != finder
