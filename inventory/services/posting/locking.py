"""Locking what an entry touches, in one order, and reading what stands behind the locks.

The head cost pool of each place, material and owner is the lock: whoever holds it may write all holdings and
pools under it.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import connection

from inventory.models import Container, CostPool, Place
from inventory.queries.company import NotSetUp
from inventory.services.posting.keys import HeadKey, HoldingKey
from inventory.services.posting.request import Posting
from inventory.services.posting.rows import (
    Rows,
    Select,
    columns_of,
    exchange,
    make_models,
    one_of,
    read_day,
    read_moment,
    read_rows,
)

# A number that stands for the books as a whole; nothing else here takes locks by number.
BOOKS = 7_261_001


class MoreLocksNeeded(Exception):
    """The entry touches rows that were not foreseen: start again and lock them in order."""

    def __init__(self, heads: Iterable[HeadKey]) -> None:
        super().__init__("more locks needed")
        self.heads = frozenset(heads)


@dataclass(frozen=True)
class UnderLock:
    """What was read while the heads were held.

    `next_key` is the entry's key, taken when all heads were held, so that among entries that share a
    holding the order of keys is the order of commits. `is_overtaken` tells that something happened after
    the entry's moment to what it counts.
    """

    pools: dict[HeadKey, tuple[int, int]]
    known_key: int | None
    time_zone: str
    closed_until: date | None
    has_promises: bool
    holdings: dict[HoldingKey, tuple[int, datetime | None, bool]]
    next_key: int
    containers: list[Container]
    is_overtaken: bool


def lock_and_read(
    posting: Posting,
    heads: frozenset[HeadKey],
    containers: Collection[Container],
    *,
    missing: Sequence[Rows] = (),
) -> UnderLock:
    """Lock the heads and read, behind the locks, what the entry has to know, all in one message.

    `missing` are the rows of heads to be made before anything is locked.

    Raises
    ------
    MoreLocksNeeded
        If the row of a head is missing; it is to be made before anything is locked.
    NotSetUp
        If there is no company.
    """
    _books, pools, vessels, found, holdings, [[next_key]], [[is_overtaken]] = exchange(
        *missing,
        _keep_books_open(),
        _lock(heads),
        _lock_containers(containers),
        _look_up(posting, heads),
        _holdings(heads, containers),
        _next_key(),
        _look_after(posting),
    )
    _refuse_missing(heads, pools)
    if not found:
        raise NotSetUp("This installation has no company yet. Run `python manage.py set_up` first.")
    known_key, time_zone, closed_until, has_promises = found[0]
    return UnderLock(
        pools={HeadKey(*row[:3]): row[3:] for row in pools},
        known_key=known_key,
        time_zone=time_zone,
        closed_until=read_day(closed_until),
        has_promises=bool(has_promises),
        holdings={
            HoldingKey(HeadKey(*row[:3]), row[3] or 0): (row[4], read_moment(row[5]), bool(row[6]))
            for row in holdings
        },
        next_key=next_key,
        containers=[_make_container(row) for row in vessels],
        is_overtaken=bool(is_overtaken),
    )


def _make_container(row: Sequence[Any]) -> Container:
    """A container with the place it stands at, read when it was locked."""
    container, place = make_models(row, Container, Place)
    container.place = place
    made: Container = container
    return made


def lock_heads(heads: frozenset[HeadKey], places: dict[int, Place]) -> None:
    """Lock every head in one order, making those that are missing first, in the same order."""
    [pools] = exchange(*missing_heads(heads, places), _lock(heads))
    _refuse_missing(heads, pools)


def missing_heads(heads: frozenset[HeadKey], places: dict[int, Place]) -> list[Rows]:
    """Rows of heads that may be missing, in the order in which they will be locked.

    They go in before any is locked: whoever inserts a row holds it until commit, so inserting between locks
    would let two entries wait for each other. Few are missing, so `post` makes them only when it has to.
    """
    columns = ("key", "place_id", "material_id", "owner_id", "quantity", "value", "is_kept")
    rows = [(head.text(), *head, 0, 0, places[head.place_id].keeps_stock) for head in sorted(heads)]
    return [Rows(CostPool, columns, rows, keeps_standing=True)] if rows else []


def _refuse_missing(heads: frozenset[HeadKey], pools: Collection[object]) -> None:
    if len(pools) < len(heads):
        raise MoreLocksNeeded(heads)


def hold_books() -> None:
    """Wait for every posting under way and keep new ones waiting, until this transaction ends.

    For whoever closes a period: no entry then slips into it that began before the closing.
    """
    if connection.vendor == "postgresql":
        read_rows(Select("SELECT pg_advisory_xact_lock(%s)", [BOOKS]))


def _keep_books_open() -> Select:
    """Keep a period from being closed under a posting; postings do not wait for one another here."""
    if connection.vendor == "postgresql":
        return Select("SELECT pg_advisory_xact_lock_shared(%s)", [BOOKS])
    # The write lock is held, so nobody closes anything.
    return Select("SELECT 1", [])


def _lock(heads: frozenset[HeadKey]) -> Select:
    keys = [head.text() for head in heads]
    # SQLite knows no row locks; its write lock is held since the transaction began.
    lock = " FOR NO KEY UPDATE" if connection.vendor == "postgresql" else ""
    return Select(
        "SELECT place_id, material_id, owner_id, quantity, value FROM inventory_costpool"
        f" WHERE key IN {one_of(keys)} ORDER BY place_id, material_id, owner_id{lock}",
        keys,
    )


def _lock_containers(containers: Collection[Container]) -> Select:
    """Vessels are held too: an empty one goes elsewhere without touching a head."""
    keys = sorted(container.pk for container in containers if container.pk)
    lock = " FOR NO KEY UPDATE OF box" if connection.vendor == "postgresql" else ""
    return Select(
        f"SELECT {columns_of(Container, 'box')}, {columns_of(Place, 'place')} FROM inventory_container box"
        " LEFT JOIN inventory_place place ON place.id = box.place_id"
        f" WHERE box.id IN {one_of(keys)} ORDER BY box.id{lock}",
        keys,
    )


def _look_up(posting: Posting, heads: frozenset[HeadKey]) -> Select:
    """The entry with the same id, what holds for the company, whether a plan has to heed promises."""
    promised = "FALSE"
    values: list[Any] = [posting.uuid]
    if posting.is_plan:
        places = sorted({head.place_id for head in heads})
        materials = sorted({head.material_id for head in heads})
        promised = (
            f"EXISTS (SELECT 1 FROM inventory_reservation WHERE place_id IN {one_of(places)}"
            f" AND material_id IN {one_of(materials)})"
        )
        values += [*places, *materials]
    return Select(
        f"SELECT (SELECT key FROM inventory_entry WHERE uuid = %s), time_zone, books_closed_until, {promised}"
        " FROM inventory_company LIMIT 1",
        values,
    )


def _holdings(heads: frozenset[HeadKey], containers: Collection[Container]) -> Select:
    """Loose goods and lots under the heads, and whatever the vessels hold wherever it is."""
    saved = [container for container in containers if container.pk]
    vessels = [container.pk for container in saved if container.stands_somewhere]
    lots = [container for container in saved if not container.stands_somewhere]
    keys = [head.text() for head in heads]
    keys += [head.text(lot.pk) for head in heads for lot in lots if lot.material_id == head.material_id]
    in_vessels = f" OR container_id IN {one_of(vessels)}" if vessels else ""
    return Select(
        "SELECT place_id, material_id, owner_id, container_id, quantity, counted_at, is_unsettled"
        f" FROM inventory_holding WHERE key IN {one_of(keys)}{in_vessels}",
        [*keys, *vessels],
    )


def _next_key() -> Select:
    if connection.vendor == "postgresql":
        return Select("SELECT nextval(pg_get_serial_sequence('inventory_entry', 'key'))", [])
    # The write lock is held, so nobody else counts on from the same number.
    return Select(
        "SELECT COALESCE((SELECT seq FROM sqlite_sequence WHERE name = 'inventory_entry'), 0) + 1", []
    )


def _look_after(posting: Posting) -> Select:
    """Whether anything happened after the moment to what is counted; one look for all lines of a count."""
    boxes = sorted({line.end.container_id for line in posting.counts if line.end.container_id})
    loose = [line for line in posting.counts if not line.end.container_id]
    places = sorted({line.end.place.pk for line in loose})
    materials = sorted({line.material.pk for line in loose})
    parts: list[str] = []
    values: list[Any] = []
    for side in ("source", "target"):
        if boxes:
            parts.append(f"{side}_container_id IN {one_of(boxes)} AND effective_at > %s")
            values += [*boxes, posting.occurred_at]
        if places:
            parts.append(
                f"{side}_place_id IN {one_of(places)} AND material_id IN {one_of(materials)}"
                f" AND {side}_container_id IS NULL AND effective_at > %s"
            )
            values += [*places, *materials, posting.occurred_at]
    found = [f"EXISTS (SELECT 1 FROM inventory_movement WHERE {part})" for part in parts]
    return Select(f"SELECT {' OR '.join(found) or 'FALSE'}", values)
