"""Workbooks: what cells hold, and archives made to hurt."""

import re
import struct
import zipfile
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from inventory.sheets import Column, FaultySheet, Row, Table, UnreadableSheet, read_sheet
from inventory.sheets import archive as archive_module
from inventory.sheets.workbook import write_value


def save(tmp_path: Path, rows: list[list[Any]], *, name: str = "spans.xlsx") -> Path:
    workbook = openpyxl.Workbook()
    for row in rows:
        workbook.active.append(row)
    path = tmp_path / name
    workbook.save(path)
    return path


def read(path: Path, **options: Any) -> list[Row]:
    with read_sheet(path, **options) as sheet:
        return list(sheet)


def rewrite(path: Path, part: str, change: Any) -> Path:
    """Write the workbook again with one part changed."""
    with zipfile.ZipFile(path) as source:
        parts = {info.filename: source.read(info) for info in source.infolist()}
    parts[part] = change(parts[part])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in parts.items():
            target.writestr(name, content)
    return path


SHEET = "xl/worksheets/sheet1.xml"


def test_read_sheet_writes_values_as_people_typed_them(tmp_path: Path) -> None:
    moment = datetime.fromisoformat("2026-08-07T13:30:00")
    values = ["S1", 412, 0.1 + 0.2, date(2026, 8, 7), moment, True, "00123", 1e21, -0.5]
    rows = read(save(tmp_path, [[f"c{number}" for number in range(len(values))], values]))
    assert list(rows[0].texts) == [
        "S1", "412", "0.3", "2026-08-07", "2026-08-07T13:30:00", "yes", "00123",
        "1000000000000000000000", "-0.5",
    ]  # fmt: skip
    assert rows[0].numbers == {1, 2, 7, 8}


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, ""), (False, "no"), (1.0, "1"), (2.675, "2.675"), (1e-7, "0.0000001"), (time(7, 30), "07:30:00")],
)
def test_write_value_shows_no_machine_digits(value: object, text: str) -> None:
    assert write_value(value) == text


def test_read_sheet_finds_the_kind_whatever_the_name(tmp_path: Path) -> None:
    path = save(tmp_path, [["Span"], ["S1"]])
    renamed = path.rename(tmp_path / "spans.csv")
    assert read(renamed)[0].texts == ("S1",)


def test_read_sheet_counts_rows_as_the_workbook_shows_them(tmp_path: Path) -> None:
    rows = read(save(tmp_path, [[], [], ["Span", "Length"], [], ["S1", 412], [None, "  "], ["S2", 98]]))
    assert [(row.line, row.texts) for row in rows] == [(5, ("S1", "412")), (7, ("S2", "98"))]


def test_read_sheet_reads_the_first_sheet_or_the_one_named(tmp_path: Path) -> None:
    workbook = openpyxl.Workbook()
    workbook.active.append(["Span"])
    workbook.active.append(["first"])
    other = workbook.create_sheet("Spans West")
    other.append(["Span"])
    other.append(["west"])
    path = tmp_path / "two.xlsx"
    workbook.save(path)
    assert read(path)[0].texts == ("first",)
    assert read(path, sheet_name="spans west")[0].texts == ("west",)
    with pytest.raises(UnreadableSheet, match="no sheet 'East'; it has 'Sheet', 'Spans West'"):
        read(path, sheet_name="East")


def test_read_sheet_takes_merged_cells_and_hidden_rows(tmp_path: Path) -> None:
    workbook = openpyxl.Workbook()
    for row in (["Span", "Note"], ["S1", "merged"], ["S2", None]):
        workbook.active.append(row)
    workbook.active.merge_cells("B2:B3")
    workbook.active.row_dimensions[3].hidden = True
    path = tmp_path / "merged.xlsx"
    workbook.save(path)
    assert [row.texts for row in read(path)] == [("S1", "merged"), ("S2", "")]


def test_read_sheet_reads_the_unit_a_number_format_shows(tmp_path: Path) -> None:
    workbook = openpyxl.Workbook()
    workbook.active.append(["Span", "Length"])
    workbook.active.append(["S1", 125.6])
    workbook.active["B2"].number_format = '0.0" m"'
    path = tmp_path / "format.xlsx"
    workbook.save(path)
    assert read(path)[0].texts == ("S1", "125.6 m")


