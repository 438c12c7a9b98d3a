"""`manage.py pull_sheet --crew C --date D`: what the crew loads for the day."""

from typing import Any

from django.core.management.base import CommandParser
from rich.console import RenderableType

from api.management.base import SpanstockCommand, iso_date
from api.management.pull_sheet_text import lay_out_pull_sheet
from api.wire.papers.clipboard import PAPERS
from api.wire.papers.pull_sheet import make_pull_sheet_pdf
from api.wire.pull_sheets import pull_sheet_body
from jobs.queries.cut_lists import load_sheet_tags
from jobs.queries.pull_sheet import PullSheet, get_pull_sheet


class Command(SpanstockCommand):
    help = "The kit of a crew for a day: what to load, from where and why, what is short, and the cautions."

    file_formats = ("pdf",)

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--crew", required=True, help="the crew's code")
        parser.add_argument("--date", required=True, type=iso_date, help="the day, like 2026-03-31")
        parser.add_argument("--paper", choices=sorted(PAPERS), default="letter", help="of the PDF")

    def answer(self, options: dict[str, Any]) -> PullSheet:
        return get_pull_sheet(crew_code=options["crew"], date=options["date"])

    def to_json(self, answer: PullSheet) -> Any:
        return pull_sheet_body(answer)

    def to_text(self, answer: PullSheet) -> RenderableType:
        return lay_out_pull_sheet(answer)

    def to_file(self, answer: PullSheet, options: dict[str, Any]) -> bytes:
        return make_pull_sheet_pdf(answer, load_sheet_tags(answer), paper=options["paper"])
