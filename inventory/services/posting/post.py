"""Post one entry: lock, look for the same id, check, write, in that order."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import IntegrityError, OperationalError, connection, transaction
from django.utils import timezone

from inventory.models import (
    Container,
    ContainerChange,
    CountReading,
    Entry,
    Holding,
    Material,
    Movement,
    Place,
    Unsealed,
)
from inventory.services.posting.book import Book, changed_rows, load_book, refuse_overflow
from inventory.services.posting.errors import BookBusy, EntryConflict, LabelTaken, WrongMaterial
from inventory.services.posting.keys import HeadKey
from inventory.services.posting.locking import (
    MoreLocksNeeded,
    UnderLock,
    lock_and_read,
    missing_heads,
)
from inventory.services.posting.plan import plan
from inventory.services.posting.request import Posting
from inventory.services.posting.retries import may_retry, pause
from inventory.services.posting.rows import Rows, insert_rows
from inventory.services.posting.scribe import Draft

# An entry meets a handful of unforeseen rows at most; more turns mean a fault in the planner.
MOST_TURNS = 40
ENTRY_COLUMNS = tuple(field.attname for field in Entry._meta.concrete_fields)
READING_COLUMNS = tuple(
    field.attname for field in CountReading._meta.concrete_fields if not field.primary_key
)
MOVEMENT_COLUMNS = tuple(field.attname for field in Movement._meta.concrete_fields if not field.primary_key)


def post(posting: Posting) -> Entry:
    """Take the entry whole, or raise and change nothing. The same posting again gives the same entry.

    Raises
    ------
    EntryConflict
        If the id stands for something else.
    WrongMaterial
        If goods are said to be in a reel or lot of another material.
    LabelTaken
        If a new container's label is in use.
    AmountOutOfRange
        If what would lie somewhere is too much to be written down.
    NotEnoughHeld, PromisedToAnother, ContainerElsewhere, ContainerHoldsOther, TooMuchForContainer
        If a plan asks for what is not there.
    GoodsMovedOn
        If what is to be reversed has moved on.
    BookBusy
        If others kept getting in the way; nothing was changed.
    """
    heads = _foresee_heads(posting)
    makes_missing = posting.opens_rows
    clashes = 0
    for turn in range(MOST_TURNS):
        try:
            with transaction.atomic():
                return _post_under_lock(posting, heads, makes_missing=makes_missing)
        except MoreLocksNeeded as needed:
            heads |= needed.heads
            makes_missing = True
        except IntegrityError:
            # Another transaction took the same id between our look and our write: look again, once.
            clashes += 1
            if clashes > 1:
                raise
        except OperationalError as error:
            if connection.in_atomic_block or not may_retry(error):
                raise
            pause(turn)
    raise BookBusy("The book is too busy to take this entry now. Nothing was changed: send it again.")


def _refuse_wrong_material(posting: Posting) -> None:
    named = [(flow.material, end) for flow in posting.flows for end in (flow.source, flow.target)]
    named += [(line.material, line.end) for line in posting.counts]
    for material, end in named:
        box = end.container
        if box is None or box.kind not in {Container.Kind.LOT, Container.Kind.REEL}:
            continue
        if box.material_id != material.pk:
            raise WrongMaterial(
                f"{box} is a {box.get_kind_display()} of {box.material}, not of {material}. "
                "Name the right one, or leave the container out."
            )


def _post_under_lock(posting: Posting, heads: frozenset[HeadKey], *, makes_missing: bool) -> Entry:
    places = _places_of(posting, heads)
    missing = missing_heads(heads, places) if makes_missing else []
    for container in posting.new_containers:
        # A turn that was rolled back leaves the object believing that it is saved.
        container.pk, container._state.adding = None, True
    containers = _containers_of(posting)
    under_lock = lock_and_read(posting, heads, containers, missing=missing)
    if under_lock.known_key is not None:
        return _accept_again(posting, Entry.objects.get(pk=under_lock.known_key))
    _refuse_wrong_material(posting)
    _refuse_taken_labels(posting)
    for container in posting.new_containers:
        container.save(force_insert=True)
    book = load_book(
        under_lock=under_lock,
        heads=heads,
        containers=containers,
        materials=_materials_of(posting),
    )
    book.places = places
    entry = _write(posting, book, plan(posting, book), under_lock)
    if posting.check is not None:
        posting.check(entry)
    return entry


def _accept_again(posting: Posting, known: Entry) -> Entry:
    if known.actor_id != posting.by.pk:
        # Nothing about someone else's entry is told, not even what it was.
        raise EntryConflict(f"The id {posting.uuid} is taken. Use a new one.")
    if known.fingerprint != posting.fingerprint():
        raise EntryConflict(
            f"The id {posting.uuid} was used for a {known.kind} recorded "
            f"{known.recorded_at:%Y-%m-%d %H:%M} UTC with other content. "
            "Use a new id for another entry; reverse the first to correct it."
        )
    return known


def _refuse_taken_labels(posting: Posting) -> None:
    labels = [container.label for container in posting.new_containers]
    taken = Container.objects.filter(label__in=labels).order_by("label").first() if labels else None
    if taken is not None:
        raise LabelTaken(f"The label {taken} stands on a container already. Give the new one another.")


def _write(posting: Posting, book: Book, draft: Draft, under_lock: UnderLock) -> Entry:
    refuse_overflow(book, draft.movements)
    entry = Entry(
        key=under_lock.next_key,
        uuid=posting.uuid,
        kind=posting.kind,
        occurred_at=posting.occurred_at,
        recorded_at=timezone.now(),
        booked_date=book_date(posting.occurred_at, under_lock.time_zone, under_lock.closed_until),
        actor=posting.by,
        reason=posting.reason,
        document=posting.document,
        reverses=posting.reverses,
        fingerprint=posting.fingerprint(),
    )
    for movement in draft.movements:
        movement.entry_id = entry.key
    insert_rows(
        Rows(Entry, ENTRY_COLUMNS, [[getattr(entry, column) for column in ENTRY_COLUMNS]]),
        Rows(
            Movement,
            MOVEMENT_COLUMNS,
            [[getattr(row, column) for column in MOVEMENT_COLUMNS] for row in draft.movements],
        ),
        *changed_rows(book),
        Rows(Unsealed, ["entry_id"], [[entry.key]]),
        *_reading_rows(entry, draft),
    )
    entry._state.adding, entry._state.db = False, connection.alias
    _write_facts(entry, draft)
    return entry


def _reading_rows(entry: Entry, draft: Draft) -> list[Rows]:
    """The counts of an entry; most have none."""
    for reading in draft.readings:
        reading.entry = entry
    values = [[getattr(row, column) for column in READING_COLUMNS] for row in draft.readings]
    return [Rows(CountReading, READING_COLUMNS, values)] if values else []


def _write_facts(entry: Entry, draft: Draft) -> None:
    for change in draft.changes:
        change.entry = entry
    if draft.changes:
        ContainerChange.objects.bulk_create(draft.changes)
        Container.objects.bulk_update(
            [change.container for change in draft.changes], ["place", "state", "contents_state"]
        )


def book_date(occurred_at: datetime, time_zone: str, closed_until: date | None = None) -> date:
    """Return the day of the company's calendar on which something that happened is booked.

    What happened in a closed period is booked on the first day after it; the entry keeps its true moment.
    """
    day = occurred_at.astimezone(ZoneInfo(time_zone)).date()
    return day if closed_until is None or day > closed_until else closed_until + timedelta(days=1)


# What an entry touches, as far as it can be told before anything is locked


def _foresee_heads(posting: Posting) -> frozenset[HeadKey]:
    heads = set()
    for flow in posting.flows:
        heads |= {
            HeadKey(end.place.pk, flow.material.pk, flow.owner.pk) for end in (flow.source, flow.target)
        }
    for line in posting.counts:
        heads.add(HeadKey(line.end.place.pk, line.material.pk, line.owner.pk))
    moved = {wish.container.pk: wish.place.pk for wish in posting.wishes if wish.place and wish.container.pk}
    for holding in Holding.objects.filter(container__in=moved, quantity__gt=0) if moved else ():
        for place_id in (holding.place_id, moved[holding.container_id or 0]):
            heads.add(HeadKey(place_id, holding.material_id, holding.owner_id))
    if posting.reverses is not None:
        for movement in posting.reverses.movements.all():
            for place_id in (movement.source_place_id, movement.target_place_id):
                heads.add(HeadKey(place_id, movement.material_id, movement.owner_id))
        for reading in posting.reverses.readings.all():
            heads.add(HeadKey(reading.place_id, reading.material_id, reading.owner_id))
    return frozenset(heads)


def _places_of(posting: Posting, heads: frozenset[HeadKey]) -> dict[int, Place]:
    places = {end.place.pk: end.place for flow in posting.flows for end in (flow.source, flow.target)}
    places |= {line.end.place.pk: line.end.place for line in posting.counts}
    unknown = {head.place_id for head in heads} - set(places)
    return places | Place.objects.in_bulk(unknown) if unknown else places


def _containers_of(posting: Posting) -> list[Container]:
    # By label: a new container has no key yet.
    found: dict[str, Container] = {}
    ends = [end for flow in posting.flows for end in (flow.source, flow.target)]
    ends += [line.end for line in posting.counts]
    for end in ends:
        if end.container is not None:
            found[end.container.label] = end.container
    for wish in posting.wishes:
        found[wish.container.label] = wish.container
    if posting.reverses is not None:
        for movement in posting.reverses.movements.select_related("source_container", "target_container"):
            for container in (movement.source_container, movement.target_container):
                if container is not None:
                    found[container.label] = container
        for change in posting.reverses.container_changes.select_related("container"):
            found[change.container.label] = change.container
    return list(found.values())


def _materials_of(posting: Posting) -> list[Material]:
    found = {flow.material.pk: flow.material for flow in posting.flows}
    found |= {line.material.pk: line.material for line in posting.counts}
    if posting.reverses is not None:
        found |= {
            row.material_id: row.material for row in posting.reverses.movements.select_related("material")
        }
    containers = [wish.container.pk for wish in posting.wishes if wish.place]
    if containers:
        held = Material.objects.filter(holdings__container__in=containers)
        found |= {material.pk: material for material in held}
    return list(found.values())
