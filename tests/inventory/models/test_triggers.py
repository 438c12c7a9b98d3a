"""The triggers that keep the book immutable, on whichever database the suite runs."""

import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.test import override_settings

import inventory.migrations
from inventory.models import JournalBatch, Material, Place, RejectedBatch
from inventory.models.triggers import IMMUTABLE_TABLES, drop_triggers, find_missing_triggers, make_triggers
from inventory.services.counts import Found, count
from inventory.services.goods import transfer
from inventory.services.posting import End
from inventory.services.sealing import record_event, seal_all
from jobs.models import IssuedSheet
from tests.factories.inventory import at, gal, make_world
from tests.factories.jobs import make_job

# Altering a column makes SQLite copy the table into a new one.
REBUILD = """
from django.db import migrations, models

class Migration(migrations.Migration):
    dependencies = [("inventory", "{last}")]
    operations = [
        migrations.AlterField("entry", "document", models.CharField(max_length=201, blank=True)),
        migrations.AlterField("holding", "key", models.CharField(max_length=89, primary_key=True)),
        migrations.AlterField("material", "code", models.CharField(max_length=65)),
    ]
"""


@pytest.fixture
def last_migration() -> str:
    ((_app, name),) = MigrationLoader(connection).graph.leaf_nodes("inventory")
    return name


