"""`import_stock`: a stock sheet becomes opening stock the first time and a count ever after."""

from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import CommandParser
from django.utils import timezone
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from api.management.base import SpanstockCommand, iso_moment, on_clock
from api.wire.stock_import import stock_import_json
from inventory.money import format_money
from inventory.queries.company import get_company
from inventory.services.stock_sheet import CountDifference, StockImport, import_stock
from inventory.units import format_millionths

# More codes than this say less than their number.
SHOWN_CODES = 12


class Command(SpanstockCommand):
    help = (
        "Take a stock sheet (CSV or XLSX), whole or not at all. A holding that the book has not seen is "
        "opening stock at its unit cost; any other is a count. Costs and prices are for one unit as the row "
        "writes its quantity."
    )
    is_posting = True

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="the sheet")
        parser.add_argument(
            "--at", type=iso_moment, help="when it was counted, such as 2026-03-31T17:30; now without"
        )
        parser.add_argument("--document", help="what the entries refer to; the file's name without")
        parser.add_argument("--dry-run", action="store_true", help="say what would be done and store nothing")

    def answer(self, options: dict[str, Any]) -> StockImport:
        company = get_company()
        moment = options["at"] or timezone.now()
        with self.progress() as report:
            return import_stock(
                path=options["file"],
                by=self.actor(),
                occurred_at=on_clock(moment, company.time_zone),
                document=options["document"] or Path(options["file"]).name,
                dry_run=options["dry_run"],
                report=report,
            )

    def to_json(self, answer: StockImport) -> Any:
        return stock_import_json(answer, currency=get_company().currency)

    def to_text(self, answer: StockImport) -> RenderableType:
        company = get_company()
        moment = answer.occurred_at.astimezone(ZoneInfo(company.time_zone))
        parts: list[RenderableType] = [
            Text(f"Stock sheet {answer.file}, as of {moment:%a %d %b %Y %H:%M %Z}", style="bold"),
            Text(_what_became_of_it(answer), style="dim"),
        ]
        if answer.is_repeat:
            # What it did then is no news, and would read as if it were done again.
            return Group(*parts, Text(_what_it_did_then(answer), style="dim"))
        parts += _introduced(answer)
        parts += _openings(answer, company.currency)
        parts += _counted(answer, company.currency)
        parts += [Text(f"\nLook at this: {sentence}.", style="bold") for sentence in answer.doubtful]
        if answer.ignored_headers:
            parts.append(Text(f"\nNot read: the columns {', '.join(answer.ignored_headers)}.", style="dim"))
        return Group(*parts)


def _what_became_of_it(answer: StockImport) -> str:
    rows = f"{answer.rows} {'row' if answer.rows == 1 else 'rows'}"
    if answer.is_dry_run:
        return f"{rows} read. This was a dry run: nothing was stored."
    if answer.is_repeat:
        return f"{rows} read. This sheet was taken before as of this moment: nothing was changed now."
    return f"{rows} taken."


def _what_it_did_then(answer: StockImport) -> str:
    holdings = sum(row.holdings for row in answer.openings)
    counted = answer.equal + len(answer.differences)
    differing = len(answer.differences)
    return f"It then opened {holdings} and counted {counted} holdings, {differing} with a difference."


def _introduced(answer: StockImport) -> list[RenderableType]:
    found = {noun: codes for noun, codes in answer.introduced.items() if codes}
    if not found:
        return []
    grid = Table.grid(padding=(0, 2))
    grid.add_column()
    grid.add_column(justify="right")
    grid.add_column()
    for noun, codes in found.items():
        more = f" and {len(codes) - SHOWN_CODES} more" if len(codes) > SHOWN_CODES else ""
        grid.add_row(noun, str(len(codes)), ", ".join(codes[:SHOWN_CODES]) + more)
    return [Text("\nNew here", style="bold"), Padding(grid, (0, 0, 0, 2))]


def _openings(answer: StockImport, currency: str) -> list[RenderableType]:
    if not answer.openings:
        return []
    grid = Table.grid(padding=(0, 2))
    grid.add_column()
    for _column in range(2):
        grid.add_column(justify="right", no_wrap=True)
    for row in answer.openings:
        amount = format_millionths(row.quantity, row.material.stock_unit)
        is_ours = row.owner.is_company
        worth = format_money(row.value, currency) if is_ours else f"of {row.owner.name}"
        places = f"in {row.holdings} {'row' if row.holdings == 1 else 'rows'}"
        grid.add_row(f"{row.material.name}, {places}", amount, worth)
    total = sum(row.value for row in answer.openings)
    grid.add_row("in all", "", format_money(total, currency), style="bold")
    return [Text("\nOpening stock", style="bold"), Padding(grid, (0, 0, 0, 2))]


def _counted(answer: StockImport, currency: str) -> list[RenderableType]:
    parts: list[RenderableType] = []
    count = len(answer.differences)
    if answer.equal or count:
        head = f"\nCounted: {answer.equal} as the book says, {count} not"
        parts.append(Text(head, style="bold"))
    parts += [Padding(_difference(row, currency), (0, 0, 0, 2)) for row in answer.differences]
    if count:
        total = sum(row.value for row in answer.differences)
        parts.append(Text(f"  in all {_signed_money(total, currency)}", style="bold"))
    for change in answer.moved:
        sentence = f"  {change.container} was found at {change.target_place}, not at {change.source_place}."
        parts.append(Text(sentence))
    if answer.not_on_sheet:
        one = answer.not_on_sheet == 1
        left = f"\n{answer.not_on_sheet} more {'holding lies' if one else 'holdings lie'} in these places"
        parts.append(Text(f"{left} by the book, not on the sheet: left as in the book.", style="dim"))
    return parts


def _difference(row: CountDifference, currency: str) -> RenderableType:
    unit = row.material.stock_unit
    where = f"{row.place}, {row.container}" if row.container else f"{row.place}"
    amount = format_millionths(abs(row.quantity), unit)
    word = "more" if row.quantity > 0 else "less"
    body = (
        f"{format_millionths(row.counted_quantity, unit)} found, "
        f"{format_millionths(row.book_quantity, unit)} in the book: {amount} {word}"
    )
    if not row.is_posted:
        body += "; a later count stands, so nothing was changed"
    elif row.owner.is_company:
        body += f", {_signed_money(row.value, currency)}"
    if row.is_large:
        where = f"Count again: {where}"
    return Group(
        Text(f"{where}: {row.material}", style="bold" if row.is_large else ""),
        Padding(Text(body), (0, 0, 0, 2)),
    )


def _signed_money(value: int, currency: str) -> str:
    return f"{'+' if value > 0 else ''}{format_money(value, currency)}"
