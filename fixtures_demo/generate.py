"""Makes the demo's input files: `python -m fixtures_demo.generate [FOLDER]`. The same files every time."""

import sys
from pathlib import Path
from typing import Any

from fixtures_demo.scenario import files, world
from fixtures_demo.scenario.days import EXTRACT, CrewDay, plan_days
from fixtures_demo.scenario.history import write_history
from fixtures_demo.scenario.opening import COLUMNS, open_stock
from fixtures_demo.scenario.routes import Run, Span, lay_out_runs
from fixtures_demo.scenario.stock import MILLION, Stock

HERE = Path(__file__).resolve().parent
STOCK_TAKE = "stock_take_june.csv"


def generate(folder: Path) -> None:
    """Write every input file into a folder."""
    runs = lay_out_runs()
    days = plan_days(runs)
    stock = Stock()
    sheets = open_stock(stock)
    north = [[row.get(column, "") for column in COLUMNS] for row in sheets["north"]]
    south = [[row.get(column, "") for column in COLUMNS] for row in sheets["south"]]
    files.write_csv(folder / "stock_opening.csv", COLUMNS, north)
    files.write_workbook(folder / "stock_south.xlsx", COLUMNS, south)
    _write_spans(folder, runs)
    _write_days(folder, days)
    files.write_lines(folder / "history.jsonl", write_history(stock, days).entries)
    _write_stock_take(folder, stock)
    files.write_json(folder / "company.json", describe_company())


def describe_company() -> dict[str, Any]:
    """Everything that no sheet can say, and in which order the files are taken."""
    return {
        "company": world.COMPANY,
        "today": world.TODAY.isoformat(),
        "suppliers": [{"code": code, "name": name} for code, name in world.SUPPLIERS.items()],
        "customers": [{"code": code, "name": name} for code, name in world.CUSTOMERS.items()],
        "places": world.PLACES,
        "stock": [
            {"file": "stock_opening.csv", "at": "2026-01-04T18:00:00-06:00", "document": "Opening, north"},
            {"file": "stock_south.xlsx", "at": "2026-01-04T18:00:00-06:00", "document": "Opening, south"},
        ],
        "estimating": {"fluid": "glide", "recovered_value_shares": {"glide-back": "0.6"}},
        "crews": [
            {"code": crew.code, "name": crew.name, "vehicle": crew.truck, "warehouse": f"{crew.yard}-yard"}
            for crew in world.CREWS
        ],
        "jobs": [
            {
                "reference": job.reference,
                "name": job.name,
                "customer": job.customer,
                "fibre": job.fibre,
                "fibre_owner": job.fibre_owner if job.fibre_owner == job.customer else "",
                "spans": job.file,
            }
            for job in world.JOBS
        ],
        "crew_days": "crew_days.csv",
        "history": "history.jsonl",
        "stock_take": {
            "file": STOCK_TAKE,
            "at": "2026-06-30T19:00:00-05:00",
            "document": "Stock-take of the north yard's fluid bay",
        },
        "show": {"crew": "crew-1", "date": "2026-07-01", "job": "MILLBROOK"},
    }


def _write_spans(folder: Path, runs: dict[str, list[Run]]) -> None:
    for job in world.JOBS:
        spans = [span for run in runs[job.reference] for span in run.spans]
        path = folder / job.file
        header: tuple[str, ...]
        if job.unit == "m":
            header = ("Span", "Size", "Length (m)", "From", "From kind", "To", "To kind", "Bends")
            rows = [_metric_row(span) for span in spans]
            files.write_csv(path, header, rows, delimiter=";", mark=True)
        elif job.file.endswith(".xlsx"):
            header = ("Run", "Span ID", "Cable Size", "Length", "Unit", "Near end", "Near kind", "Far end",
                      "Far kind", "Bends")  # fmt: skip
            files.write_workbook(path, header, [[span.run, *_span_row(span, "ft")] for span in spans])
        else:
            header = (
                "run",
                "span",
                "cable size",
                "length_ft",
                "near",
                "near kind",
                "far",
                "far kind",
                "bends",
            )
            files.write_csv(path, header, [[span.run, *_span_row(span)] for span in spans])


def _span_row(span: Span, *unit: str) -> list[str]:
    near, far = span.near, span.far
    ends = [near.name, near.kind, far.name, far.kind]
    return [span.name, span.size, str(span.length), *unit, *ends, str(span.bends)]


def _metric_row(span: Span) -> list[str]:
    near, far = span.near, span.far
    length = str(span.length).replace(".", ",")
    ends = [near.name, near.kind, far.name, far.kind]
    return [span.name, span.size.replace(".", "0,"), length, *ends, str(span.bends)]


def _write_days(folder: Path, days: list[CrewDay]) -> None:
    rows = []
    for day in days:
        for position, step in enumerate(day.steps, start=1):
            span = step.span.name if step.kind == EXTRACT and step.span is not None else ""
            run = "" if span else step.run.name
            rows.append(
                (day.date.isoformat(), day.crew.code, str(position), step.kind, step.run.job, span, run)
            )
    header = ("Date", "Crew", "Position", "Step", "Job", "Span", "Run")
    files.write_csv(folder / "crew_days.csv", header, rows)


def _write_stock_take(folder: Path, stock: Stock) -> None:
    """What stood in the north bay on the last evening; a drum has passed its test."""
    header = ("material", "place", "container", "contents state", "quantity", "unit")
    rows = []
    for label in [
        label for kind in ("FT-", "RT-", "RD-") for label in stock.containers_at("north-bay", kind)
    ]:
        material = "glide" if label.startswith("FT-") else "glide-back"
        held = round(stock.in_container(material, label) / MILLION, 1)
        state = "fit for use" if label == "RD-N1" else ""
        rows.append((material, "north-bay", label, state, f"{held:g}", "gal"))
    files.write_csv(folder / STOCK_TAKE, header, rows)


if __name__ == "__main__":
    generate(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
