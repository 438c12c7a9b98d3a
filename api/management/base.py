"""What all commands share: two forms of output, refusals in plain words, exit codes, progress.

Exit code 0: done. 1: refused, with every reason. 2: used wrongly (the parser's own code).
"""

import json
import shutil
import sys
from argparse import ArgumentTypeError
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from io import StringIO
from pathlib import Path
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from rich.console import Console, RenderableType
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

from api.errors import problem
from inventory.errors import SpanstockError
from inventory.models import Actor
from inventory.services.company import get_system_actor
from inventory.services.sealing import seal_all

REFUSED = 1
WRONG_USAGE = 2
# Pages are laid out for this width; a wider terminal gets a little more, a pipe exactly this.
COLUMNS = 80
MOST_COLUMNS = 100

# Called with what is being done, how much of it is done and how much there is.
ReportProgress = Callable[[str, int, int], None]


class NotMigrated(SpanstockError):
    """The database has not the tables of this version."""

    code = "not_migrated"
    remedy = "The database is not made for this version yet. Run `python manage.py migrate` first."


def is_behind() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


class SpanstockCommand(BaseCommand):
    """One service or query call between translating in and out.

    A command says its arguments in `add_arguments` as usual, makes its call in `answer`, and turns what
    comes back into `to_json` and `to_text`. One that posts entries or tells events says so in `is_posting`,
    and what it posted is sealed before the answer is shown.
    """

    # They look at every address and page, which takes longer than most answers; `serve`, `migrate` and
    # `check_everything` make them.
    requires_system_checks = []
    is_posting: ClassVar[bool] = False
    # Forms beside text and JSON; such an answer goes to a file, as `to_file` makes it.
    file_formats: ClassVar[tuple[str, ...]] = ()

    def has_posted(self, options: dict[str, Any]) -> bool:
        """Whether there may be something to seal; a command with several actions decides by the action."""
        return self.is_posting

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        about = "text for people, json for programs"
        if self.file_formats:
            about += f", {' or '.join(self.file_formats)} into the file of --output"
            parser.add_argument("--output", type=Path, help="the file to write, for what is no text")
        parser.add_argument(
            "--format", choices=["text", "json", *self.file_formats], default="text", help=about
        )
        return parser

    def handle(self, *args: Any, **options: Any) -> None:
        is_json = options["format"] == "json"
        is_file = options["format"] in self.file_formats
        if is_file and options["output"] is None:
            raise CommandError(f"--format {options['format']} needs --output FILE.", returncode=WRONG_USAGE)
        try:
            answer = self.answer(options)
            if self.has_posted(options):
                seal_all()
        except SpanstockError as refusal:
            self._write_refusal(refusal, is_json=is_json)
            sys.exit(REFUSED)
        except DatabaseError:
            if not is_behind():
                raise
            self._write_refusal(NotMigrated(NotMigrated.remedy), is_json=is_json)
            sys.exit(REFUSED)
        if is_file:
            options["output"].write_bytes(self.to_file(answer, options))
            self.stdout.write(f"Written: {options['output']}")
        elif is_json:
            self.stdout.write(json.dumps(self.to_json(answer), indent=2, ensure_ascii=False))
        else:
            self.show(self.to_text(answer))
        if self.exit_code(answer):
            sys.exit(self.exit_code(answer))

    def exit_code(self, answer: Any) -> int:
        """The exit code of an answer: 0, unless it tells that something is not as it should be."""
        return 0

    def answer(self, options: dict[str, Any]) -> Any:
        """Make the one call."""
        raise NotImplementedError

    def to_json(self, answer: Any) -> Any:
        """The answer in JSON's own types."""
        raise NotImplementedError

    def to_text(self, answer: Any) -> RenderableType:
        """The answer as something rich can lay out."""
        raise NotImplementedError

    def to_file(self, answer: Any, options: dict[str, Any]) -> bytes:
        """The answer as a file of the form asked for."""
        raise NotImplementedError

    def show(self, renderable: RenderableType) -> None:
        """Lay out for the terminal's width, or for 80 columns where there is none."""
        buffer = StringIO()
        is_terminal = self.stdout.isatty()
        columns = min(shutil.get_terminal_size().columns, MOST_COLUMNS) if is_terminal else COLUMNS
        console = Console(
            file=buffer, width=columns, force_terminal=is_terminal, highlight=False, emoji=False, markup=False
        )
        console.print(renderable)
        lines = [line.rstrip() for line in buffer.getvalue().splitlines()]
        self.stdout.write("\n".join(lines))

    def actor(self) -> Actor:
        """Whoever the ledger names for what is typed at this machine."""
        return get_system_actor("command-line", "Command line")

    @contextmanager
    def progress(self) -> Iterator[ReportProgress]:
        """A bar on the terminal; nothing at all where errors are written to a file or a pipe."""
        if not self.stderr.isatty():
            yield lambda doing, done, total: None
            return
        columns = (
            TextColumn("{task.description}"),
            BarColumn(),
            TaskProgressColumn(),
            TimeRemainingColumn(),
        )
        with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
            yield _make_reporter(bars)

    def _write_refusal(self, refusal: SpanstockError, *, is_json: bool) -> None:
        if is_json:
            self.stderr.write(json.dumps(problem(refusal), ensure_ascii=False))
            return
        if not refusal.faults:
            self.stderr.write(refusal.message)
            return
        count = len(refusal.faults)
        self.stderr.write(f"Nothing was changed: {count} {'fault' if count == 1 else 'faults'}.")
        for fault in refusal.faults:
            self.stderr.write(f"  {fault.sentence()}")


def iso_date(text: str) -> date:
    """A day as an argument: only the form in which no one takes the month for the day."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a date; write it like 2026-03-31") from None


def iso_moment(text: str) -> datetime:
    """A moment as an argument; without offset it is on the company's clocks, which `on_clock` sees to."""
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a moment; write it like 2026-03-31T17:30") from None


def on_clock(moment: datetime, time_zone: str) -> datetime:
    """Give a moment without offset that of the company's clocks."""
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(time_zone))


def _make_reporter(bars: Progress) -> ReportProgress:
    tasks: dict[str, Any] = {}

    def report(doing: str, done: int, total: int) -> None:
        if doing not in tasks:
            tasks[doing] = bars.add_task(doing, total=total)
        bars.update(tasks[doing], completed=done, total=total)

    return report
