"""Handing a cost sheet out: as it stands now, with how far the book went, and a hash over both."""

from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max

from inventory.models import Actor, ChainHead
from inventory.services.documents import DocumentConflict
from inventory.services.posting.locking import hold_books
from inventory.services.sealing import record_event, seal_all
from jobs.models import IssuedSheet, Job
from jobs.queries.cost_sheet import CostSheet, make_cost_sheet
from jobs.queries.issued_sheets import ISSUED, hash_sheet


@transaction.atomic
def issue_sheet(
    *, id: UUID, job: Job, by: Actor, occurred_at: datetime, write: Callable[[CostSheet], Any]
) -> IssuedSheet:
    """Store the job's cost sheet as `write` spells it; asked again under its id it is the same sheet.

    Postings wait for it, so that it holds exactly what is sealed up to its last sequence.

    Raises
    ------
    DocumentConflict
        If the id stands for a sheet of another job or person.
    """
    hold_books()
    known = IssuedSheet.objects.filter(uuid=id).first()
    if known is not None:
        if (known.job_id, known.issued_by_id) != (job.pk, by.pk):
            raise DocumentConflict(f"The id {id} is taken. Use a new one.")
        return known
    seal_all()
    head = ChainHead.objects.get(pk=1)
    content = write(make_cost_sheet(job))
    number = (IssuedSheet.objects.filter(job=job).aggregate(last=Max("number"))["last"] or 0) + 1
    sheet = IssuedSheet.objects.create(
        uuid=id,
        job=job,
        number=number,
        issued_at=occurred_at,
        issued_by=by,
        content=content,
        last_sequence=head.sequence,
        last_hash=head.hash,
        hash=hash_sheet(
            job=job,
            number=number,
            issued_at=occurred_at,
            content=content,
            last_sequence=head.sequence,
            last_hash=head.hash,
        ),
    )
    record_event(
        id=id,
        kind=ISSUED,
        occurred_at=occurred_at,
        body={"job": job.reference, "number": number, "hash": sheet.hash, "by": by.code},
    )
    return sheet