def test_read_sheet_names_the_cell_of_a_formula_without_value(tmp_path: Path) -> None:
    path = save(tmp_path, [["Span", "Length (ft)"], ["S1", 412], ["S2", "=B2*2"], ["=A2", 98]])
    rows = read(path)
    faults = [fault for row in rows for fault in row.faults]
    assert [(fault.line, fault.pointer, fault.value) for fault in faults] == [
        (3, "Length (ft)", "=B2*2"),
        (4, "Span", "=A2"),
    ]
    assert "cell B3 is a formula whose value the file does not hold" in faults[0].message
    with read_sheet(path) as sheet, pytest.raises(FaultySheet) as caught:
        Table(sheet, [Column("span"), Column("length", dimension="length")]).read_all()
    assert len(caught.value.faults) == 2


def test_read_sheet_reads_the_value_a_formula_had(tmp_path: Path) -> None:
    path = save(tmp_path, [["Span", "Length"], ["S1", "=200+212"], ["S2", 98]])
    rewrite(path, SHEET, lambda xml: re.sub(rb"<v ?/>|<v></v>", b"<v>412</v>", xml, count=1))
    rows = read(path)
    assert [row.texts for row in rows] == [("S1", "412"), ("S2", "98")]
    assert not any(row.faults for row in rows)


def test_read_sheet_refuses_a_formula_for_a_column_name(tmp_path: Path) -> None:
    with pytest.raises(UnreadableSheet, match="cell B1 in the header is a formula"):
        read_sheet(save(tmp_path, [["Span", "=A1"], ["S1", 1]]))


def test_read_sheet_names_cells_that_show_an_error(tmp_path: Path) -> None:
    row = read(save(tmp_path, [["Span", "Length"], ["S1", "#N/A"]]))[0]
    assert [(fault.pointer, fault.value) for fault in row.faults] == [("Length", "#N/A")]


@pytest.mark.parametrize("rows", [[], [[None, None]], [["", "  "]]])
def test_read_sheet_refuses_an_empty_sheet(tmp_path: Path, rows: list[list[Any]]) -> None:
    with pytest.raises(UnreadableSheet, match="'Sheet' is empty"):
        read_sheet(save(tmp_path, rows))


def test_read_sheet_refuses_a_damaged_workbook(tmp_path: Path) -> None:
    path = save(tmp_path, [["Span"], ["S1"]])
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(UnreadableSheet, match="damaged"):
        read_sheet(path)
    path.write_bytes(whole)
    rewrite(path, SHEET, lambda xml: xml.replace(b"</row>", b"", 1))
    with pytest.raises(UnreadableSheet, match="cannot be read"):
        read_sheet(path)


def test_read_sheet_refuses_an_archive_that_is_no_workbook(tmp_path: Path) -> None:
    path = tmp_path / "photos.xlsx"
    with zipfile.ZipFile(path, "w") as target:
        target.writestr("photo.txt", "hello")
    with pytest.raises(UnreadableSheet, match="no XLSX workbook"):
        read_sheet(path)


def test_read_sheet_refuses_an_encrypted_archive(tmp_path: Path) -> None:
    path = save(tmp_path, [["Span"], ["S1"]])
    data = bytearray(path.read_bytes())
    at = data.find(b"PK\x01\x02")
    struct.pack_into("<H", data, at + 8, 0x1)
    path.write_bytes(bytes(data))
    with pytest.raises(UnreadableSheet, match="password"):
        read_sheet(path)


def test_read_sheet_refuses_entities(tmp_path: Path) -> None:
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "' + b"ha" * 50 + b'"><!ENTITY b "&a;&a;&a;">]>'
    path = save(tmp_path, [["Span"], ["S1"]])
    rewrite(path, SHEET, lambda xml: bomb + re.sub(rb"^<\?xml[^>]*\?>", b"", xml))
    with pytest.raises(UnreadableSheet, match="cannot be read"):
        read_sheet(path)


