"""`manage.py statement JOB`: the materials and cost of a job."""

from typing import Any

from django.core.management.base import CommandParser
from rich.console import RenderableType

from api.management.base import SpanstockCommand
from api.management.cost_sheet_text import lay_out_cost_sheet
from api.wire.cost_sheets import cost_sheet_body
from api.wire.statements import statement_body
from jobs.queries.cost_sheet import CostSheet, make_cost_sheet
from jobs.queries.jobs import get_job


class Command(SpanstockCommand):
    help = (
        "What a job drew, returned, used, recovered and lost, what that cost, by material and by span, and "
        "why it differs from the estimate frozen when the job was approved."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("job", help="the job's reference")

    def answer(self, options: dict[str, Any]) -> CostSheet:
        return make_cost_sheet(get_job(options["job"]))

    def to_json(self, answer: CostSheet) -> Any:
        return {**statement_body(answer.statement), "cost_sheet": cost_sheet_body(answer)}

    def to_text(self, answer: CostSheet) -> RenderableType:
        return lay_out_cost_sheet(answer)
