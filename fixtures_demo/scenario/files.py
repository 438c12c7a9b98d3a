"""Writing the input files as people have them: CSV of several kinds, XLSX, JSON."""

import csv
import io
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from openpyxl import Workbook

MADE_AT = datetime(2026, 1, 5)  # noqa: DTZ001 - a workbook's properties carry no zone


def write_csv(
    path: Path,
    header: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    delimiter: str = ",",
    mark: bool = False,
) -> None:
    """`mark` puts a byte order mark in front, as spreadsheets do."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\r\n" if mark else "\n")
    writer.writerow(header)
    writer.writerows(rows)
    path.write_bytes(text.getvalue().encode("utf-8-sig" if mark else "utf-8"))


def write_workbook(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(list(header))
    for row in rows:
        sheet.append([as_number(cell) for cell in row])
    book.properties.created = book.properties.modified = MADE_AT
    book.save(path)


def as_number(cell: object) -> object:
    """Numbers as numbers, as a spreadsheet has them; codes such as .500 stay text."""
    if not isinstance(cell, str) or not cell or cell.startswith("."):
        return cell or None
    try:
        return int(cell) if cell.isdigit() else float(cell)
    except ValueError:
        return cell


def write_json(path: Path, value: Any) -> None:
    path.write_text(json.dumps(value, indent=2) + "\n", encoding="utf-8")


def write_lines(path: Path, values: Iterable[Any]) -> None:
    """One JSON value a line."""
    lines = (json.dumps(value, separators=(",", ":")) for value in values)
    path.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
