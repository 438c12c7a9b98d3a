"""Opening a file by what it is, not by what it is called."""

from pathlib import Path

from inventory.sheets.delimited import check_file_size, open_delimited
from inventory.sheets.features import open_features
from inventory.sheets.sheet import Sheet, UnreadableSheet
from inventory.sheets.workbook import open_workbook

# What a file begins with when it is something else, and what to do about it.
_OTHER_KINDS = (
    (
        b"\xd0\xcf\x11\xe0",
        "the file is an old XLS workbook or one protected by a password; "
        "save it without password as XLSX or CSV",
    ),
    (b"%PDF", "the file is a PDF; export the table as XLSX or CSV"),
    (b"\x1f\x8b", "the file is compressed; unpack it first"),
    (b"<", "the file is a web page or XML; open it in a spreadsheet program and save it as XLSX or CSV"),
)


def read_sheet(path: str | Path, *, sheet_name: str | None = None) -> Sheet:
    """Open a CSV, XLSX or GeoJSON file; of a workbook the sheet named, else its first one."""
    place = Path(path)
    if not place.is_file():
        what = "it is not a plain file" if place.exists() else "there is no such file"
        raise UnreadableSheet(f"{place.name} cannot be read: {what}")
    check_file_size(place)
    with place.open("rb") as file:
        start = file.read(1024)
    if start.startswith(b"PK\x03\x04"):
        return open_workbook(place, sheet_name)
    text_start = start.removeprefix(b"\xef\xbb\xbf").lstrip()
    for beginning, advice in _OTHER_KINDS:
        if text_start.startswith(beginning):
            raise UnreadableSheet(advice)
    if text_start.startswith(b"{"):
        return open_features(place)
    return open_delimited(place)
