"""The service: a stock sheet becomes opening stock the first time and a count ever after."""

import hashlib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import IntegrityError, OperationalError, connection, transaction

from inventory.models import Actor, Company, DomainEvent, Holding
from inventory.queries.company import get_company
from inventory.services.posting import EntryConflict
from inventory.services.posting.retries import may_retry, pause
from inventory.services.sealing import record_event
from inventory.services.stock_sheet.containers import Containers
from inventory.services.stock_sheet.entries import ImportHead, ReportProgress, post_entries
from inventory.services.stock_sheet.holdings import StockLine, StockLines
from inventory.services.stock_sheet.known import CHUNK
from inventory.services.stock_sheet.materials import Materials
from inventory.services.stock_sheet.parties import Parties, Terms
from inventory.services.stock_sheet.places import Places
from inventory.services.stock_sheet.references import References
from inventory.services.stock_sheet.result import StockImport, describe_import
from inventory.services.stock_sheet.rows import StockRows, in_chunks
from inventory.sheets import read_sheet

EVENT_KIND = "stock_sheet_imported"
# Made once for this purpose; ids of imports are derived under it.
_NAMESPACE = UUID("6c0f8c1e-4b0e-5c52-9b0f-2a63f3a1d7b4")
_MOST_TURNS = 3


def _tell_nobody(doing: str, done: int, total: int) -> None:
    return None


def import_stock(
    *,
    path: str | Path,
    by: Actor,
    occurred_at: datetime,
    document: str,
    dry_run: bool = False,
    id: UUID | None = None,
    report: ReportProgress = _tell_nobody,
) -> StockImport:
    """Take a stock sheet whole, or refuse it with every fault and change nothing.

    A row says how much of a material of an owner lies in a place, loose or in a container, and may
    introduce any of them. Where the book has not seen that holding, the row is opening stock at its unit
    cost; elsewhere it is a count at `occurred_at`, which never changes what goods cost. A unit cost and a
    unit price are for one unit as the row writes its quantity, or one stock unit where it writes none.

    The same file, document and moment from the same actor is the same import: it gives the first answer.
    An `id` of the caller's own does the same for the caller.

    Raises
    ------
    NotSetUp
        If there is no company yet.
    UnreadableSheet, FaultySheet
        If the file is no sheet, or rows of it are wrong.
    EntryConflict
        If the id stands for another import.
    """
    company = get_company()
    place = Path(path)
    with read_sheet(place) as sheet:
        digest = _digest(place)
        import_id = id or _derive_id(digest, document=document, occurred_at=occurred_at, by=by)
        head = ImportHead(import_id, by, occurred_at, document, sheet.name, report)
        report("reading", 0, 1)
        rows = StockRows(sheet, currency=company.currency)
        report("reading", 1, 1)

        def write() -> StockImport:
            return _write(rows, head, company, digest, is_dry_run=dry_run)

        return _take_turns(write, rows)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _derive_id(digest: str, *, document: str, occurred_at: datetime, by: Actor) -> UUID:
    moment = occurred_at.astimezone(UTC).isoformat()
    return uuid5(_NAMESPACE, "\n".join((digest, document, moment, by.code)))


def _take_turns(write: Callable[[], StockImport], rows: StockRows) -> StockImport:
    """Write in one transaction, and look again where another door made the same code meanwhile."""
    faults_of_cells = (rows.table.faults.count, list(rows.table.faults.kept))
    for turn in range(1, _MOST_TURNS + 1):
        rows.table.faults.count, rows.table.faults.kept = faults_of_cells[0], list(faults_of_cells[1])
        try:
            with transaction.atomic():
                return write()
        except (IntegrityError, OperationalError) as error:
            if connection.in_atomic_block or turn == _MOST_TURNS or not _is_clash(error):
                raise
            pause(turn)
    raise AssertionError("every turn returns or raises")


def _is_clash(error: IntegrityError | OperationalError) -> bool:
    return isinstance(error, IntegrityError) or may_retry(error)


def _write(
    rows: StockRows, head: ImportHead, company: Company, digest: str, *, is_dry_run: bool
) -> StockImport:
    # One import at a time, and nothing else waits for this row.
    Company.objects.select_for_update(of=("self",)).get(pk=company.pk)
    standing = _find_same(head, digest)
    if standing is not None:
        return describe_import(standing, is_repeat=True)
    materials, places, parties = Materials(rows), Places(rows), Parties(rows)
    terms = Terms(rows, materials, parties)
    containers = Containers(rows, materials, parties, ZoneInfo(company.time_zone))
    holdings = StockLines(rows, materials, places, parties, containers)
    references = References(rows, materials, containers)
    rows.table.raise_if_faulty()
    for introduced in (materials, places, parties, terms):
        introduced.save()
    entries = post_entries(head, holdings.lines)
    references.save()
    body = {
        "file": head.file,
        "document": head.document,
        "digest": digest,
        "actor": head.by.code,
        "rows": len(rows.records),
        "entries": [str(entry) for entry in entries],
        "introduced": {
            "materials": [material.code for material in materials.new],
            "places": [place.code for place in places.new],
            "parties": [party.code for party in parties.new],
            "containers": [container.label for container in containers.new],
            "supply": [f"{row.material.code} from {row.supplier.code}" for row in terms.new],
        },
        "not_on_sheet": _count_not_on_sheet(holdings.lines),
        "ignored_headers": list(rows.table.ignored_headers),
        "doubtful": [fault.sentence() for fault in rows.table.doubtful],
    }
    event = record_event(id=head.id, kind=EVENT_KIND, occurred_at=head.occurred_at, body=body)
    answer = describe_import(event, is_dry_run=is_dry_run)
    if is_dry_run:
        transaction.set_rollback(True)
    return answer


def _find_same(head: ImportHead, digest: str) -> DomainEvent | None:
    standing = DomainEvent.objects.filter(uuid=head.id).first()
    if standing is None:
        return None
    same = {"digest": digest, "document": head.document, "actor": head.by.code}
    is_same = all(standing.body.get(name) == value for name, value in same.items())
    if standing.kind != EVENT_KIND or standing.occurred_at != head.occurred_at or not is_same:
        raise EntryConflict(f"The id {head.id} is taken by something else. Use a new one.")
    return standing


def _count_not_on_sheet(lines: list[StockLine]) -> int:
    """How many holdings lie in the sheet's places and are not on it: they stay as they are."""
    counted = {line.key() for line in lines}
    left = 0
    for chunk in in_chunks(sorted({line.place.pk for line in lines}), CHUNK):
        keys = Holding.objects.filter(place__in=chunk, quantity__gt=0).values_list("key", flat=True)
        left += sum(key not in counted for key in keys)
    return left
