"""`manage.py demo`: an invented contractor's half year, from its files to the three results."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandParser
from rich.console import Group, RenderableType
from rich.rule import Rule
from rich.text import Text

from api.config.environment import ROOT
from api.management.base import SpanstockCommand
from api.management.pull_sheet_text import lay_out_pull_sheet
from api.management.replay import Scenario, find_standing_company, refuse_another_company, replay
from api.management.restock_text import lay_out_restock
from api.management.statement_text import lay_out_statement
from api.wire.pull_sheets import pull_sheet_body
from api.wire.restock import restock_json
from api.wire.statements import statement_body
from inventory.queries.company import get_company
from inventory.queries.restock import RestockList, list_restock
from inventory.queries.verification import BookSize, Difference, measure_book
from inventory.services.sealing import seal_all
from jobs.queries.issued_sheets import verify_book
from jobs.queries.pull_sheet import PullSheet, get_pull_sheet
from jobs.queries.statement import Statement, get_statement

FOLDER = ROOT / "fixtures_demo"
# The first run or two with their spans; the command prints them all.
SHOWN_PARTS = 10


@dataclass(frozen=True)
class _Answer:
    scenario: Scenario
    pull_sheet: PullSheet
    restock: RestockList
    statement: Statement
    size: BookSize
    differences: list[Difference]


class Command(SpanstockCommand):
    help = (
        "Take half a year of an invented contractor from the files in fixtures_demo/, and print a crew's "
        "pull sheet, the restock list and a job's statement. Safe to run again."
    )
    # The tables may not be there yet; this command makes them.
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        pass

    def answer(self, options: dict[str, Any]) -> _Answer:
        scenario = Scenario.load(FOLDER)
        call_command("migrate", verbosity=0, interactive=False)
        standing = find_standing_company()
        if standing is not None:
            refuse_another_company(scenario, *standing)
        with self.progress() as report:
            replay(scenario, by=self.actor(), report=report)
            seal_all()
            differences = list(verify_book(report))
        show = scenario.description["show"]
        return _Answer(
            scenario=scenario,
            pull_sheet=get_pull_sheet(crew_code=show["crew"], date=date.fromisoformat(show["date"])),
            restock=list_restock(as_of=scenario.today),
            statement=get_statement(show["job"]),
            size=measure_book(),
            differences=differences,
        )

    def exit_code(self, answer: _Answer) -> int:
        return 1 if answer.differences else 0

    def to_json(self, answer: _Answer) -> Any:
        return {
            "company": answer.scenario.description["company"]["name"],
            "today": answer.scenario.today.isoformat(),
            "pull_sheet": pull_sheet_body(answer.pull_sheet),
            "restock": restock_json(answer.restock, currency=get_company().currency),
            "statement": statement_body(answer.statement),
            "book": {
                "entries": answer.size.entries,
                "movements": answer.size.movements,
                "sealed": answer.size.sealed,
                "is_whole": not answer.differences,
            },
        }

    def to_text(self, answer: _Answer) -> RenderableType:
        company, today = get_company(), answer.scenario.today
        return Group(
            Text(f"{company.party.name}, as of the evening of {today:%A %d %B %Y}", style="bold"),
            _heading("1. The crew's pull sheet for tomorrow"),
            lay_out_pull_sheet(answer.pull_sheet, with_reasons=True),
            _heading("2. What to order"),
            lay_out_restock(answer.restock, company.currency),
            _heading("3. What a job has cost so far"),
            lay_out_statement(answer.statement, most_parts=SHOWN_PARTS),
            _heading("The book"),
            _book(answer),
            _heading("Go on from here"),
            _next_steps(answer.scenario),
        )


def _heading(title: str) -> Group:
    return Group(Text(), Rule(title, align="left", style="dim"), Text())


def _book(answer: _Answer) -> Text:
    size = answer.size
    counts = f"{size.entries:,} entries with {size.movements:,} movements, {size.sealed:,} seals"
    if not answer.differences:
        return Text(f"Added up again from the first movement: it is whole. {counts}.")
    shown = "\n".join(f"  {row.subject}: {row.message}" for row in answer.differences[:20])
    return Text(f"{len(answer.differences)} differences in the book ({counts}):\n{shown}", style="bold red")


def _next_steps(scenario: Scenario) -> Text:
    show = scenario.description["show"]
    today, job = scenario.today.isoformat(), show["job"]
    rows = (
        ("add_user office --role admin", "an account to sign in with; the password is asked for"),
        ("serve", "pages at http://127.0.0.1:8000, interfaces for programs, background work"),
        (f"pull_sheet --crew {show['crew']} --date {show['date']}", "the first result; try other crews"),
        (f"restock --date {today} --place south-yard", "the second, of one warehouse"),
        (f"statement {job}", "the third; other jobs are HARBOR and KESTREL"),
        (f"schedule list --from {today}", "who does what in the coming two weeks"),
        ("verify_ledger", "the whole book added up again"),
        ("demo --format json", "all of the above for programs"),
    )
    lines = [f"  python manage.py {command}\n      {what}" for command, what in rows]
    return Text("The demo's files are in fixtures_demo/, described in its README.\n\n" + "\n".join(lines))
