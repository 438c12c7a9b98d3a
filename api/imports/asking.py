"""Taking a file in: it is stored with what is to be done with it, and a worker is told."""

import hashlib
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from celery import current_app
from django.db import transaction
from django.db.models import Count, Q, QuerySet

from api.errors import TooLarge
from api.imports.kinds import IMPORT_KINDS
from api.models import BulkImport, ImportedRow, User
from api.sign_in.scopes import write_scopes
from api.wire.json_bodies import read_json
from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import Actor
from inventory.services.documents import fingerprint_of, take_once
from jobs.queries.access import WorkViewer

LARGEST_FILE_BYTES = 16_000_000
MOST_REPORTS = 5_000
WORK_TASK = "api.tasks.work_imports"


def ask_for_import(
    *,
    id: UUID,
    kind: str,
    name: str,
    options: Mapping[str, str],
    content: bytes,
    user: User,
    scopes: frozenset[str] | None,
    viewer: WorkViewer,
    by: Actor,
    now: datetime,
) -> BulkImport:
    """Keep a file to be taken in the background; the same again gives the first one.

    Raises
    ------
    NotAllowed
        If the sender may not take what is in such a file.
    BadInput
        If an option is wrong, the file is empty or the reports in it cannot be told apart.
    DocumentConflict
        If the id stands for another import.
    """
    chosen = IMPORT_KINDS[kind]
    chosen.require(viewer)
    chosen.read_options(options)
    if not content:
        raise BadInput.of([Fault("file", name[:60], "is empty; send the file as the body")])
    bodies = None if chosen.take is not None else split_reports(content)
    digest = hashlib.sha256(content).hexdigest()
    told = sorted(options.items())
    fingerprint = fingerprint_of(kind=kind, name=name, options=str(told), digest=digest)

    def make() -> BulkImport:
        made = BulkImport.objects.create(
            uuid=id,
            kind=kind,
            name=name,
            options=dict(options),
            content=content if bodies is None else b"",
            fingerprint=fingerprint,
            asked_by=by,
            asked_at=now,
            user=user,
            scopes=None if scopes is None else write_scopes(scopes),
            row_count=None if bodies is None else len(bodies),
        )
        ImportedRow.objects.bulk_create(
            ImportedRow(bulk_import=made, line=line, state=ImportedRow.State.WAITING, body=body)
            for line, body in bodies or ()
        )
        transaction.on_commit(lambda: _hint(), robust=True)
        return made

    return take_once(BulkImport, id=id, by=by, author="asked_by", fingerprint=fingerprint, make=make)


def split_reports(content: bytes) -> list[tuple[int, Any]]:
    """The reports of a file with their lines: a JSON list, or one report on each line.

    Raises
    ------
    BadInput
        If the file is no list, or a line is no JSON; every such line is named.
    TooLarge
        If there are more than a file may hold.
    """
    text = content.removeprefix(b"\xef\xbb\xbf").strip()
    if text.startswith(b"["):
        found = list(enumerate(read_json(text), start=1))
    else:
        found = list(_read_lines(text.splitlines()))
    if len(found) > MOST_REPORTS:
        raise TooLarge(f"The file holds more than {MOST_REPORTS} reports. Send it in parts.")
    return found


def _read_lines(lines: Iterable[bytes]) -> Iterable[tuple[int, Any]]:
    faults, found = [], []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            found.append((number, read_json(line)))
        except SpanstockError as refusal:
            faults.append(Fault("line", "", refusal.message, line=number))
    if faults:
        raise BadInput.of(faults[:1000])
    return found


def visible_imports(viewer: WorkViewer) -> QuerySet[BulkImport]:
    """The asker's own imports; an admin sees all. Each with how many rows were refused."""
    imports = BulkImport.objects.select_related("asked_by").defer("content")
    if viewer.role != User.Role.ADMIN:
        imports = imports.filter(asked_by=viewer.actor)
    refused = Count("rows", filter=Q(rows__state=ImportedRow.State.REFUSED))
    return imports.annotate(refused_count=refused)


def get_visible_import(viewer: WorkViewer, uuid: UUID | None) -> BulkImport:
    found = visible_imports(viewer).filter(uuid=uuid).first() if uuid is not None else None
    if found is None:
        raise NotFound("There is no import of that id.")
    return found


def _hint() -> None:
    current_app.send_task(WORK_TASK)