def write_bomb(path: Path, *, megabytes: int, piece: bytes) -> Path:
    """Write a workbook whose sheet unpacks to `megabytes`, a piece at a time."""
    save(path.parent, [["Span"], ["S1"]], name=path.name)
    with zipfile.ZipFile(path) as source:
        parts = {info.filename: source.read(info) for info in source.infolist()}
    head, _, tail = parts.pop(SHEET).partition(b"</sheetData>")
    block = piece * (1_000_000 // len(piece))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as target:
        for name, content in parts.items():
            target.writestr(name, content)
        with target.open(SHEET, "w", force_zip64=True) as part:
            part.write(head)
            for _ in range(megabytes):
                part.write(block)
            part.write(b"</sheetData>" + tail)
    return path


def test_read_sheet_refuses_a_workbook_that_unpacks_to_gigabytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_bomb(tmp_path / "bomb.xlsx", megabytes=2_100, piece=b"<row><c><v>1</v></c></row>")
    assert path.stat().st_size < 64 * 1024 * 1024

    def refuse_to_unpack(*_: object, **__: object) -> None:
        raise AssertionError("the bomb was opened")

    monkeypatch.setattr(zipfile.ZipFile, "open", refuse_to_unpack)
    with pytest.raises(UnreadableSheet, match="unpacks to more than 268 MB"):
        read_sheet(path)


def test_read_sheet_refuses_a_bomb_that_lies_about_its_size(tmp_path: Path) -> None:
    path = write_bomb(tmp_path / "liar.xlsx", megabytes=300, piece=b"<row><c><v>1</v></c></row>")
    data = bytearray(path.read_bytes())
    at = data.rfind(SHEET.encode()) - 46
    assert data[at : at + 4] == b"PK\x01\x02"
    struct.pack_into("<L", data, at + 24, 5_000)
    path.write_bytes(bytes(data))
    with pytest.raises(UnreadableSheet, match="damaged"):
        read_sheet(path)


def test_read_sheet_refuses_a_ratio_no_sheet_has(tmp_path: Path) -> None:
    path = save(tmp_path, [["Span"], ["S1"]])
    rewrite(path, SHEET, lambda xml: xml + b" " * 30_000_000)
    with pytest.raises(UnreadableSheet, match="more than 400 times its size"):
        read_sheet(path)


def test_read_sheet_refuses_one_endless_row(tmp_path: Path) -> None:
    path = write_bomb(tmp_path / "row.xlsx", megabytes=10, piece=b"<c><v>1</v></c>")
    with pytest.raises(UnreadableSheet, match="not a table that can be read"):
        read_sheet(path)


def test_read_sheet_refuses_more_rows_than_the_format_has(tmp_path: Path) -> None:
    path = write_bomb(tmp_path / "rows.xlsx", megabytes=8, piece=b"<row/>")
    with pytest.raises(UnreadableSheet, match="more than 1048576 rows"):
        read_sheet(path)


@pytest.mark.parametrize(
    ("limit", "value"), [("MAX_OTHER_BYTES", 100), ("MAX_OTHER_TAGS", 5), ("MAX_TEXTS", 1)]
)
def test_read_sheet_refuses_too_much_beside_the_rows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str, value: int
) -> None:
    path = save(tmp_path, [["Span"], ["S1"]])
    texts = b"<sst><si><t>Span</t></si><si><t>S1</t></si></sst>"
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("xl/hidden.xml", texts + b" " * 100)
    monkeypatch.setattr(archive_module, limit, value)
    with pytest.raises(UnreadableSheet, match="of the workbook is too large"):
        read_sheet(path)


def test_read_sheet_refuses_too_many_cells(tmp_path: Path) -> None:
    path = write_bomb(tmp_path / "cells.xlsx", megabytes=90, piece=b"<row>" + b"<c/>" * 200 + b"</row>")
    with pytest.raises(UnreadableSheet, match=r"sheet1.xml' of the workbook is too large"):
        read_sheet(path)


@pytest.mark.parametrize("size", [b"A1:A1", b"A1:XFD1048576"])
def test_read_sheet_does_not_trust_a_declared_size(tmp_path: Path, size: bytes) -> None:
    path = save(tmp_path, [["Span", "Note"], ["S1", "x"], ["S2", "y"]])
    rewrite(path, SHEET, lambda xml: re.sub(rb'ref="[^"]*"', b'ref="' + size + b'"', xml, count=1))
    assert [row.texts for row in read(path)] == [("S1", "x"), ("S2", "y")]


def test_check_archive_counts_each_row_once_across_pieces(tmp_path: Path) -> None:
    # A piece is 256 KiB; 2 MB of short rows put a tag on and around every border.
    piece = b"<row><c><v>1</v></c></row>"
    path = write_bomb(tmp_path / "count.xlsx", megabytes=2, piece=piece)
    assert archive_module.check_archive(path)[SHEET].row_count == 2 + 2 * (1_000_000 // len(piece))


def test_read_sheet_stops_at_a_row_beyond_the_format(tmp_path: Path) -> None:
    path = save(tmp_path, [["Span"], ["S1"], ["S2"]])
    rewrite(path, SHEET, lambda xml: xml.replace(b'r="3"', b'r="999999999999"').replace(b'r="A3"', b""))
    assert [row.texts for row in read(path)] == [("S1",)]
