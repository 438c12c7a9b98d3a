"""Labels as they are printed: read back out of the PDF, and the code to scan as it was drawn."""

from datetime import date
from io import BytesIO
from typing import Any

import pytest
import segno
from pypdf import PdfReader

from api.wire.papers.labels import print_labels
from inventory.queries.container_labels import ContainerLabel


def label(**more: Any) -> ContainerLabel:
    fields: dict[str, Any] = {
        "short_code": "1273-1",
        "name": "D-1",
        "kind": "drum",
        "says": "",
        "contents": ("Extraction fluid",),
        "lot": "",
        "capacity": 55_000_000,
        "unit": "[gal_us]",
        "on_date": date(2026, 3, 2),
        "dated": "received",
        "best_before": None,
        "owner": "",
        "is_hazardous": False,
        "cautions": (),
        **more,
    }
    return ContainerLabel(**fields)


def pages(*labels: ContainerLabel, paper: str = "a4") -> list[str]:
    return [page.extract_text() for page in PdfReader(BytesIO(print_labels(labels, paper=paper))).pages]


def test_print_labels_says_what_is_in_it_and_what_to_mind() -> None:
    [page] = pages(
        label(
            says="waste",
            is_hazardous=True,
            dated="waste since",
            lot="L-7",
            owner="Network Owner",
            cautions=("Keep it closed.",),
        )
    )
    for words in ("1273-1", "drum, D-1", "Extraction fluid", "WASTE, HAZARDOUS", "lot L-7", "holds 55 gal"):
        assert words in page
    assert "waste since 2026-03-02" in page
    assert "belongs to Network Owner" in " ".join(page.split())
    assert "Keep it closed." in page


def test_print_labels_leaves_out_what_is_not_known() -> None:
    [page] = pages(label(name="1273-1", capacity=None, on_date=None))
    assert "lot" not in page
    assert "holds" not in page
    assert "HAZARDOUS" not in page
    # A vessel whose label is its code says it once.
    assert page.count("1273-1") == 1


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_print_labels_puts_ten_on_a_page(paper: str) -> None:
    assert [page.count("1273-1") for page in pages(*[label()] * 11, paper=paper)] == [10, 1]


@pytest.mark.outside_check("ISO/IEC 18004 as drawn by segno 1.6; how known: computed in the test")
def test_print_labels_draws_the_code_that_is_read_back_as_its_digits() -> None:
    body = PdfReader(BytesIO(print_labels([label()], paper="a4"))).pages[0].get_contents()
    assert body is not None
    squares = body.get_data().count(b" re f")
    modules = sum(sum(row) for row in segno.make("12731", error="m", micro=False).matrix)
    # No hazard, no bar: every filled square is one of the code.
    assert squares == modules
