"""Whatever is changed behind the service's back is found."""

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError, connection, models, transaction

from inventory.errors import BadInput
from inventory.models import (
    ChainHead,
    Container,
    ContainerChange,
    CostPool,
    CountReading,
    DomainEvent,
    Entry,
    Holding,
    Movement,
    Seal,
    Unsealed,
)
from inventory.models.triggers import IMMUTABLE_TABLES, drop_triggers
from inventory.queries.canonical import FIRST_HASH
from inventory.queries.chain_heads import START, KeptHead, read_head
from inventory.queries.verification import verify_ledger
from inventory.services.corrections import reverse
from inventory.services.counts import Found, count
from inventory.services.goods import draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.sealing import record_event, seal_all
from tests.factories.inventory import World, at, gal, make_world

pytestmark = pytest.mark.django_db

SEALED = (Entry, Movement, ContainerChange, CountReading, DomainEvent, Seal)
COLUMNS = [(model, field.attname) for model in SEALED for field in model._meta.concrete_fields]


@pytest.fixture
def world() -> World:
    """A sealed book with a row in every table of it."""
    world = make_world()
    drum = world.drum("D1", 50, cost=100)
    line = Line(world.fluid, gal(5), End(world.warehouse, drum), End(world.span))
    drawn = draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], document="ticket 7")
    transfer(id=uuid4(), by=world.actor, occurred_at=at(2), containers=[(drum, world.vehicle)])
    found = [Found(world.fluid, gal(40), End(world.vehicle, drum))]
    count(id=uuid4(), by=world.actor, occurred_at=at(3), found=found)
    reverse(id=uuid4(), by=world.actor, entry=drawn, reason="wrong span")
    record_event(id=uuid4(), kind="kit_ready", occurred_at=at(4), body={"kit": "A"})
    seal_all()
    assert list(verify_ledger()) == []
    return world


@pytest.fixture
def unlocked(world: World) -> Iterator[World]:
    """The book with its triggers lifted; whatever is done to it is taken back at the end."""
    with transaction.atomic():
        drop_triggers(connection)
        yield world
        transaction.set_rollback(True)


def subjects() -> set[str]:
    return {difference.subject for difference in verify_ledger()} - {"trigger"}


def another(value: Any, field: Any) -> Any:
    """A value that differs by as little as the column can tell."""
    if isinstance(value, datetime):
        return value + timedelta(microseconds=1)
    if isinstance(value, date):
        return value + timedelta(days=1)
    if isinstance(value, UUID):
        return UUID(int=value.int ^ 1)
    if isinstance(value, dict):
        return {**value, "kit": "B"}
    if isinstance(value, int):
        return value + 1000 if field.remote_field or field.primary_key else value + 1
    if isinstance(value, str):
        return f"{value[:-1]}{'0' if value[-1:] != '0' else '1'}"
    return 1000


@pytest.mark.parametrize(("model", "column"), COLUMNS, ids=lambda part: getattr(part, "__name__", part))
def test_verify_ledger_finds_a_change_of_any_column(
    unlocked: World, model: type[models.Model], column: str
) -> None:
    row = model._default_manager.order_by("pk").last()
    assert row is not None
    field = model._meta.get_field(column)
    changed = another(getattr(row, column), field)
    try:
        with transaction.atomic():
            model._default_manager.filter(pk=row.pk).update(**{column: changed})
    except IntegrityError:
        # A seal is of an entry or of an event, never of both: this change the database itself refuses.
        assert (model, column) in {(Seal, "entry_id"), (Seal, "event_id")}
        return
    assert subjects()


@pytest.mark.parametrize(
    "change",
    [
        lambda: Holding.objects.filter(quantity__gt=0).update(quantity=models.F("quantity") + 1),
        lambda: Holding.objects.filter(counted_at__isnull=False).update(counted_at=at(2)),
        lambda: Holding.objects.filter(is_kept=True).update(is_kept=False),
        lambda: Holding.objects.filter(quantity__gt=0).delete(),
    ],
    ids=["quantity", "counted_at", "is_kept", "deleted"],
)
def test_verify_ledger_finds_a_changed_holding(world: World, change: Callable[[], object]) -> None:
    change()
    assert "holding" in subjects()


@pytest.mark.parametrize("column", ["quantity", "value"])
def test_verify_ledger_finds_a_changed_cost_pool(world: World, column: str) -> None:
    CostPool.objects.filter(quantity__gt=0).update(**{column: models.F(column) + 1})
    assert "cost pool" in subjects()


