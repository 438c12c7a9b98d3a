"""`restore`: a book from a backup, where there is none, added up before anybody works on it."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from rich.console import Group, RenderableType
from rich.text import Text

from api.deploy.backups import Backup, restore_backup, tell_restored
from api.management.base import REFUSED, SpanstockCommand, is_behind
from api.management.commands.back_up import backup_json, backup_lines
from jobs.queries.issued_sheets import verify_book


@dataclass(frozen=True)
class _Answer:
    backup: Backup | None
    # None where the backup is of an older version and must be migrated before it can be added up.
    differences: int | None


class Command(SpanstockCommand):
    help = (
        "Bring a backup back into an empty database and data directory, add the whole book up, and tell "
        "devices and systems that it was brought back, so that they send again what they still have. Never "
        "writes over anything."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("file", type=Path, nargs="?", help="the backup")
        what.add_argument(
            "--brought-back",
            action="store_true",
            help="the database was brought back by its own means, as by log archiving: only add up and tell",
        )

    def has_posted(self, options: dict[str, Any]) -> bool:
        return not is_behind()

    def answer(self, options: dict[str, Any]) -> _Answer:
        with self.progress() as report:
            backup = None
            if not options["brought_back"]:
                backup = restore_backup(source=options["file"], progress=report)
            if is_behind():
                return _Answer(backup, None)
            count = sum(1 for _ in verify_book(report))
        if not count:
            tell_restored(occurred_at=timezone.now(), backup=backup)
        return _Answer(backup, count)

    def exit_code(self, answer: _Answer) -> int:
        return REFUSED if answer.differences else 0

    def to_json(self, answer: _Answer) -> Any:
        backup = backup_json(answer.backup) if answer.backup else None
        return {"backup": backup, "difference_count": answer.differences, "is_whole": answer.differences == 0}

    def to_text(self, answer: _Answer) -> RenderableType:
        lines = backup_lines(answer.backup) if answer.backup else []
        if answer.differences is None:
            word = "The backup is of an older version. Run `python manage.py migrate`, then "
            word += "`python manage.py restore --brought-back` to add the book up."
            return Group(Text("Brought back.", style="bold"), *lines, Text(word))
        if answer.differences:
            word = (
                f"{answer.differences} differences in the book: `python manage.py verify_ledger` names them. "
            )
            word += "Nobody was told that it was brought back."
            return Group(Text("Brought back, but not whole.", style="bold red"), *lines, Text(word))
        word = "The book is whole. Devices and systems are told, and send again what it lacks."
        return Group(Text("Brought back.", style="bold green"), *lines, Text(word))
