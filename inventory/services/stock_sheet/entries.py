"""The entries that an import makes: opening receipts for what is new, counts for the rest."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID, uuid5

from inventory.models import Actor, Container, Holding, Place
from inventory.services.counts import Found, count
from inventory.services.posting import ContainerWish, End
from inventory.services.posting.special_places import get_special_place
from inventory.services.receipts import ReceiptLine, receive
from inventory.services.stock_sheet.containers import OF_ONE_MATERIAL, set_marks, stands_elsewhere
from inventory.services.stock_sheet.holdings import StockLine
from inventory.services.stock_sheet.known import CHUNK
from inventory.services.stock_sheet.rows import in_chunks
from inventory.units import parse_amount

# An entry locks all that it touches; a hundred rows keep what it looks up within a statement's parameters.
ROWS_PER_ENTRY = 100
MARKS = ("outer_mark", "inner_mark", "mark_unit", "work_mark", "marks_read_at")
State = Container.State
ReportProgress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class ImportHead:
    """What all entries of an import have in common."""

    id: UUID
    by: Actor
    occurred_at: datetime
    document: str
    file: str
    report: ReportProgress

    def entry_id(self, step: str) -> UUID:
        return uuid5(self.id, step)


@dataclass
class Finding:
    """What one row found: amounts for the book to compare, and how the container was seen."""

    found: list[Found] = field(default_factory=list)
    wish: ContainerWish | None = None


def post_entries(head: ImportHead, lines: list[StockLine]) -> list[UUID]:
    """Receive what is new, count what is known, and return the entries' ids."""
    fresh = sorted((line for line in lines if _is_opened(line)), key=_order)
    # Before anything is posted, since that gives the new containers their keys.
    known = sorted((line for line in lines if not line.is_new_container), key=_order)
    ids = [*_post_openings(head, fresh), *_post_counts(head, known)]
    for line in known:
        if line.container is not None and set_marks(line.container, line.record, at=head.occurred_at):
            line.container.save(update_fields=MARKS)
    return ids


def _post_openings(head: ImportHead, fresh: list[StockLine]) -> Iterator[UUID]:
    """Receive what is seen for the first time, a hundred rows an entry."""
    source = get_special_place(Place.Kind.SUPPLIER)
    for number, chunk in enumerate(in_chunks(fresh, ROWS_PER_ENTRY), start=1):
        for line in chunk:
            _settle_new_container(head, line)
        entry = receive(
            id=head.entry_id(f"opening {number}"),
            by=head.by,
            occurred_at=head.occurred_at,
            source=source,
            lines=[_receipt_line(line) for line in chunk if line.quantity],
            empties=[line.container for line in chunk if line.container is not None and not line.quantity],
            reason=f"Opening stock from {head.file}"[:500],
            document=head.document,
        )
        head.report("receiving", min(number * ROWS_PER_ENTRY, len(fresh)), len(fresh))
        yield entry.uuid


def _post_counts(head: ImportHead, known: list[StockLine]) -> Iterator[UUID]:
    """Count what the book has seen before, a hundred rows an entry."""
    contents = _find_contents([line.container for line in known if line.container is not None])
    findings = [_find(line, contents) for line in known]
    findings = [finding for finding in findings if finding.found or finding.wish]
    for number, chunk in enumerate(in_chunks(findings, ROWS_PER_ENTRY), start=1):
        entry = count(
            id=head.entry_id(f"count {number}"),
            by=head.by,
            occurred_at=head.occurred_at,
            found=[found for finding in chunk for found in finding.found],
            wishes=[finding.wish for finding in chunk if finding.wish is not None],
            reason=f"Stock-take from {head.file}"[:500],
            document=head.document,
        )
        head.report("counting", min(number * ROWS_PER_ENTRY, len(findings)), len(findings))
        yield entry.uuid


def _find_contents(containers: list[Container]) -> dict[int, list[Holding]]:
    """What the book has in each vessel or reel, wherever it stands."""
    found: dict[int, list[Holding]] = {}
    vessels = [container.pk for container in containers if container.stands_somewhere and container.pk]
    for chunk in in_chunks(vessels, CHUNK):
        rows = Holding.objects.filter(container__in=chunk).exclude(quantity=0)
        for row in rows.select_related("material", "owner").order_by("key"):
            assert row.container_id is not None
            found.setdefault(row.container_id, []).append(row)
    return found


def _is_opened(line: StockLine) -> bool:
    return line.is_new_container or (not line.is_seen and line.quantity > 0)


def _order(line: StockLine) -> tuple[str, str, str]:
    # Rows of one place and material together, so that an entry locks few pools.
    label = line.container.label if line.container else ""
    return (line.place.code, line.material.code if line.material else "", label)


def _settle_new_container(head: ImportHead, line: StockLine) -> None:
    """Give a new container what is known only now: where it stands and since when."""
    container = line.container
    if container is None or container.pk:
        return
    container.owner, container.material = container.owner, container.material
    container.received_at = container.received_at or head.occurred_at
    container.place = line.place if container.stands_somewhere else None
    set_marks(container, line.record, at=head.occurred_at)


def _receipt_line(line: StockLine) -> ReceiptLine:
    assert line.material is not None
    return ReceiptLine(line.material, line.amount, End(line.place, line.container), line.cost)


def _find(line: StockLine, contents: dict[int, list[Holding]]) -> Finding:
    finding = Finding()
    container = line.container
    if line.material is not None and (line.is_seen or not line.quantity):
        finding.found.append(Found(line.material, line.amount, End(line.place, container), line.owner))
    if container is None or container.pk is None:
        return finding
    for row in contents.get(container.pk, ()):
        if line.material is None or row.material_id != line.material.pk:
            # A vessel holds what the row says and nothing else.
            nothing = parse_amount(0, row.material.stock_unit)
            finding.found.append(Found(row.material, nothing, End(line.place, container), row.owner))
    finding.wish = _wish(line, container, is_counted=bool(finding.found))
    return finding


def _wish(line: StockLine, container: Container, *, is_counted: bool) -> ContainerWish | None:
    """How the container was seen, where that is not what the book says.

    What is counted in a vessel moves it where it was seen; an empty one that nothing is counted in is
    moved by the wish.
    """
    place = line.place if not is_counted and stands_elsewhere(container, line.place) else None
    state = line.record["container_state"]
    is_vessel = container.kind not in OF_ONE_MATERIAL
    if state is None and line.quantity and is_vessel and container.state in (State.CLEAN, State.GONE):
        state = State.OPEN
    state = state if state != container.state else None
    contents_state = line.record["contents_state"]
    contents_state = contents_state if contents_state != container.contents_state else None
    if place is None and state is None and contents_state is None:
        return None
    return ContainerWish(container, place=place, state=state, contents_state=contents_state)
