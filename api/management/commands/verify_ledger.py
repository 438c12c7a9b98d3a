"""`verify_ledger`: the whole book added up again, its seals, triggers and sheets looked at; reads only."""

from dataclasses import dataclass
from typing import Any

from django.core.management.base import CommandParser
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from api.management.base import REFUSED, SpanstockCommand
from inventory.queries.chain_heads import read_head
from inventory.queries.verification import BookSize, Difference, measure_book
from jobs.queries.issued_sheets import verify_book

# A book that is wrong in more ways has one cause, and the first of them show it.
MOST_SHOWN = 1000


@dataclass(frozen=True)
class _Answer:
    size: BookSize
    differences: list[Difference]
    count: int


class Command(SpanstockCommand):
    help = (
        "Add the whole book up again from its first movement, compare it with what is held and what it is "
        "worth, and check seals, triggers and the cost sheets that were issued. Exit code 1 where anything "
        "differs. Changes nothing. Whoever can change the database can make its chain anew: give it heads "
        "that were kept elsewhere."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--head",
            action="append",
            default=[],
            metavar="SEQUENCE-HASH",
            help="a head told before: a cursor of the feed, or what a backup or an earlier run ended with; "
            "may be repeated",
        )

    def answer(self, options: dict[str, Any]) -> _Answer:
        shown: list[Difference] = []
        count = 0
        heads = [read_head(text, pointer="--head") for text in options["head"]]
        with self.progress() as report:
            for difference in verify_book(report, kept_heads=heads):
                count += 1
                if count <= MOST_SHOWN:
                    shown.append(difference)
        return _Answer(measure_book(), shown, count)

    def exit_code(self, answer: _Answer) -> int:
        return REFUSED if answer.count else 0

    def to_json(self, answer: _Answer) -> Any:
        return {
            "is_whole": not answer.count,
            "entries": answer.size.entries,
            "movements": answer.size.movements,
            "sealed": answer.size.sealed,
            "waiting_to_be_sealed": answer.size.waiting,
            "head": answer.size.head,
            "difference_count": answer.count,
            "differences": [{"subject": row.subject, "message": row.message} for row in answer.differences],
        }

    def to_text(self, answer: _Answer) -> RenderableType:
        size = answer.size
        counts = ((size.entries, "entry", "entries"), (size.movements, "movement", "movements"))
        what = ", ".join(f"{count} {one if count == 1 else more}" for count, one, more in counts)
        what += f", {size.sealed} {'seal' if size.sealed == 1 else 'seals'}"
        if size.waiting:
            what += f", {size.waiting} waiting to be sealed"
        if not answer.count:
            head = f"Head {size.sealed}-{size.head}"
            return Group(Text("The book is whole.", style="bold green"), Text(what), Text(head, style="dim"))
        word = "difference" if answer.count == 1 else "differences"
        parts: list[RenderableType] = [
            Text(f"{answer.count} {word} in the book.", style="bold red"),
            Text(what),
        ]
        subject = ""
        for row in answer.differences:
            if row.subject != subject:
                subject = row.subject
                parts.append(Text(f"\n{subject}", style="bold"))
            parts.append(Padding(Text(row.message), (0, 0, 0, 2)))
        if answer.count > len(answer.differences):
            parts.append(Text(f"\nand {answer.count - len(answer.differences)} more"))
        return Group(*parts)
