"""Reading the demo's input files without the project's own code, for arithmetic that is independent of it."""

import csv
import json
from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from openpyxl import load_workbook

FOLDER = Path(__file__).resolve().parents[2] / "fixtures_demo"
# 231 cubic inches of 0.0254 m (the US gallon) and 0.3048 m (the international foot), both exact.
LITRES_A_GALLON = Fraction("3.785411784")
METRES_A_FOOT = Fraction("0.3048")


def read_csv(name: str, delimiter: str = ",") -> list[dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, delimiter=delimiter))


def read_workbook(name: str, folder: Path = FOLDER) -> list[dict[str, Any]]:
    rows = load_workbook(folder / name).active.iter_rows(values_only=True)
    header = next(rows)
    return [dict(zip(header, row, strict=True)) for row in rows]


def read_history() -> list[dict[str, Any]]:
    with (FOLDER / "history.jsonl").open(encoding="utf-8") as file:
        return [json.loads(line) for line in file]


def read_opening() -> list[dict[str, Any]]:
    """The holdings of both opening sheets, without the rows that only introduce a material."""
    rows = [*read_csv("stock_opening.csv"), *read_workbook("stock_south.xlsx")]
    return [row for row in rows if row["place"]]


def quantity(amount: dict[str, str]) -> Fraction:
    """In gallons, feet, metres or pieces; litres are the only other unit the history uses."""
    value = Fraction(Decimal(amount["value"]))
    return value / LITRES_A_GALLON if amount["unit"] == "L" else value


def reversed_ids(history: list[dict[str, Any]]) -> set[str]:
    return {entry["reverses"] for entry in history if entry["kind"] == "reversal"}


def add_up_job(job: str, owner_of_spans: str = "") -> dict[str, dict[str, Fraction]]:
    """Of a job and all its runs and spans: what was drawn, returned and recovered, by material."""
    heads = (f"job:{job}", f"run:{job}:", f"span:{job}:")
    found: dict[str, dict[str, Fraction]] = defaultdict(lambda: defaultdict(Fraction))
    for entry in read_history():
        for line in entry.get("lines", []):
            if line["target"]["place"].startswith(heads):
                found[line["material"]]["drawn"] += quantity(line["amount"])
            if line.get("source", {}) and str(line["source"]["place"]).startswith(heads):
                found[line["material"]]["returned"] += quantity(line["amount"])
        if entry["kind"] == "field_report":
            _add_up_report(entry, job, found)
    return found


def _add_up_report(entry: dict[str, Any], job: str, found: dict[str, dict[str, Fraction]]) -> None:
    """What one crew told of a job; as much of the fresh fluid leaves the spans as came back."""
    for row in [*entry.get("attempts", []), *entry.get("losses", [])]:
        if row["span"]["job"] == job:
            found["glide"]["drawn"] += quantity(row.get("injected") or row["amount"])
    for row in entry.get("caught", []):
        if (row.get("run") or row["spans"][0])["job"] == job:
            found["glide"]["recovered"] += quantity(row["amount"])
    for material, amount, work in taken_off_the_truck(entry):
        if work["job"] == job:
            found[material]["drawn"] += amount
    for row in entry.get("blowings", []):
        if row["run"]["job"] == job:
            length = quantity(row["mark_start"]) - quantity(row["mark_end"])
            found[_fibre_on(row["reel"])]["drawn"] += length


def taken_off_the_truck(entry: dict[str, Any]) -> Iterator[tuple[str, Fraction, dict[str, str]]]:
    """Loose goods that a report says went into the work: material, how much, and which span or run."""
    for row in entry.get("pieces", []):
        yield row["material"], quantity(row["amount"]), row.get("span") or row["run"]
    for row in entry.get("cleanings", []):
        yield row["projectile"], Fraction(row["fired"]), row["run"]


@cache
def _fibre_on(reel: str) -> str:
    """What is on a reel: as the opening sheets have it, else as it was received."""
    for row in read_opening():
        if row["container"] == reel:
            return str(row["material"])
    received = (line for entry in read_history() for line in entry.get("lines", []))
    return next(str(row["material"]) for row in received if row["target"].get("container") == reel)
