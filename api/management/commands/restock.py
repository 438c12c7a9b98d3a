"""`restock`: what to order, when, how much, from whom, and why."""

from typing import Any

from django.core.management.base import CommandParser
from rich.console import RenderableType

from api.management.base import SpanstockCommand, iso_date
from api.management.policy_replay_text import lay_out_replay, replay_json
from api.management.restock_text import lay_out_restock
from api.wire.restock import restock_json
from inventory.queries.company import get_company, get_today
from inventory.queries.places import get_place
from inventory.queries.policy_replay import ReplayReport, replay_policy
from inventory.queries.restock import RestockList, list_restock


class Command(SpanstockCommand):
    help = "What to order for the work that is planned: when it runs out, how much, from whom, and why."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--place", help="code of one warehouse; all of them without")
        parser.add_argument("--date", type=iso_date, help="as seen on this day; today without")
        parser.add_argument("--days", type=int, default=28, help="how far to look ahead (28)")
        parser.add_argument(
            "--service", type=float, default=0.95, help="wanted chance of not running short (0.95)"
        )

        parser.add_argument(
            "--replay",
            type=int,
            metavar="WEEKS",
            help="instead, live the last WEEKS through again with the policy and with a plain rule",
        )
        parser.add_argument(
            "--learn",
            type=int,
            default=26,
            metavar="WEEKS",
            help="weeks before the replay to learn from (26)",
        )

    def answer(self, options: dict[str, Any]) -> RestockList | ReplayReport:
        if options["replay"] is not None:
            return replay_policy(
                until=options["date"] or get_today(),
                place=get_place(options["place"]) if options["place"] else None,
                learnt_weeks=options["learn"],
                judged_weeks=options["replay"],
                target=options["service"],
            )
        return list_restock(
            as_of=options["date"] or get_today(),
            place=get_place(options["place"]) if options["place"] else None,
            horizon_days=options["days"],
            cover_days=min(14, max(1, options["days"])),
            service=options["service"],
        )

    def to_json(self, answer: RestockList | ReplayReport) -> Any:
        if isinstance(answer, ReplayReport):
            return replay_json(answer, get_company().currency)
        return restock_json(answer, currency=get_company().currency)

    def to_text(self, answer: RestockList | ReplayReport) -> RenderableType:
        if isinstance(answer, ReplayReport):
            return lay_out_replay(answer, get_company().currency)
        return lay_out_restock(answer, get_company().currency)
