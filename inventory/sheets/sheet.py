"""What every kind of file becomes: a header and rows of text, never held as a whole."""

import marshal
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from types import TracebackType
from typing import IO

from inventory.errors import BadInput, Fault

# The largest network delivered in one list has about 100,000 spans; twice that is still read in seconds.
MAX_ROWS = 200_000
MAX_COLUMNS = 256
# Nobody names a column longer than this; a longer header is ignored like any other that nobody asked for.
MAX_HEADER_CHARACTERS = 120
# A cell of a spreadsheet program holds no more characters than this.
MAX_CELL_CHARACTERS = 32_767
# 200,000 rows of 300 bytes; anything larger is not a list of spans or stock.
MAX_FILE_BYTES = 64 * 1024 * 1024
# Faults repeat the value they are about; more than this does not help to find it.
SHOWN_CHARACTERS = 80


class UnreadableSheet(BadInput):
    """The file as a whole cannot be read as a sheet."""

    code = "unreadable_sheet"


@dataclass(frozen=True, slots=True)
class Row:
    """One row as text, a cell per header. `numbers` are the positions whose cell was a typed number in the
    file.

    `line` is what a person looks for: the line of a text file, the row of a workbook, the number of a
    feature. `faults` are those of the row itself, found before any cell is understood.
    """

    line: int
    headers: tuple[str, ...]
    texts: tuple[str, ...]
    numbers: frozenset[int] = frozenset()
    faults: tuple[Fault, ...] = ()

    @property
    def cells(self) -> dict[str, str]:
        """The row by header. Columns without a header are left out; of two same ones the later shows."""
        return {header: text for header, text in zip(self.headers, self.texts, strict=True) if header}


@dataclass(frozen=True)
class Sheet:
    """A readable file. Iterating starts at the first row each time; close it, or use it in a `with`."""

    name: str
    header_line: int
    headers: tuple[str, ...]
    read_rows: Callable[[], Iterator[Row]]
    # Spreadsheet programs separate by semicolons where the comma is the decimal mark.
    is_separated_by_semicolons: bool = False
    close: Callable[[], None] = field(default=lambda: None)

    def __iter__(self) -> Iterator[Row]:
        return self.read_rows()

    def __enter__(self) -> "Sheet":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


class RowSpool:
    """Rows set down in a temporary file, for sources that are slow or impossible to read a second time."""

    def __init__(self) -> None:
        # Outlives this method; closing it removes it.
        self._file: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115
        self.count = 0

    def add(self, line: int, texts: Sequence[str], numbers: Sequence[int], faults: Sequence[Fault]) -> None:
        self.count += 1
        check_row_count(self.count)
        plain_faults = [(fault.pointer, fault.value, fault.message, fault.line) for fault in faults]
        # Only this process reads the file again, so marshal's lack of safety against forged data is no
        # matter.
        marshal.dump((line, list(texts), list(numbers), plain_faults), self._file)

    def read(self, headers: tuple[str, ...]) -> Iterator[Row]:
        """Yield the rows, each filled up to the width of the header."""
        self._file.seek(0)
        for _ in range(self.count):
            line, texts, numbers, faults = marshal.load(self._file)
            texts += [""] * (len(headers) - len(texts))
            yield Row(
                line, headers, tuple(texts), frozenset(numbers), tuple(Fault(*fault) for fault in faults)
            )

    def close(self) -> None:
        self._file.close()


def check_row_count(count: int) -> None:
    if count > MAX_ROWS:
        raise UnreadableSheet(f"the file has more than {MAX_ROWS} rows; split it and import the parts")


def check_headers(headers: Sequence[str]) -> tuple[str, ...]:
    """Return the headers without blanks at the end, or refuse a header that cannot be one."""
    tidy = [header.strip() for header in headers]
    while tidy and not tidy[-1]:
        tidy.pop()
    if len(tidy) > MAX_COLUMNS:
        raise UnreadableSheet(f"the header has {len(tidy)} columns; at most {MAX_COLUMNS} are read")
    return tuple(tidy)


def fit_to_header(
    texts: Sequence[str], headers: tuple[str, ...], line: int
) -> tuple[tuple[str, ...], list[Fault]]:
    """Give a row the width of the header; a cell beyond it, or an endless one, is a fault."""
    faults = []
    surplus = [text for text in texts[len(headers) :] if text.strip()]
    if surplus:
        message = (
            f"the row has {len(texts)} cells, the header {len(headers)}; "
            "a cell that holds the separator must stand in quotes"
        )
        faults.append(Fault("row", shorten(surplus[0]), message, line))
    fitted = list(texts[: len(headers)])
    fitted += [""] * (len(headers) - len(fitted))
    for header, text in zip(headers, fitted, strict=True):
        if len(text) > MAX_CELL_CHARACTERS:
            message = f"the cell has {len(text)} characters; at most {MAX_CELL_CHARACTERS} are read"
            faults.append(Fault(header, shorten(text), message, line))
    return tuple(fitted), faults


def shorten(text: str) -> str:
    """Return as much of a value as a message shows, in characters that every output can write."""
    text = text.encode("utf-8", "replace").decode()
    return text if len(text) <= SHOWN_CHARACTERS else f"{text[:SHOWN_CHARACTERS]}..."
