"""Tables as files that open in a spreadsheet: CSV and workbooks, with nothing in them that could run.

A cell whose text begins like a formula gets an apostrophe before it, as the OWASP page on CSV injection
advises; numbers below zero stay numbers. The signs count in full width too: where such text is typed or read,
spreadsheets take them for the plain ones.
"""

import csv
import io
import re
from collections.abc import Sequence

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

FORMULA = re.compile("^[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
# What no name of a sheet may hold, and what no cell may.
NOT_IN_TITLES = re.compile(r"[\\*?:/\[\]]")
NOT_IN_CELLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
NUMBER = re.compile(r"^-?\d+(\.\d+)?$", re.ASCII)
LONGEST_TITLE = 31


def neutralise(text: str) -> str:
    """The text of a cell, made so that no spreadsheet takes it for a formula."""
    return f"'{text}" if FORMULA.match(text) and not NUMBER.match(text) else text


def write_csv(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    """A table as CSV in UTF-8 with a byte order mark, by which spreadsheets know it."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows([neutralise(cell) for cell in row] for row in rows)
    return text.getvalue().encode("utf-8-sig")


def write_workbook(title: str, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    """The same as a workbook of one sheet; what is a number is one, codes with leading zeros stay text."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet(NOT_IN_TITLES.sub("-", title)[:LONGEST_TITLE])
    sheet.freeze_panes = "A2"
    for number, heading in enumerate(headings, start=1):
        longest = max([len(heading), *(len(row[number - 1]) for row in rows[:500])])
        sheet.column_dimensions[get_column_letter(number)].width = min(max(longest + 2, 8), 48)
    head = []
    for heading in headings:
        cell = WriteOnlyCell(sheet, value=heading)
        cell.font = Font(bold=True)
        head.append(cell)
    sheet.append(head)
    for row in rows:
        sheet.append([_cell(text) for text in row])
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def _cell(text: str) -> str | float | int:
    if NUMBER.match(text) and not re.match(r"^-?0\d", text) and len(text) <= 15:
        return float(text) if "." in text else int(text)
    return neutralise(NOT_IN_CELLS.sub("", text))
