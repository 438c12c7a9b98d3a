"""`manage.py pull_sheet --crew C --date D`: what the crew loads for the day."""

from typing import Any

from django.core.management.base import CommandParser
from rich.console import RenderableType

from api.management.base import SpanstockCommand, iso_date
from api.management.pull_sheet_text import lay_out_pull_sheet
from api.wire.pull_sheets import pull_sheet_body
from jobs.queries.pull_sheet import PullSheet, get_pull_sheet


class Command(SpanstockCommand):
    help = "The kit of a crew for a day: what to load, from where and why, what is short, and the cautions."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--crew", required=True, help="the crew's code")
        parser.add_argument("--date", required=True, type=iso_date, help="the day, like 2026-03-31")

    def answer(self, options: dict[str, Any]) -> PullSheet:
        return get_pull_sheet(crew_code=options["crew"], date=options["date"])

    def to_json(self, answer: PullSheet) -> Any:
        return pull_sheet_body(answer)

    def to_text(self, answer: PullSheet) -> RenderableType:
        return lay_out_pull_sheet(answer)
