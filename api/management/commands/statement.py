"""`manage.py statement JOB`: the materials and cost of a job."""

from typing import Any

from django.core.management.base import CommandParser
from rich.console import RenderableType

from api.management.base import SpanstockCommand
from api.management.statement_text import lay_out_statement
from api.wire.statements import statement_body
from jobs.queries.statement import Statement, get_statement


class Command(SpanstockCommand):
    help = "What a job drew, returned, used, recovered and lost, and what that cost, by material and by span."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("job", help="the job's reference")

    def answer(self, options: dict[str, Any]) -> Statement:
        return get_statement(options["job"])

    def to_json(self, answer: Statement) -> Any:
        return statement_body(answer)

    def to_text(self, answer: Statement) -> RenderableType:
        return lay_out_statement(answer)
