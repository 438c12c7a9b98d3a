"""`manage.py pull_sheet --crew C --date D`: what the crew loads for the day; or a whole warehouse's day."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from rich.console import RenderableType

from api.management.base import SpanstockCommand, iso_date
from api.management.kits_of_day_text import lay_out_kits_of_day
from api.management.pull_sheet_text import lay_out_pull_sheet
from api.wire.kits import kits_of_day_body
from api.wire.papers.paper import PAPERS
from api.wire.papers.pick_list import make_pick_list_pdf
from api.wire.papers.pull_sheet import make_pull_sheet_pdf
from api.wire.pull_sheets import pull_sheet_body
from inventory.queries.places import get_place
from jobs.queries.kits_of_day import KitsOfDay, get_kits_of_day
from jobs.queries.pull_sheet import PullSheet, get_pull_sheet
from jobs.services.kits.printing import print_kits_of_day

Answer = PullSheet | KitsOfDay


class Command(SpanstockCommand):
    help = (
        "The kit of a crew for a day: what to load, from where and why, what is short, and the cautions. "
        "With --warehouse all kits of a day side by side, and one list by bin."
    )

    file_formats = ("pdf",)

    def add_arguments(self, parser: CommandParser) -> None:
        whose = parser.add_mutually_exclusive_group(required=True)
        whose.add_argument("--crew", help="the crew's code")
        whose.add_argument("--warehouse", help="code of a warehouse: all kits that it gives out that day")
        parser.add_argument("--date", required=True, type=iso_date, help="the day, like 2026-03-31")
        parser.add_argument("--why", action="store_true", help="say of each number where it comes from")
        parser.add_argument("--paper", choices=sorted(PAPERS), default="letter", help="of the PDF")
        parser.add_argument(
            "--note-print",
            action="store_true",
            help="with --warehouse: keep the list as printed, so that later ones tell what has changed",
        )

    def answer(self, options: dict[str, Any]) -> Answer:
        self._with_reasons = options["why"]
        if options["crew"]:
            return get_pull_sheet(crew_code=options["crew"], date=options["date"])
        warehouse = get_place(options["warehouse"])
        if options["note_print"]:
            return print_kits_of_day(
                warehouse=warehouse, date=options["date"], by=self.actor(), occurred_at=timezone.now()
            )
        return get_kits_of_day(warehouse=warehouse, date=options["date"])

    def to_json(self, answer: Answer) -> Any:
        return kits_of_day_body(answer) if isinstance(answer, KitsOfDay) else pull_sheet_body(answer)

    def to_text(self, answer: Answer) -> RenderableType:
        if isinstance(answer, KitsOfDay):
            return lay_out_kits_of_day(answer)
        return lay_out_pull_sheet(answer, with_reasons=self._with_reasons)

    def to_file(self, answer: Any, options: dict[str, Any]) -> bytes:
        if isinstance(answer, KitsOfDay):
            return make_pick_list_pdf(answer, printed_at=timezone.localtime(), paper=options["paper"])
        return make_pull_sheet_pdf(answer, paper=options["paper"])
