"""`back_up`: the book and its files into one new file, while everybody goes on."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from rich.console import Group, RenderableType
from rich.text import Text

from api.deploy.backups import Backup, make_backup
from api.management.base import SpanstockCommand


class Command(SpanstockCommand):
    help = (
        "Copy the database, the attached files and the made-up secret key into one new tar file, readable by "
        "its owner only, while others go on posting. Keep it on another machine: it holds everything."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the file to write, such as spanstock-2026-03-31.tar")

    def answer(self, options: dict[str, Any]) -> Backup:
        with self.progress() as report:
            return make_backup(target=options["file"], made_at=timezone.now(), progress=report)

    def to_json(self, answer: Backup) -> Any:
        return backup_json(answer)

    def to_text(self, answer: Backup) -> RenderableType:
        return Group(Text("Backed up.", style="bold green"), *backup_lines(answer))


def backup_json(backup: Backup) -> dict[str, Any]:
    return {
        "id": str(backup.id),
        "made_at": backup.made_at.isoformat(),
        "database": backup.vendor,
        "entries": backup.head.entries,
        "movements": backup.head.movements,
        "files": backup.files,
        "sealed": backup.head.sequence,
        "head": backup.head.hash,
    }


def backup_lines(backup: Backup) -> list[Text]:
    head = backup.head
    what = f"{head.entries} entries, {head.movements} movements, {backup.files} files"
    return [
        Text(f"{what}, as of {backup.made_at.isoformat(timespec='seconds')}"),
        Text(f"Head {head.sequence}-{head.hash}", style="dim"),
    ]
