"""How long and how much memory a list of 100,000 spans takes to read, by format.

Each file is read in a process of its own, since the peak of memory only ever counts up. Linux only.
"""

import csv
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import openpyxl

from inventory.sheets import Column, Table, read_sheet
from tests.benchmarks.measurement import Measurement

ROWS = 100_000
HEADER = ["Span ID", "Cable size", "LENGTH", "Bore (in)", "Seq", "Date built", "Note"]
COLUMNS = [
    Column("span_id"),
    Column("cable_size"),
    Column("length", dimension="length", is_positive=True),
    Column("bore_mm", ("bore",), dimension="length"),
    Column("sequence", ("seq",), kind="whole"),
    Column("date_built", kind="date"),
    Column("note"),
]


def make_rows() -> Iterator[list[str | int | float]]:
    for number in range(ROWS):
        length = f"{number % 900 + 50}' {number % 12}\"" if number % 3 else f"{number % 1000 + 0.5} m"
        yield [f"S{number:06d}", ".500", length, 0.452, number, "2026-05-01", "pole, then pedestal"]


def write_csv(path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEADER)
        writer.writerows(make_rows())


def write_xlsx(path: Path) -> None:
    workbook = openpyxl.Workbook(write_only=True)
    worksheet = workbook.create_sheet()
    worksheet.append(HEADER)
    for row in make_rows():
        worksheet.append(row)
    workbook.save(path)


def write_geojson(path: Path) -> None:
    geometry = {"type": "LineString", "coordinates": [[-90.0, 40.0], [-90.001, 40.0]]}
    features = (
        {"type": "Feature", "geometry": geometry, "properties": dict(zip(HEADER, row, strict=True))}
        for row in make_rows()
    )
    with path.open("w", encoding="utf-8") as file:
        file.write('{"type": "FeatureCollection", "features": [')
        file.writelines(("," if number else "") + json.dumps(each) for number, each in enumerate(features))
        file.write("]}")


def read(path: Path) -> None:
    """Read one file and print seconds and the process's peak megabytes; runs in a process of its own."""
    started = time.perf_counter()
    with read_sheet(path) as sheet:
        table = Table(sheet, COLUMNS)
        count = sum(1 for _ in table)
    table.raise_if_faulty()
    seconds = time.perf_counter() - started
    if count != ROWS:
        raise SystemExit(f"{count} rows were read instead of {ROWS}")
    print(seconds, peak_megabytes())


def peak_megabytes() -> float:
    # The resource module's figure survives exec and would be the starting process's where that was larger.
    status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    kilobytes = next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
    return int(kilobytes) / 1024


def main() -> list[Measurement]:
    measured = []
    with tempfile.TemporaryDirectory() as folder:
        for suffix, write in (("csv", write_csv), ("xlsx", write_xlsx), ("geojson", write_geojson)):
            path = Path(folder) / f"spans.{suffix}"
            write(path)
            command = [sys.executable, "-m", "tests.benchmarks.sheet_reading", str(path)]
            done = subprocess.run(command, check=True, capture_output=True, text=True)
            seconds, peak_mb = map(float, done.stdout.split())
            measured.append(Measurement(what=f"{suffix}, {ROWS} spans, time", value=seconds, unit="s"))
            measured.append(
                Measurement(what=f"{suffix}, {ROWS} spans, memory", value=peak_mb, unit="MB", at_most=500)
            )
    return measured


if __name__ == "__main__":
    read(Path(sys.argv[1]))
