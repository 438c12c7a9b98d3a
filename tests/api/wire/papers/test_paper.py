"""Paper that prints what it was given."""

import io
from datetime import UTC, datetime
from typing import Any

from pypdf import PdfReader

from api.wire.papers.paper import Paper


def read(paper: Paper) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(paper.to_pdf())).pages]


def make_paper(rows: int, **also: Any) -> Paper:
    paper = Paper(
        "Kit of crew <1> & co", "for tomorrow", printed_at=datetime(2026, 3, 2, 8, tzinfo=UTC), **also
    )
    paper.add_heading("Fluid")
    paper.add_table(["what", "how much"], [[f"row {n}", "5 gal"] for n in range(rows)], widths=[3, 1])
    return paper


def test_a_table_repeats_its_head_on_every_page_and_loses_no_row() -> None:
    pages = read(make_paper(150))
    assert len(pages) > 1
    assert all("how much" in page for page in pages)
    assert sum(page.count("5 gal") for page in pages) == 150


def test_signs_that_mean_something_to_the_library_are_printed_as_they_are() -> None:
    assert "Kit of crew <1> & co" in read(make_paper(1))[0]


def test_a_heading_goes_with_its_table_to_the_next_page() -> None:
    for rows in range(40, 60):
        paper = make_paper(rows)
        paper.add_heading("Lost and found")
        paper.add_table(["cause"], [["a spill"]], widths=[1])
        pages = read(paper)
        assert [("Lost and found" in page) == ("a spill" in page) for page in pages] == [True] * len(pages)


def test_the_same_content_is_the_same_file() -> None:
    assert make_paper(3).to_pdf() == make_paper(3).to_pdf()


def test_paper_is_letter_or_a4_and_on_its_side_where_it_is_wide() -> None:
    box = PdfReader(io.BytesIO(make_paper(1, paper="a4", is_wide=True).to_pdf())).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == (842, 595)


def test_every_page_says_its_number_and_how_many_there_are() -> None:
    pages = read(make_paper(150))
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "Kit of crew <1> & co" in page
