"""`set_up`: the company whose goods these are, once for an installation."""

import re
from dataclasses import dataclass
from typing import Any

from django.core.management.base import CommandParser
from rich.console import RenderableType

from api.management.base import SpanstockCommand
from inventory.models import Company
from inventory.services.company import find_or_set_up_company


@dataclass(frozen=True)
class _Answer:
    company: Company
    is_new: bool


class Command(SpanstockCommand):
    help = "Set this installation up for one company. A second time it changes nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True, help="the company's name")
        parser.add_argument("--code", help="its short code as an owner of goods; made of the name without")
        parser.add_argument("--currency", required=True, help="three letters, such as USD")
        parser.add_argument(
            "--time-zone", required=True, help="where its days begin, such as America/Chicago"
        )
        parser.add_argument("--metric", action="store_true", help="show litres and metres by default")

    def answer(self, options: dict[str, Any]) -> _Answer:
        return _Answer(
            *find_or_set_up_company(
                code=options["code"] or _make_code(options["name"]),
                name=options["name"],
                currency=options["currency"],
                time_zone=options["time_zone"],
                uses_metric=options["metric"],
            )
        )

    def to_json(self, answer: _Answer) -> Any:
        company = answer.company
        return {
            "code": company.party.code,
            "name": company.party.name,
            "currency": company.currency,
            "time_zone": company.time_zone,
            "uses_metric": company.uses_metric,
            "is_new": answer.is_new,
        }

    def to_text(self, answer: _Answer) -> RenderableType:
        company = answer.company
        units = "litres and metres" if company.uses_metric else "gallons and feet"
        facts = f"{company.party.name}, {company.currency}, {company.time_zone}, {units}"
        if answer.is_new:
            return f"Set up for {facts}.\nNext: `import_stock FILE` with what you hold."
        return f"This installation was set up before, for {facts}. Nothing was changed."


def _make_code(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:64] or "company"
