"""Cost sheets that were handed out, and whether they are what they were."""

import hashlib
import json
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Any

from inventory.errors import NotFound
from inventory.models import DomainEvent, Seal
from inventory.queries.chain_heads import KeptHead
from inventory.queries.verification import Difference, Progress, verify_ledger
from jobs.models import IssuedSheet, Job

ISSUED = "cost_sheet_issued"
# Sheets of large jobs are long; a few at a time keep memory small.
CHUNK = 50


def hash_sheet(
    *, job: Job, number: int, issued_at: datetime, content: Any, last_sequence: int, last_hash: str
) -> str:
    """SHA-256 over all that an issued sheet says, in one fixed spelling."""
    form = {
        "job": job.reference,
        "number": number,
        "issued_at": issued_at.astimezone(UTC).isoformat(timespec="microseconds"),
        "content": content,
        "last_sequence": last_sequence,
        "last_hash": last_hash,
    }
    return hashlib.sha256(json.dumps(form, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def get_issued_sheet(job: Job, number: int) -> IssuedSheet:
    """One issued sheet of a job by its number."""
    sheet = IssuedSheet.objects.select_related("job", "issued_by").filter(job=job, number=number).first()
    if sheet is None:
        raise NotFound(f"No sheet {number} of job {job} was issued.")
    return sheet


def find_faults(sheet: IssuedSheet) -> list[str]:
    """What is wrong with an issued sheet: its content was changed, or the book behind it was.

    What was issued is told by the event that was sealed into the chain, not by the sheet's own row.
    """
    return [message for _sheet, message in _compare([sheet])]


def verify_book(
    progress: Progress = lambda _name, _done, _total: None, *, kept_heads: Sequence[KeptHead] = ()
) -> Iterator[Difference]:
    """Yield every difference in the ledger and in the sheets that were issued from it."""
    yield from verify_ledger(progress, kept_heads=kept_heads)
    last, rows = 0, IssuedSheet.objects.select_related("job").order_by("pk")
    while sheets := list(rows.filter(pk__gt=last)[:CHUNK]):
        for sheet, message in _compare(sheets):
            yield Difference("issued sheet", f"Sheet {sheet.number} of job {sheet.job}: {message}")
        last = sheets[-1].pk
    kept = IssuedSheet.objects.values("uuid")
    for event in DomainEvent.objects.filter(kind=ISSUED).exclude(uuid__in=kept).order_by("pk"):
        name = f"Sheet {event.body.get('number')} of job {event.body.get('job')}"
        yield Difference("issued sheet", f"{name}: It was issued and is not there any more.")


def _compare(sheets: Sequence[IssuedSheet]) -> Iterator[tuple[IssuedSheet, str]]:
    issued = DomainEvent.objects.filter(uuid__in=[sheet.uuid for sheet in sheets], kind=ISSUED)
    told = {event.uuid: event.body.get("hash") for event in issued}
    seals = Seal.objects.in_bulk([sheet.last_sequence for sheet in sheets])
    for sheet in sheets:
        hashed = hash_sheet(
            job=sheet.job,
            number=sheet.number,
            issued_at=sheet.issued_at,
            content=sheet.content,
            last_sequence=sheet.last_sequence,
            last_hash=sheet.last_hash,
        )
        if sheet.uuid not in told:
            yield sheet, "The chain of the book knows of no such sheet."
        elif not hashed == sheet.hash == told[sheet.uuid]:
            yield sheet, "Its content is not what was issued: the hash differs."
        seal = seals.get(sheet.last_sequence)
        if sheet.last_sequence and (seal is None or seal.hash != sheet.last_hash):
            yield sheet, f"The chain of the book differs at link {sheet.last_sequence}."