def test_verify_ledger_finds_a_deleted_cost_pool(world: World) -> None:
    CostPool.objects.filter(quantity__gt=0).delete()
    assert "cost pool" in subjects()


def test_verify_ledger_finds_a_drum_put_elsewhere(world: World) -> None:
    Container.objects.update(place=world.site)
    assert "container" in subjects()


@pytest.mark.parametrize("position", [0, 2, -1], ids=["first", "middle", "last"])
def test_verify_ledger_finds_a_removed_seal(unlocked: World, position: int) -> None:
    sequences = list(Seal.objects.order_by("sequence").values_list("sequence", flat=True))
    Seal.objects.filter(sequence=sequences[position]).delete()
    assert "seal" in subjects()


def test_verify_ledger_finds_an_entry_sealed_away_with_its_head(unlocked: World) -> None:
    """The last link taken off and the head set back: the chain is whole, but something is missing from it."""
    last = Seal.objects.order_by("sequence").last()
    assert last is not None
    before = Seal.objects.get(sequence=last.sequence - 1)
    Seal.objects.filter(pk=last.pk).delete()
    ChainHead.objects.update(sequence=before.sequence, hash=before.hash)
    assert subjects() == {"seal"}


def test_verify_ledger_finds_a_movement_added_to_a_sealed_entry(world: World) -> None:
    movement = Movement.objects.filter(purpose="used").first()
    assert movement is not None
    movement.pk, movement.line = None, 99
    movement._state.adding = True
    movement.save()
    assert {"seal", "holding", "cost pool"} <= subjects()


def test_a_chain_made_anew_is_found_by_a_head_that_left_the_house(unlocked: World) -> None:
    """Somebody changes an entry, seals all of it again and hides every trace in the book itself."""
    told = [KeptHead(seal.sequence, seal.hash) for seal in Seal.objects.order_by("sequence")]
    entry = Entry.objects.order_by("key")[1]
    Entry.objects.filter(pk=entry.pk).update(document="ticket 8")
    Seal.objects.all().delete()
    ChainHead.objects.update(sequence=0, hash=FIRST_HASH)
    Unsealed.objects.bulk_create(Unsealed(entry=row) for row in Entry.objects.order_by("key"))
    Unsealed.objects.bulk_create(Unsealed(event=row) for row in DomainEvent.objects.order_by("pk"))
    seal_all()
    assert Seal.objects.count() == len(told)
    assert subjects() == set()
    found = [row for row in verify_ledger(kept_heads=[told[-1]]) if row.subject != "trigger"]
    assert [row.subject for row in found] == ["kept head"]
    assert str(told[-1]) in found[0].message


def test_heads_that_are_still_on_the_chain_say_nothing(world: World) -> None:
    told = [START, *(KeptHead(seal.sequence, seal.hash) for seal in Seal.objects.order_by("sequence"))]
    world.drum("D2", 50, cost=100)
    seal_all()
    assert list(verify_ledger(kept_heads=[read_head(str(head)) for head in told])) == []


def test_read_head_names_what_is_none() -> None:
    with pytest.raises(BadInput, match="64 hexadecimal digits"):
        read_head("12-abc")


def test_verify_ledger_finds_an_entry_that_passed_by_the_service(world: World) -> None:
    entry = Entry.objects.order_by("key").last()
    assert entry is not None
    entry.pk, entry.uuid, entry.reverses = None, uuid4(), None
    entry._state.adding = True
    entry.save()
    assert subjects() == {"seal"}


def test_verify_ledger_finds_what_is_sealed_and_waits_all_the_same(world: World) -> None:
    Unsealed.objects.create(entry=Entry.objects.order_by("key").first())
    assert "seal" in subjects()


def _triggers() -> list[tuple[str, str]]:
    if connection.vendor == "postgresql":
        return [
            (f"{table}_{rule}", table)
            for table in IMMUTABLE_TABLES
            for rule in ("is_immutable", "is_not_emptied")
        ]
    return [(f"{table}_refuses_{act}", table) for table in IMMUTABLE_TABLES for act in ("update", "delete")]


def test_verify_ledger_names_a_trigger_that_was_removed(world: World) -> None:
    for name, table in _triggers():
        with transaction.atomic(), connection.cursor() as cursor:
            on = f" ON {table}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER {name}{on}")
            (difference,) = verify_ledger()
            assert difference.subject == "trigger"
            assert name in difference.message
            transaction.set_rollback(True)
    assert list(verify_ledger()) == []
