"""Carrying imports out, by any number of workers; one that is lost leaves its import to the next.

A file that is taken whole is stored with an event of the import's id, in one transaction, so whoever takes
the import up again sees that it is in. Of reports each has an id of its own and is taken once, however often
it is sent.
"""

import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.db import connection, transaction
from django.db.models import F, Q
from django.utils import timezone

from api.imports.kinds import IMPORT_KINDS, ImportKind, Sent
from api.models import BulkImport, ImportedRow
from api.sign_in.scopes import read_scopes
from api.wire.acts import Asker
from api.wire.report_acts import POST_REPORT
from api.wire.viewer import make_viewer
from inventory.errors import Fault, SpanstockError
from inventory.models import DomainEvent
from inventory.queries.access import NotAllowed
from jobs.queries.access import WorkViewer

LEASE = timedelta(minutes=5)
MOST_ATTEMPTS = 5
TELL_EVERY_S = 0.5
Json = dict[str, Any]


class ImportLost(SpanstockError):
    """Another worker took the import over, since this one had not been heard of for too long."""

    code = "import_lost"


def take_import() -> BulkImport | None:
    """Take the next import that nobody works on, for a while; None where there is none."""
    now = timezone.now()
    with transaction.atomic():
        free = Q(taken_until__isnull=True) | Q(taken_until__lt=now)
        found = (
            BulkImport.objects.filter(free, finished_at__isnull=True, attempts__lt=MOST_ATTEMPTS)
            .select_for_update(skip_locked=True, of=("self",))
            .order_by("pk")
            .first()
        )
        if found is None:
            return None
        BulkImport.objects.filter(pk=found.pk).update(
            taken_until=now + LEASE, attempts=F("attempts") + 1, claim=uuid4()
        )
    return BulkImport.objects.select_related("asked_by", "user").get(pk=found.pk)


def work_import(taken: BulkImport) -> None:
    """Carry an import out from where it stands. A refusal ends it, anything else leaves it to another try."""
    kind = IMPORT_KINDS[taken.kind]
    try:
        viewer = _find_viewer(taken, kind)
        if kind.take is None:
            _take_reports(taken, viewer)
        else:
            _take_whole(taken, kind)
    except ImportLost:
        return
    except SpanstockError as refusal:
        _refuse(taken, refusal)
    except Exception as error:
        failure = f"{type(error).__name__}: {error}"[:200]
        _own(taken).update(failure=failure, taken_until=None, doing="")
        raise


def _find_viewer(taken: BulkImport, kind: ImportKind) -> WorkViewer:
    """What the sender may do now, which may be less than when the file came."""
    if not taken.user.is_active:
        raise NotAllowed("The account that sent this file is closed.")
    scopes = None if taken.scopes is None else read_scopes(taken.scopes)
    viewer = make_viewer(taken.user, scopes=scopes)
    kind.require(viewer)
    return viewer


def _take_whole(taken: BulkImport, kind: ImportKind) -> None:
    assert kind.take is not None
    standing = DomainEvent.objects.filter(uuid=taken.uuid).first()
    if standing is not None:
        # Its worker was lost between storing and saying so.
        _finish(taken, answer=standing.body, rows=standing.body.get("rows"))
        return
    with tempfile.TemporaryDirectory() as folder:
        # Its name is in no path: it may be any text.
        path = Path(folder) / "file"
        path.write_bytes(taken.content)
        sent = Sent(
            path=path,
            name=taken.name,
            id=taken.uuid,
            by=taken.asked_by,
            at=taken.asked_at,
            report=_Teller(taken).tell,
        )
        answer, rows = kind.take(sent, kind.read_options(taken.options))
    _finish(taken, answer=answer, rows=rows)


def _take_reports(taken: BulkImport, viewer: WorkViewer) -> None:
    tell = _Teller(taken).tell
    waiting = taken.rows.filter(state=ImportedRow.State.WAITING).order_by("line")
    total = taken.row_count or 0
    done = total - waiting.count()
    for row in waiting.iterator(chunk_size=100):
        _take_report(row, Asker(viewer, taken.asked_by, timezone.now()))
        done += 1
        tell("taking reports", done, total)
    refused = taken.rows.filter(state=ImportedRow.State.REFUSED).count()
    _finish(taken, answer={"taken": total - refused, "refused": refused}, rows=total)


def _take_report(row: ImportedRow, asker: Asker) -> None:
    told: Json = {"state": ImportedRow.State.DONE, "body": None}
    try:
        POST_REPORT.run(row.body, {}, asker)
    except SpanstockError as refusal:
        told = {"state": ImportedRow.State.REFUSED, **_refusal(refusal)}
    ImportedRow.objects.filter(pk=row.pk).update(**told)


class _Teller:
    """Says how far an import is, now and then, and that its worker lives."""

    def __init__(self, taken: BulkImport) -> None:
        self._taken, self._told_at = taken, 0.0

    def tell(self, doing: str, done: int, total: int) -> None:
        # Within the transaction that stores all of it nobody would see it before the end.
        if connection.in_atomic_block or time.monotonic() - self._told_at < TELL_EVERY_S:
            return
        self._told_at = time.monotonic()
        until = timezone.now() + LEASE
        if not _own(self._taken).update(doing=doing[:60], rows_done=done, taken_until=until):
            raise ImportLost("Another worker has taken this import over.")


def _own(taken: BulkImport) -> Any:
    """The row, as long as this worker has it."""
    return BulkImport.objects.filter(pk=taken.pk, claim=taken.claim, finished_at__isnull=True)


def _finish(taken: BulkImport, *, answer: Json, rows: int | None) -> None:
    count = {} if rows is None else {"rows_done": rows, "row_count": rows}
    _own(taken).update(answer=answer, content=b"", doing="", failure="", finished_at=timezone.now(), **count)


def _refuse(taken: BulkImport, refusal: SpanstockError) -> None:
    """Nothing of it was stored; its rows say line by line what to mend."""
    by_line: dict[int, list[Fault]] = {}
    for fault in refusal.faults:
        by_line.setdefault(fault.line or 0, []).append(fault)
    with transaction.atomic():
        told = _own(taken).update(
            refusal_code=refusal.code,
            refusal=refusal.message,
            content=b"",
            doing="",
            rows_done=0,
            finished_at=timezone.now(),
        )
        if told and IMPORT_KINDS[taken.kind].take is not None:
            ImportedRow.objects.bulk_create(
                ImportedRow(
                    bulk_import=taken,
                    line=line,
                    state=ImportedRow.State.REFUSED,
                    refusal_code=refusal.code,
                    refusal="; ".join(fault.message for fault in faults),
                    faults=[_fault(fault) for fault in faults],
                )
                for line, faults in sorted(by_line.items())
            )


def _refusal(refusal: SpanstockError) -> Json:
    return {
        "refusal_code": refusal.code,
        "refusal": refusal.message,
        "faults": [_fault(fault) for fault in refusal.faults],
    }


def _fault(fault: Fault) -> Json:
    return {"field": fault.pointer, "value": fault.value, "remedy": fault.message}
