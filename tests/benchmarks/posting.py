"""Posting an entry of eight movements, beside the same rows written by plain psycopg. PostgreSQL only.

Both write the same rows in one transaction, to the same tables, with the same constraints, triggers and
durability, on the same connection. The plain writer knows beforehand what the service has to find out: what
is held, what goods cost, which rows are there. It reads, locks and checks nothing.
"""

import random
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from django.db import connection

from inventory.models import Actor, CostPool, Entry, Holding, Material, Movement, Place
from inventory.services.goods import transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.benchmarks.measurement import Measurement
from tests.factories.inventory import World, each, make_world

PRELOADED_MOVEMENTS = 200_000
LINES = 8
ENTRIES_A_TURN = 50
TURNS = 7
START = datetime(2026, 1, 5, tzinfo=UTC)


def main() -> list[Measurement]:
    if connection.vendor != "postgresql":
        print("posting: needs PostgreSQL")
        return []
    world = make_world()
    materials = make_materials()
    preload(world, materials)
    by_service, by_hand = Service(world, materials), Plain(world, materials)
    rates: dict[str, list[float]] = {"service": [], "plain": []}
    for turn in range(TURNS + 1):
        # Which of them goes first alternates too, so that neither always meets the warmer cache.
        pair: list[tuple[str, Callable[[], None]]] = [("service", by_service), ("plain", by_hand)]
        for name, write in pair if turn % 2 else reversed(pair):
            rate = measure(write)
            if turn:
                rates[name].append(rate)
    service, plain = median(rates["service"]), median(rates["plain"])
    return [
        Measurement(what="entries posted by the service", value=service, unit="1/s"),
        Measurement(what="the same rows by plain psycopg", value=plain, unit="1/s"),
        Measurement(what="ratio", value=service / plain, unit="", at_least=0.4),
    ]


def measure(write: Callable[[], None]) -> float:
    started = time.perf_counter()
    for _entry in range(ENTRIES_A_TURN):
        write()
    return ENTRIES_A_TURN / (time.perf_counter() - started)


def median(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]


def make_materials() -> list[Material]:
    return [
        Material.objects.create(
            code=f"fitting-{number}",
            name=f"Fitting {number}",
            kind="fitting",
            stock_unit="1",
            fitting_role="union",
        )
        for number in range(LINES)
    ]


def preload(world: World, materials: list[Material]) -> None:
    """A book with history: stock in the warehouse, drawn to many spans."""
    spans = [Place.objects.create(code=f"past-{n}", name=f"Past {n}", kind="span") for n in range(200)]
    entries = [
        Entry(
            uuid=uuid.uuid4(),
            kind="draw",
            occurred_at=START + timedelta(minutes=number),
            recorded_at=START,
            booked_date=START.date(),
            actor=world.actor,
            fingerprint="0" * 64,
        )
        for number in range(PRELOADED_MOVEMENTS // LINES)
    ]
    Entry.objects.bulk_create(entries, batch_size=5000)
    for first in range(0, len(entries), 1000):
        Movement.objects.bulk_create(
            Movement(
                entry=entry,
                line=line + 1,
                material=material,
                owner=world.company,
                source_place=world.warehouse,
                target_place=random.choice(spans),
                quantity=1_000_000,
                value=2_000_000,
                purpose="used",
                effective_at=entry.occurred_at,
            )
            for entry in entries[first : first + 1000]
            for line, material in enumerate(materials)
        )
    kept = [
        {
            "key": f"{place.pk}:{material.pk}:{world.company.pk}:0",
            "place": place,
            "material": material,
            "owner": world.company,
            "is_kept": True,
            "quantity": 10**15,
        }
        for material in materials
        for place in (world.warehouse, world.vehicle, *spans)
    ]
    Holding.objects.bulk_create(Holding(**row) for row in kept)
    CostPool.objects.bulk_create(CostPool(**row, value=2 * 10**15) for row in kept)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


class Service:
    """A plan: eight kinds of goods from the warehouse onto the vehicle."""

    def __init__(self, world: World, materials: list[Material]) -> None:
        self.actor: Actor = world.actor
        self.lines = [
            Line(material, each(1), End(world.warehouse), End(world.vehicle)) for material in materials
        ]
        self.number = 0

    def __call__(self) -> None:
        self.number += 1
        moment = START + timedelta(days=60, seconds=self.number)
        transfer(id=uuid.uuid4(), by=self.actor, occurred_at=moment, lines=self.lines)


class Plain:
    """The same rows, one statement a table, in one transaction."""

    def __init__(self, world: World, materials: list[Material]) -> None:
        connection.ensure_connection()
        self.psycopg = connection.connection
        self.world, self.materials = world, materials
        self.number = 0

    def __call__(self) -> None:
        self.number += 1
        moment = START + timedelta(days=60, seconds=self.number)
        with self.psycopg.transaction(), self.psycopg.cursor() as cursor:
            cursor.execute(
                "INSERT INTO inventory_entry (uuid, kind, occurred_at, recorded_at, booked_date, actor_id,"
                " reason, document, reverses_id, fingerprint)"
                " VALUES (%s, 'transfer', %s, %s, %s, %s, '', '', NULL, %s) RETURNING key",
                (uuid.uuid4(), moment, datetime.now(UTC), moment.date(), self.world.actor.pk, "0" * 64),
            )
            entry = cursor.fetchone()[0]
            self.write_movements(cursor, entry, moment)
            self.write_sums(
                cursor, "inventory_holding", "container_id", "is_unsettled, counted_at", "false, NULL"
            )
            self.write_sums(cursor, "inventory_costpool", "lot_id", "value", f"{10**15}")
            cursor.execute("INSERT INTO inventory_unsealed (entry_id, event_id) VALUES (%s, NULL)", (entry,))

    def write_movements(self, cursor, entry: int, moment: datetime) -> None:  # type: ignore[no-untyped-def]
        row = "(%s, %s, %s, %s, %s, NULL, %s, NULL, NULL, 1000000, 2000000, 'moved', '', %s, '1', '1')"
        values = [
            value
            for line, material in enumerate(self.materials, start=1)
            for value in (
                entry, line, material.pk, self.world.company.pk, self.world.warehouse.pk,
                self.world.vehicle.pk, moment,
            )
        ]  # fmt: skip
        cursor.execute(
            "INSERT INTO inventory_movement (entry_id, line, material_id, owner_id, source_place_id,"
            " source_container_id, target_place_id, target_container_id, lot_id, quantity, value, purpose,"
            " cause, effective_at, entered_value, entered_unit) VALUES " + ", ".join([row] * LINES),
            values,
        )

    def write_sums(self, cursor, table: str, part: str, columns: str, given: str) -> None:  # type: ignore[no-untyped-def]
        row = f"(%s, %s, %s, %s, NULL, %s, true, {given})"
        updated = ["quantity", *columns.split(", ")]
        values = [
            value
            for place in (self.world.warehouse, self.world.vehicle)
            for material in self.materials
            for value in (
                f"{place.pk}:{material.pk}:{self.world.company.pk}:0", place.pk, material.pk,
                self.world.company.pk, 10**15 + self.number,
            )
        ]  # fmt: skip
        cursor.execute(
            f"INSERT INTO {table} (key, place_id, material_id, owner_id, {part}, quantity, is_kept,"
            f" {columns})"
            " VALUES "
            + ", ".join([row] * (2 * LINES))
            + " ON CONFLICT (key) DO UPDATE SET "
            + ", ".join(f"{column} = EXCLUDED.{column}" for column in updated),
            values,
        )