@pytest.fixture
def with_a_rebuild(tmp_path: Path, last_migration: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The real migrations of inventory and, after them, one that rebuilds tables."""
    package = tmp_path / "inventory_migrations_and_one"
    package.mkdir()
    (package / "__init__.py").write_text(f"__path__.extend({list(inventory.migrations.__path__)!r})\n")
    (package / "m9999_rebuild_tables.py").write_text(REBUILD.format(last=last_migration))
    monkeypatch.syspath_prepend(tmp_path)
    with override_settings(MIGRATION_MODULES={"inventory": package.name}):
        yield
    for name in [name for name in sys.modules if name.split(".")[0] == package.name]:
        del sys.modules[name]


@pytest.mark.django_db
def test_make_triggers_stand_after_migrate() -> None:
    assert find_missing_triggers(connection) == []


@pytest.mark.django_db(transaction=True)
def test_make_triggers_stand_after_a_migration_that_rebuilds_tables(
    with_a_rebuild: None, last_migration: str
) -> None:
    call_command("migrate", "inventory", verbosity=0)
    try:
        assert find_missing_triggers(connection) == []
        with connection.cursor() as cursor:
            description = connection.introspection.get_table_description(cursor, "inventory_entry")
        (document,) = [column for column in description if column.name == "document"]
        assert document.display_size == 201
    finally:
        call_command("migrate", "inventory", last_migration, verbosity=0)
    assert find_missing_triggers(connection) == []


@pytest.mark.sqlite
@pytest.mark.django_db(transaction=True)
def test_find_missing_triggers_names_those_a_rebuild_dropped() -> None:
    """Shows that the handler is needed: without it a rebuilt table would lie open."""
    from inventory.models import Entry

    with connection.schema_editor() as editor:
        editor._remake_table(Entry)  # type: ignore[attr-defined]
    assert find_missing_triggers(connection) == [
        "inventory_entry_refuses_delete",
        "inventory_entry_refuses_update",
    ]
    make_triggers(connection)
    assert find_missing_triggers(connection) == []


@pytest.mark.postgresql
@pytest.mark.django_db
def test_find_missing_triggers_names_one_that_is_switched_off() -> None:
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE inventory_seal DISABLE TRIGGER inventory_seal_is_immutable")
    assert find_missing_triggers(connection) == ["inventory_seal_is_immutable"]


@pytest.mark.django_db
def test_drop_triggers_leaves_none() -> None:
    drop_triggers(connection)
    assert len(find_missing_triggers(connection)) > 10


@pytest.mark.django_db(transaction=True)
@pytest.mark.long
def test_make_triggers_passes_over_tables_that_are_not_there_yet() -> None:
    """Migrating back to nothing sends `post_migrate` too."""
    call_command("migrate", "inventory", "zero", verbosity=0)
    assert len(find_missing_triggers(connection)) > 10
    call_command("migrate", verbosity=0)
    assert find_missing_triggers(connection) == []


@pytest.fixture
def filled_book() -> None:
    """A row in every immutable table."""
    world = make_world()
    drum = world.drum("D1", 50)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(2), containers=[(drum, world.vehicle)])
    found = [Found(world.fluid, gal(40), End(world.vehicle, drum))]
    count(id=uuid4(), by=world.actor, occurred_at=at(3), found=found)
    record_event(id=uuid4(), kind="kit_ready", occurred_at=at(4), body={})
    IssuedSheet.objects.create(
        uuid=uuid4(),
        job=make_job(),
        number=1,
        issued_at=at(4),
        issued_by=world.actor,
        content={},
        last_sequence=0,
    )
    until = date(2026, 3, 2)
    batch = JournalBatch.objects.create(
        number=1, made_at=at(4), made_by=world.actor, booked_until=until, last_sequence=0
    )
    RejectedBatch.objects.create(
        batch=batch, attempt=1, made_at=at(4), made_by=world.actor, rejected_at=at(5), lines=[]
    )
    seal_all()


def assert_refused(sql: str, *, says: str) -> None:
    with pytest.raises(IntegrityError, match=says), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


@pytest.mark.django_db
@pytest.mark.parametrize("table", IMMUTABLE_TABLES)
def test_the_database_refuses_update_and_delete(filled_book: None, table: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        assert cursor.fetchone()[0] > 0
        (column, *_others) = [
            column.name for column in connection.introspection.get_table_description(cursor, table)
        ]
    assert_refused(f"UPDATE {table} SET {column} = {column}", says="the book is immutable")
    assert_refused(f"DELETE FROM {table}", says="the book is immutable")


@pytest.mark.sqlite
@pytest.mark.django_db
@pytest.mark.parametrize("table", IMMUTABLE_TABLES)
def test_the_database_refuses_insert_or_replace(filled_book: None, table: str) -> None:
    assert_refused(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}", says="the book is immutable")
    assert_refused(f"REPLACE INTO {table} SELECT * FROM {table}", says="the book is immutable")


@pytest.mark.postgresql
@pytest.mark.django_db
@pytest.mark.parametrize("table", IMMUTABLE_TABLES)
def test_the_database_refuses_truncate(filled_book: None, table: str) -> None:
    with connection.cursor() as cursor:
        # References that wait to be checked at commit would refuse it first.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    assert_refused(f"TRUNCATE {table} CASCADE", says="the book is immutable")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("inventory_place", "kind = 'waste'"),
        ("inventory_container", "kind = 'tote'"),
        ("inventory_container", "owner_id = owner_id + 1"),
        ("inventory_material", "stock_unit = 'L'"),
        ("inventory_material", "cost_formula = 'fifo'"),
    ],
)
def test_the_database_refuses_a_change_of_a_fixed_column(filled_book: None, table: str, change: str) -> None:
    assert_refused(f"UPDATE {table} SET {change}", says="never changes")


@pytest.mark.django_db
def test_the_database_lets_other_columns_change(filled_book: None) -> None:
    assert Place.objects.update(name="Renamed") > 0
    assert Material.objects.filter(holdings__isnull=True).update(cost_formula="fifo") > 0


@pytest.mark.django_db(transaction=True)
def test_find_missing_triggers_names_one_that_does_nothing_any_more() -> None:
    """The same name with nothing in it: on SQLite one trigger, on PostgreSQL the function behind them."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "CREATE OR REPLACE FUNCTION inventory_refuse_change() RETURNS trigger LANGUAGE plpgsql"
                " AS $$ BEGIN RETURN NEW; END $$"
            )
        else:
            cursor.execute("DROP TRIGGER inventory_entry_refuses_update")
            cursor.execute(
                "CREATE TRIGGER inventory_entry_refuses_update BEFORE UPDATE ON inventory_entry"
                " BEGIN SELECT 1; END"
            )
    missing = find_missing_triggers(connection)
    assert len(missing) == (2 * len(IMMUTABLE_TABLES) if connection.vendor == "postgresql" else 1)
    make_triggers(connection)
    assert find_missing_triggers(connection) == []
