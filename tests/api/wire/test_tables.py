"""Tables for spreadsheets hold nothing that could run."""

import csv
import io

import pytest
from openpyxl import load_workbook

from api.wire.tables import neutralise, write_csv, write_workbook


@pytest.mark.outside_check(
    "OWASP, CSV injection: cells that begin with = + - @ tab, carriage return or line feed, or with these "
    "signs in full width; how known: from memory"
)
@pytest.mark.parametrize(
    "text",
    [
        "=1+1", "+1+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1",
        "\uff1d1+1", "\uff0b1", "\uff0d1", "\uff20SUM(A1)",
    ],
)  # fmt: skip
def test_neutralise_puts_an_apostrophe_before_what_could_be_a_formula(text: str) -> None:
    assert neutralise(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-12.50", "12", "a=b", "", "5-6"])
def test_neutralise_leaves_numbers_and_words_alone(text: str) -> None:
    assert neutralise(text) == text


def test_write_csv_can_be_read_back_with_every_sign() -> None:
    body = write_csv(["a", "b"], [['quote " and, comma', "line\nbreak"], ["Ö", "=x"]])
    assert body.startswith(b"\xef\xbb\xbf")
    rows = list(csv.reader(io.StringIO(body.decode("utf-8-sig"), newline="")))
    assert rows == [["a", "b"], ['quote " and, comma', "line\nbreak"], ["Ö", "'=x"]]


def test_write_workbook_keeps_numbers_as_numbers_and_codes_as_text() -> None:
    book = load_workbook(io.BytesIO(write_workbook("t", ["a"], [["-1.5"], ["007"], ["=1"], ["12"]])))
    assert [cell.value for cell in book.active["A"]] == ["a", -1.5, "007", "'=1", 12]
    assert book.active["A"][3].data_type == "s"


def test_files_hold_no_cell_that_begins_like_a_formula() -> None:
    rows = [[f"{sign}1+1"] for sign in "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"]
    text = write_csv(["a"], rows).decode("utf-8-sig")
    read = [row[0] for row in csv.reader(io.StringIO(text, newline=""))][1:]
    assert read == [f"'{row[0]}" for row in rows]
    cells = load_workbook(io.BytesIO(write_workbook("t", ["a"], rows))).active["A"][1:]
    assert {(cell.data_type, cell.value[0]) for cell in cells} == {("s", "'")}


def test_write_workbook_takes_any_title_and_any_text() -> None:
    book = load_workbook(io.BytesIO(write_workbook("cost-A/7:[b]?", ["a"], [["bell\x07"], ["\x0b=1"]])))
    assert book.active.title == "cost-A-7--b--"
    assert [cell.value for cell in book.active["A"]] == ["a", "bell", "'=1"]
