"""Text files: commas, semicolons or tabs, in whichever encoding the program that wrote them left them."""

import codecs
import csv
import re
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import TextIO

from inventory.errors import Fault
from inventory.sheets.sheet import (
    MAX_FILE_BYTES,
    Row,
    Sheet,
    UnreadableSheet,
    check_headers,
    check_row_count,
    fit_to_header,
    shorten,
)

# In order of preference where a sample can be read with several: a comma also stands inside numbers.
SEPARATORS = ("\t", ";", ",")
SAMPLE_LINES = 40
# Longer than any row of 256 columns people type; a file without line ends is no sheet.
LONGEST_LINE = 1_000_000
CHUNK_BYTES = 1024 * 1024

_UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# Bytes to which Windows-1252 gives no character.
_NOT_WINDOWS = re.compile(rb"[\x81\x8d\x8f\x90\x9d]")
_SEPARATOR_LINE = re.compile(r"sep=(.)\s*", re.IGNORECASE)


def open_delimited(path: Path) -> Sheet:
    """Read the header of a text file and prepare to stream its rows."""
    encoding = find_encoding(path)
    with path.open(encoding=encoding, newline="") as file:
        sample = list(islice(_lines(file), SAMPLE_LINES))
    separator, first_line = _find_separator(sample)
    with path.open(encoding=encoding, newline="") as file:
        header = next(_records(file, separator, first_line), None)
    if header and header[2]:
        raise UnreadableSheet(f"line {header[0]}, which must name the columns: {header[2]}")
    headers = check_headers(header[1]) if header else ()
    if header is None or not headers:
        raise UnreadableSheet("the file is empty; the first row must name the columns")

    def read_rows() -> Iterator[Row]:
        with path.open(encoding=encoding, newline="") as opened:
            yield from _rows(opened, separator, first_line, headers)

    return Sheet(path.name, header[0], headers, read_rows, is_separated_by_semicolons=separator == ";")


def find_encoding(path: Path) -> str:
    """Tell the encoding by mark, then by whether all of it is UTF-8; Windows-1252 is what is left.

    The whole file is looked at, since one accented name may stand on the last line.
    """
    with path.open("rb") as file:
        start = file.read(4)
    if start.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise UnreadableSheet("the file is in UTF-32; save it as CSV in UTF-8")
    if start.startswith(_UTF16_MARKS):
        return "utf-16"
    return "utf-8-sig" if _is_utf8(path) else "cp1252"


def _is_utf8(path: Path) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    is_utf8 = True
    is_windows = True
    with path.open("rb") as file:
        while chunk := file.read(CHUNK_BYTES):
            if b"\0" in chunk:
                raise UnreadableSheet("the file holds NUL bytes; save it as CSV in UTF-8, or as XLSX")
            is_windows = is_windows and not _NOT_WINDOWS.search(chunk)
            is_utf8 = is_utf8 and _decodes(decoder, chunk, is_last=False)
    is_utf8 = is_utf8 and _decodes(decoder, b"", is_last=True)
    if not is_utf8 and not is_windows:
        raise UnreadableSheet("the file is neither UTF-8 nor Windows-1252 text; save it as CSV in UTF-8")
    return is_utf8


def _decodes(decoder: codecs.IncrementalDecoder, chunk: bytes, *, is_last: bool) -> bool:
    try:
        decoder.decode(chunk, is_last)
    except UnicodeDecodeError:
        return False
    return True


def _lines(file: TextIO) -> Iterator[str]:
    """Yield physical lines, never more than a bounded piece of the file at a time."""
    try:
        while line := file.readline(LONGEST_LINE + 1):
            if len(line) > LONGEST_LINE:
                raise UnreadableSheet(f"a line has more than {LONGEST_LINE} characters; is this a CSV file?")
            if "\0" in line:
                raise UnreadableSheet("the file holds NUL characters; save it as CSV in UTF-8, or as XLSX")
            yield line
    except UnicodeError as error:
        raise UnreadableSheet("the file breaks off inside a character; save it again as UTF-8") from error


def _find_separator(sample: list[str]) -> tuple[str, int]:
    """Return the separator and how many lines to leave out before the header.

    The separator is the one by which most of the first rows have as many cells as the header; quotes count.
    """
    said = _SEPARATOR_LINE.fullmatch(sample[0].lstrip("\ufeff")) if sample else None
    if said and said.group(1) in SEPARATORS:
        return said.group(1), 1
    best, best_score = ",", (0, 0)
    for separator in SEPARATORS:
        rows = [row for row in _sample_rows(sample, separator) if any(row)]
        width = len(rows[0]) if rows else 0
        score = (sum(len(row) == width for row in rows) if width > 1 else 0, width)
        if score > best_score:
            best, best_score = separator, score
    return best, 0


def _sample_rows(sample: list[str], separator: str) -> list[list[str]]:
    rows: list[list[str]] = []
    reader = csv.reader(sample, delimiter=separator)
    try:
        rows.extend(reader)
    except csv.Error:
        # A broken quote in the sample is reported with its line when the rows are read.
        return rows
    # The sample may end inside a quoted cell.
    return rows[:-1] if len(sample) == SAMPLE_LINES else rows


def _records(file: TextIO, separator: str, first_line: int) -> Iterator[tuple[int, list[str], str]]:
    """Yield (line, cells, what is wrong with the quotes) for each row that is not blank."""
    lines = _lines(file)
    for _ in range(first_line):
        next(lines, None)
    reader = csv.reader(lines, delimiter=separator, strict=True)
    while True:
        line = first_line + reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            if "limit" in str(error):
                raise UnreadableSheet(f"the quoted cell that begins on line {line} does not end") from error
            yield line, [], "a quote is opened or closed in the wrong place; write quotes inside a cell twice"
            continue
        if any(cells) and not all(cell.isspace() or not cell for cell in cells):
            yield line, cells, ""


def _rows(file: TextIO, separator: str, first_line: int, headers: tuple[str, ...]) -> Iterator[Row]:
    records = _records(file, separator, first_line)
    next(records, None)
    for count, (line, cells, complaint) in enumerate(records, start=1):
        check_row_count(count)
        texts, faults = fit_to_header(cells, headers, line)
        if complaint:
            faults.append(Fault("row", "", complaint, line))
        elif len(cells) < len(headers):
            message = f"the row has {len(cells)} cells, the header {len(headers)}"
            faults.append(Fault("row", shorten(separator.join(cells)), message, line))
        yield Row(line, headers, texts, faults=tuple(faults))


def check_file_size(path: Path) -> None:
    size = path.stat().st_size
    if size > MAX_FILE_BYTES:
        raise UnreadableSheet(
            f"the file has {size / 1e6:.0f} MB; at most {MAX_FILE_BYTES / 1e6:.0f} MB are read. "
            "Keep only the columns and rows that are needed, or split it"
        )
