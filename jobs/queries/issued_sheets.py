"""Cost sheets that were handed out, and whether they are what they were."""

import hashlib
import json
from datetime import UTC, datetime
from typing import Any

from inventory.errors import NotFound
from inventory.models import Seal
from jobs.models import IssuedSheet, Job


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
    """What is wrong with an issued sheet: its content was changed, or the book behind it was."""
    faults = []
    expected = hash_sheet(
        job=sheet.job,
        number=sheet.number,
        issued_at=sheet.issued_at,
        content=sheet.content,
        last_sequence=sheet.last_sequence,
        last_hash=sheet.last_hash,
    )
    if expected != sheet.hash:
        faults.append("Its content is not what was issued: the hash differs.")
    if sheet.last_sequence:
        seal = Seal.objects.filter(sequence=sheet.last_sequence).first()
        if seal is None or seal.hash != sheet.last_hash:
            faults.append(f"The chain of the book differs at link {sheet.last_sequence}.")
    return faults
