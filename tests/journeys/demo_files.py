"""Reading the demo's input files without the project's own code, for arithmetic that is independent of it."""

import csv
import json
from collections import defaultdict
from decimal import Decimal
from fractions import Fraction
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
        for caught in entry.get("caught", []):
            if caught["source"].startswith(heads):
                # As much of the fresh fluid leaves the span as came back.
                found["glide"]["recovered"] += quantity(caught["amount"])
    return found
