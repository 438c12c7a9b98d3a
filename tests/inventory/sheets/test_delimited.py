"""Text files as programs and people leave them."""

import subprocess
import sys
from pathlib import Path

import pytest

from inventory.sheets import Row, UnreadableSheet, read_sheet
from inventory.sheets.delimited import LONGEST_LINE, find_encoding
from inventory.sheets.sheet import MAX_CELL_CHARACTERS, MAX_FILE_BYTES

SPANS = [["Span", "Length (ft)", "Note"], ["S1", "412", "näher am Mast"], ["S2", "98.5", "a, b; c"]]


def write(tmp_path: Path, content: str | bytes, *, encoding: str = "utf-8", name: str = "spans.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
    return path


def read(path: Path) -> list[Row]:
    with read_sheet(path) as sheet:
        return list(sheet)


def join(separator: str, end: str = "\r\n") -> str:
    rows = [[f'"{cell}"' if {",", ";"} & set(cell) else cell for cell in row] for row in SPANS]
    return "".join(separator.join(row) + end for row in rows)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_read_sheet_reads_every_encoding_separator_and_line_end(
    tmp_path: Path, encoding: str, separator: str, end: str
) -> None:
    path = write(tmp_path, join(separator, end), encoding=encoding)
    with read_sheet(path) as sheet:
        assert list(sheet.headers) == SPANS[0]
        rows = list(sheet)
    assert [list(row.texts) for row in rows] == SPANS[1:]
    assert [row.line for row in rows] == [2, 3]
    assert rows[0].cells == dict(zip(SPANS[0], SPANS[1], strict=True))
    assert not any(row.faults for row in rows)


def test_read_sheet_can_be_iterated_again(tmp_path: Path) -> None:
    with read_sheet(write(tmp_path, join(","))) as sheet:
        assert list(sheet) == list(sheet)


def test_find_encoding_looks_at_the_last_line_too(tmp_path: Path) -> None:
    plain = b"Span,Note\n" + b"S1,plain\n" * 200_000
    assert find_encoding(write(tmp_path, plain)) == "utf-8-sig"
    assert find_encoding(write(tmp_path, plain + b"S2,caf\xe9\n")) == "cp1252"


def test_find_encoding_takes_a_character_cut_at_a_chunk_border(tmp_path: Path) -> None:
    filler = b"x" * (1024 * 1024 - 1)
    assert find_encoding(write(tmp_path, filler + "é".encode() + b"\n")) == "utf-8-sig"
    assert find_encoding(write(tmp_path, filler + "é".encode()[:1])) == "cp1252"


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "the file is empty"),
        (b"\xef\xbb\xbf", "the file is empty"),
        (b"\n\r\n ,, \n", "the file is empty"),
        (b"Span,Length\nS1,\x00412\n", "NUL"),
        ("Span,Length\nS1,412\n".encode("utf-16-le"), "NUL"),
        ("Span\0,Length\n".encode("utf-16"), "NUL"),
        (b"\xff\xfeS\x00p\x00a", "breaks off inside a character"),
        ("Span\n".encode("utf-32"), "UTF-32"),
        (b"Span,Note\nS1,\x81\x8d\n", "neither UTF-8 nor Windows-1252"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 old", "old XLS workbook or one protected by a password"),
        (b"%PDF-1.7", "PDF"),
        (b"\x1f\x8b\x08", "compressed"),
        (b"  <html><table>", "web page"),
        (b'Span,"Length\nS1,412\n', "line 1, which must name the columns"),
    ],
)
def test_read_sheet_refuses_what_is_no_sheet(tmp_path: Path, content: bytes, reason: str) -> None:
    with pytest.raises(UnreadableSheet, match=reason) as caught:
        read(write(tmp_path, content))
    assert caught.value.code == "unreadable_sheet"


def test_read_sheet_refuses_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    for path, reason in ((tmp_path / "none.csv", "there is no such file"), (tmp_path, "not a plain file")):
        with pytest.raises(UnreadableSheet, match=reason):
            read_sheet(path)


def test_read_sheet_with_a_header_only_has_no_rows(tmp_path: Path) -> None:
    assert read(write(tmp_path, "Span,Length\n\n\n")) == []


def test_read_sheet_finds_the_separator_though_others_stand_in_cells(tmp_path: Path) -> None:
    with read_sheet(write(tmp_path, "Span;Length, ft;Size, name\nS1;412,5;a,b\nS2;3,1;c,d\n")) as sheet:
        assert sheet.headers == ("Span", "Length, ft", "Size, name")
        assert sheet.is_separated_by_semicolons
    with read_sheet(write(tmp_path, 'Span,"Length; ft\tx",Note\nS1,412,a;b\nS2,3,c\n')) as sheet:
        assert sheet.headers == ("Span", "Length; ft\tx", "Note")


def test_read_sheet_takes_the_separator_a_program_declares(tmp_path: Path) -> None:
    with read_sheet(write(tmp_path, "sep=;\r\nSpan;Length\r\nS1;412\r\n")) as sheet:
        assert sheet.headers == ("Span", "Length")
        assert sheet.header_line == 2
        assert [row.line for row in sheet] == [3]


