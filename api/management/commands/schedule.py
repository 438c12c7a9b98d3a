"""`manage.py schedule list | import FILE | move`: who does what on which day."""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from rich.console import Group, RenderableType
from rich.text import Text

from api.management.base import SpanstockCommand, iso_date
from api.management.pull_sheet_text import lay_out_steps
from api.wire.pull_sheets import crew_day_body
from api.wire.taken_lists import schedule_import_json
from inventory.queries.company import get_today
from jobs.queries.pull_sheet import PlannedCrewDay
from jobs.queries.schedule import list_schedule
from jobs.services.schedule import MovedStep, ScheduleImport, import_schedule, move_step


@dataclass(frozen=True)
class _Listing:
    """The days of a list, and what was asked for, so that an empty list can say of what it is empty."""

    days: list[PlannedCrewDay]
    from_date: date
    to_date: date | None
    crew_code: str


class Command(SpanstockCommand):
    help = "Who does what on which day: list it, take it from a file, or move a step."
    is_posting = True

    def has_posted(self, options: dict[str, Any]) -> bool:
        return bool(options["action"] != "list")

    def add_arguments(self, parser: CommandParser) -> None:
        actions = parser.add_subparsers(dest="action", required=True, metavar="list | import | move")
        listing = actions.add_parser("list", help="what is planned")
        listing.add_argument("--from", dest="from_date", type=iso_date, help="first day; today if not given")
        listing.add_argument("--to", dest="to_date", type=iso_date, help="last day; all if not given")
        listing.add_argument("--crew", default="", help="code of one crew")
        taking = actions.add_parser("import", help="take crew-days from CSV or XLSX, all or nothing")
        taking.add_argument("file", help="the list of crew-days")
        taking.add_argument(
            "--create-crews",
            action="store_true",
            help="set up crews that are not known yet from the vehicle and warehouse their rows name",
        )
        moving = actions.add_parser("move", help="move a step to another day or crew")
        moving.add_argument("--crew", required=True, help="code of the crew that has the step")
        moving.add_argument("--date", required=True, type=iso_date, help="day the step is planned on")
        moving.add_argument("--position", required=True, type=int, help="the step's number on that day")
        moving.add_argument("--to-date", required=True, type=iso_date, help="day it goes to")
        moving.add_argument("--to-crew", default="", help="crew it goes to; the same if not given")
        moving.add_argument("--to-position", type=int, help="number it gets; the last if not given")
        for action in (listing, taking, moving):
            action.add_argument(
                "--format",
                choices=["text", "json"],
                default=argparse.SUPPRESS,
                help="text for people, json for programs",
            )

    def answer(self, options: dict[str, Any]) -> Any:
        if options["action"] == "list":
            return _list(options["from_date"] or get_today(), options["to_date"], options["crew"])
        if options["action"] == "import":
            return import_schedule(
                path=options["file"],
                by=self.actor(),
                occurred_at=timezone.now(),
                may_create_crews=options["create_crews"],
            )
        return move_step(
            crew_code=options["crew"],
            date=options["date"],
            position=options["position"],
            to_date=options["to_date"],
            to_crew_code=options["to_crew"],
            to_position=options["to_position"],
            by=self.actor(),
            occurred_at=timezone.now(),
        )

    def to_json(self, answer: Any) -> Any:
        if isinstance(answer, ScheduleImport):
            return schedule_import_json(answer)
        if isinstance(answer, MovedStep):
            day = answer.step.crew_day
            return {
                "crew": day.crew.code,
                "date": day.date.isoformat(),
                "position": answer.step.position,
                "title": answer.title,
                "warnings": list(answer.warnings),
            }
        return [crew_day_body(day) for day in answer.days]

    def to_text(self, answer: Any) -> RenderableType:
        if isinstance(answer, ScheduleImport):
            until = f" to {answer.last_date}" if answer.last_date != answer.first_date else ""
            said = f"{answer.steps} steps on {answer.days} crew-days taken, {answer.first_date}{until}."
            if answer.done_steps:
                said += f" Steps done: {answer.done_steps}."
            if answer.new_crews:
                said += f" New crews: {', '.join(answer.new_crews)}."
            if answer.ignored_headers:
                said += f" Columns not used: {', '.join(answer.ignored_headers)}."
            return _with_warnings(said, answer.warnings)
        if isinstance(answer, MovedStep):
            day = answer.step.crew_day
            said = f"{answer.title} moved to crew {day.crew} on {day.date}, as step {answer.step.position}."
            return _with_warnings(said, answer.warnings)
        if not answer.days:
            return Text(_say_empty(answer))
        return Group(*(part for day in answer.days for part in _day_text(day)))


def _list(from_date: date, to_date: date | None, crew_code: str) -> _Listing:
    days = list_schedule(from_date=from_date, to_date=to_date, crew_code=crew_code)
    return _Listing(days, from_date, to_date, crew_code)


def _with_warnings(said: str, warnings: tuple[str, ...]) -> RenderableType:
    """An answer, and below it what somebody should look at."""
    return Group(Text(said), *(Text(f"Look at the plan: {warning}", style="bold") for warning in warnings))


def _say_empty(listing: _Listing) -> str:
    until = f"to {listing.to_date}" if listing.to_date else "on"
    whose = f" for crew {listing.crew_code}" if listing.crew_code else ""
    return (
        f"Nothing is planned{whose} from {listing.from_date} {until}. For days before that say --from; "
        "to plan, take a list with: manage.py schedule import FILE"
    )


def _day_text(day: PlannedCrewDay) -> Iterator[RenderableType]:
    yield Text(f"{day.date:%a} {day.date}  {day.crew_name} ({day.crew_code})", style="bold")
    yield Text(f"{day.vehicle}, kit from {day.warehouse}; {day.state}")
    table = lay_out_steps(day)
    if not day.steps:
        table.add_row("", Text("all done"), "", "")
    yield table
    yield Text("")
