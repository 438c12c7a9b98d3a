"""The look into a workbook's archive before anything in it is unpacked into memory.

A workbook is a ZIP of XML parts. A few kilobytes can unpack to gigabytes, a part can claim to be small and
not be, and a part can be small and still become millions of objects. So every part is unpacked once, a piece
at a time, into nothing, and counted.
"""

import re
import zlib
from dataclasses import dataclass
from pathlib import Path
from zipfile import BadZipFile, ZipFile, ZipInfo

from inventory.sheets.sheet import UnreadableSheet

# 200,000 rows of a dozen cells are about 120 MB of XML.
MAX_UNPACKED_BYTES = 256 * 1024 * 1024
# Text packs to a tenth, repeated rows to a hundredth; deflate itself cannot pass about 1,030.
MAX_RATIO = 400
RATIO_MATTERS_BYTES = 16 * 1024 * 1024
MAX_PARTS = 2_000
# Texts, styles and all else but the rows are held in memory as a whole. A sheet of 200,000 rows with five
# texts of its own in each has a million texts, four tags each.
MAX_OTHER_BYTES = 48 * 1024 * 1024
MAX_OTHER_TAGS = 4_000_000
MAX_TEXTS = 1_500_000
# The format's own limit of rows, and far more than a row of its 16,384 columns takes.
MAX_SHEET_ROWS = 1_048_576
MAX_ROW_BYTES = 4 * 1024 * 1024
# Five million cells, four tags each: 200,000 rows of 25 cells. Reading takes some five seconds a million.
MAX_SHEET_TAGS = 20_000_000

_CHUNK_BYTES = 256 * 1024
_OVERLAP_BYTES = 32
_TAGS = re.compile(rb"<(?:\w+:)?(row|f|si)[\s/>]")


@dataclass
class PartScan:
    """What was counted in one part while it was unpacked."""

    size: int = 0
    tag_count: int = 0
    row_count: int = 0
    text_count: int = 0
    has_formulas: bool = False
    last_row_at: int = 0


def check_archive(path: Path) -> dict[str, PartScan]:
    """Unpack every part into nothing, count, and refuse what would not fit into memory."""
    try:
        with ZipFile(path) as archive:
            parts = archive.infolist()
            _check_declared(parts)
            return _check_actual(archive, parts)
    except (BadZipFile, zlib.error, EOFError, NotImplementedError, OSError, ValueError) as error:
        raise UnreadableSheet(
            "the file looks like a workbook but its archive is damaged; save it again as XLSX or CSV"
        ) from error


def _check_declared(parts: list[ZipInfo]) -> None:
    if len(parts) > MAX_PARTS:
        raise UnreadableSheet(f"the workbook has {len(parts)} parts; at most {MAX_PARTS} are read")
    if any(part.flag_bits & 0x1 for part in parts):
        raise UnreadableSheet("the file is protected by a password; save it without one as XLSX or CSV")
    names = {part.filename for part in parts}
    if "[Content_Types].xml" not in names:
        raise UnreadableSheet("the file is an archive but no XLSX workbook; save the table as XLSX or CSV")
    _check_unpacked(sum(part.file_size for part in parts), sum(part.compress_size for part in parts))


def _check_unpacked(unpacked: int, packed: int) -> None:
    if unpacked > MAX_UNPACKED_BYTES:
        raise UnreadableSheet(
            f"the workbook unpacks to more than {MAX_UNPACKED_BYTES / 1e6:.0f} MB; "
            "keep only the sheet and columns that are needed, or save it as CSV"
        )
    if unpacked > RATIO_MATTERS_BYTES and unpacked > MAX_RATIO * max(packed, 1):
        raise UnreadableSheet(
            f"the workbook unpacks to more than {MAX_RATIO} times its size, as no sheet does; save it as CSV"
        )


def _check_actual(archive: ZipFile, parts: list[ZipInfo]) -> dict[str, PartScan]:
    total = 0
    scans = {}
    for part in parts:
        scan = _scan_part(archive, part, MAX_UNPACKED_BYTES - total)
        total += scan.size
        scans[part.filename] = scan
    return scans


def _scan_part(archive: ZipFile, part: ZipInfo, room: int) -> PartScan:
    """Unpack one part. A part is a sheet of rows by its place; anything else must be small."""
    scan = PartScan()
    has_rows = "worksheets/" in part.filename
    limit = room if has_rows else min(MAX_OTHER_BYTES, room)
    tag_limit = MAX_SHEET_TAGS if has_rows else MAX_OTHER_TAGS
    tail = b""
    # Reading to the end also compares the checksum, which a part longer than it claims to be cannot meet.
    with archive.open(part) as file:
        while chunk := file.read(_CHUNK_BYTES):
            scan.tag_count += chunk.count(b"<")
            _count_tags(scan, tail + chunk, scan.size - len(tail), len(tail))
            tail = chunk[-_OVERLAP_BYTES:]
            scan.size += len(chunk)
            if scan.size > limit or scan.tag_count > tag_limit:
                _refuse_part(part)
            if has_rows and scan.size - scan.last_row_at > MAX_ROW_BYTES + _CHUNK_BYTES:
                _refuse_row(scan)
            if has_rows and b"\0" in chunk:
                raise UnreadableSheet("the workbook is in UTF-16; save it again as XLSX or CSV")
    if scan.text_count > MAX_TEXTS:
        _refuse_part(part)
    return scan


def _count_tags(scan: PartScan, data: bytes, start: int, seen: int) -> None:
    """Count tags in a piece; those that end within the first `seen` bytes were counted before."""
    for tag in _TAGS.finditer(data):
        if tag.end() <= seen:
            continue
        name = tag.group(1)
        if name == b"row":
            scan.row_count += 1
            scan.last_row_at = start + tag.start()
        elif name == b"si":
            scan.text_count += 1
        else:
            scan.has_formulas = True
    if scan.row_count > MAX_SHEET_ROWS:
        _refuse_row(scan)


def _refuse_part(part: ZipInfo) -> None:
    raise UnreadableSheet(
        f"the part {part.filename!r} of the workbook is too large; "
        "keep only the rows and texts that are needed, or save it as CSV"
    )


def _refuse_row(scan: PartScan) -> None:
    raise UnreadableSheet(
        f"the sheet is not a table that can be read: more than {MAX_ROW_BYTES / 1e6:.0f} MB stand in one row "
        f"or there are more than {MAX_SHEET_ROWS} rows (near row {scan.row_count})"
    )