def test_read_sheet_takes_a_single_column(tmp_path: Path) -> None:
    assert [row.cells for row in read(write(tmp_path, "Span\nS1\nS2"))] == [{"Span": "S1"}, {"Span": "S2"}]


def test_read_sheet_counts_lines_past_blanks_and_quoted_line_ends(tmp_path: Path) -> None:
    rows = read(write(tmp_path, 'Span,Note\n\n , \nS1,"two\nlines"\n\nS2,x\n'))
    assert [(row.line, row.texts) for row in rows] == [(4, ("S1", "two\nlines")), (7, ("S2", "x"))]


def test_read_sheet_names_ragged_rows_and_goes_on(tmp_path: Path) -> None:
    rows = read(write(tmp_path, "Span,Length\nS1\nS2,412,more\nS3,98,,\nS4,1\n"))
    messages = {row.line: [fault.message for fault in row.faults] for row in rows}
    assert "1 cells, the header 2" in messages[2][0]
    assert "3 cells, the header 2" in messages[3][0]
    assert messages[4] == messages[5] == []


def test_read_sheet_names_broken_quotes_and_goes_on(tmp_path: Path) -> None:
    rows = read(write(tmp_path, 'Span,Length\n"S1"x,412\nS2,98\n"S3,1\n'))
    assert [(row.line, bool(row.faults)) for row in rows] == [(2, True), (3, False), (4, True)]
    assert "write quotes inside a cell twice" in rows[0].faults[0].message


def test_read_sheet_keeps_inch_marks_that_open_no_cell(tmp_path: Path) -> None:
    rows = read(write(tmp_path, 'Span,Length\nS1,412\'6"\nS2,"412\'6"""\n'))
    assert [row.texts[1] for row in rows] == ["412'6\"", "412'6\""]


def test_read_sheet_names_an_endless_cell(tmp_path: Path) -> None:
    row = read(write(tmp_path, f"Span,Note\nS1,{'x' * (MAX_CELL_CHARACTERS + 1)}\n"))[0]
    assert "at most 32767" in row.faults[0].message
    assert len(row.faults[0].value) < 100


def test_read_sheet_refuses_an_unclosed_quote_without_reading_on(tmp_path: Path) -> None:
    with pytest.raises(UnreadableSheet, match="quoted cell that begins on line 2 does not end"):
        read(write(tmp_path, 'Span,Note\nS1,"' + "x\n" * 100_000))


def test_read_sheet_refuses_a_line_without_end(tmp_path: Path) -> None:
    with pytest.raises(UnreadableSheet, match="a line has more than"):
        read(write(tmp_path, b"x" * (LONGEST_LINE + 1)))


def test_read_sheet_refuses_too_many_columns(tmp_path: Path) -> None:
    with pytest.raises(UnreadableSheet, match="at most 256"):
        read(write(tmp_path, ",".join(f"c{number}" for number in range(300))))


def test_read_sheet_refuses_too_many_rows(tmp_path: Path) -> None:
    with pytest.raises(UnreadableSheet, match="more than 200000 rows; split it"):
        read(write(tmp_path, b"Span\n" + b"x\n" * 200_001))


def test_read_sheet_refuses_a_file_that_is_too_large(tmp_path: Path) -> None:
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(MAX_FILE_BYTES + 1)
    with pytest.raises(UnreadableSheet, match="at most 67 MB"):
        read_sheet(path)


def test_read_sheet_never_evaluates_what_looks_like_a_formula(tmp_path: Path) -> None:
    texts = ["=1+1", "+1", "-1", "@SUM(A1)", "=cmd|'/c x'!A0"]
    rows = read(write(tmp_path, "Span,Note\n" + "".join(f"S1,{text}\n" for text in texts)))
    assert [row.texts[1] for row in rows] == texts


LARGE_FILE = """
import resource, sys, tracemalloc
from inventory.sheets import Column, Table, read_sheet
columns = [Column("span"), Column("length", dimension="length"), Column("note", max_length=1000)]
tracemalloc.start()
with read_sheet(sys.argv[1]) as sheet:
    table = Table(sheet, columns)
    rows = sum(1 for record in table)
table.raise_if_faulty()
print(rows, tracemalloc.get_traced_memory()[1])
"""


def test_a_file_of_fifty_megabytes_streams_in_bounded_memory(tmp_path: Path) -> None:
    path = tmp_path / "large.csv"
    with path.open("w") as file:
        file.write("Span,Length (ft),Note\n")
        for number in range(25_000):
            file.write(f"S{number},{number % 900 + 1},{'x' * 1000}\n" if number % 2 else f"S{number},1,y\n")
        file.write(f"last,1,{'z' * 900}\n" * 41_500)
    assert path.stat().st_size > 50_000_000
    run = subprocess.run(
        [sys.executable, "-c", LARGE_FILE, str(path)], check=True, capture_output=True, text=True
    )
    rows, peak_bytes = map(int, run.stdout.split())
    assert rows == 66_500
    assert peak_bytes < 20_000_000
