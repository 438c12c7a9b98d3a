"""Writing the input files as people have them: CSV of several kinds, XLSX, JSON."""

import csv
import io
import json
import re
import zipfile
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
    book.properties.created = MADE_AT
    written = io.BytesIO()
    book.save(written)
    path.write_bytes(_without_clock(written))


def _without_clock(written: io.BytesIO) -> bytes:
    """The same workbook without the moment of its writing, so that the same rows are the same file."""
    fixed = io.BytesIO()
    with zipfile.ZipFile(written) as source, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            body = source.read(name)
            if name == "docProps/core.xml":
                body = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2026-01-05T00:00:00Z", body)
            target.writestr(zipfile.ZipInfo(name, (2026, 1, 5, 0, 0, 0)), body)
    return fixed.getvalue()


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
