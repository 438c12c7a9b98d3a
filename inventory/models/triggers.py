"""What keeps the book immutable below Python: triggers on both databases.

They are not part of a migration, because SQLite rebuilds a table to alter it and silently drops its
triggers on the way. They are made again after every `migrate`, and `verify_ledger` looks for them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.backends.base.base import BaseDatabaseWrapper

IMMUTABLE_TABLES = (
    "inventory_entry",
    "inventory_movement",
    "inventory_containerchange",
    "inventory_countreading",
    "inventory_domainevent",
    "inventory_seal",
    "inventory_rejectedbatch",
    # Not of this package; the same triggers keep what left the house as it left.
    "jobs_issuedsheet",
)

# Besides whole tables: single columns that never change. The condition says when a change is refused.
FIXED_COLUMNS = {
    "inventory_place": ("kind", "OLD.kind <> NEW.kind"),
    "inventory_container": (
        "kind_owner",
        "OLD.kind <> NEW.kind OR OLD.owner_id <> NEW.owner_id",
    ),
    "inventory_material": (
        "unit_and_cost_formula",
        "(OLD.stock_unit <> NEW.stock_unit OR OLD.cost_formula <> NEW.cost_formula)"
        " AND EXISTS (SELECT 1 FROM inventory_holding WHERE material_id = OLD.id)",
    ),
}


@dataclass(frozen=True)
class Trigger:
    """One trigger: its name, its table, the statement that makes it, and how the database tells of it.

    `told_as` is, on SQLite, the statement itself; on PostgreSQL, when it fires and the function it runs.
    """

    name: str
    table: str
    sql: str
    told_as: str


def find_missing_triggers(connection: BaseDatabaseWrapper) -> list[str]:
    """Name the triggers that should stand and do not, are switched off, or do something else by now."""
    standing = _standing_triggers(connection)
    return sorted(
        trigger.name
        for trigger in _triggers(connection.vendor)
        if standing.get(trigger.name) != (trigger.table, trigger.told_as)
    )


def _standing_triggers(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                # A condition (tgqual) or a list of columns (tgattr) would let some changes pass.
                "SELECT t.tgname, c.relname, t.tgtype || ':' || p.prosrc FROM pg_trigger t"
                " JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_namespace n ON n.oid = c.relnamespace"
                " JOIN pg_proc p ON p.oid = t.tgfoid"
                " WHERE n.nspname = current_schema() AND t.tgenabled IN ('O', 'A')"
                " AND t.tgqual IS NULL AND t.tgattr::text = ''"
            )
        else:
            cursor.execute("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
        return {name: (table, told_as) for name, table, told_as in cursor.fetchall()}


def make_triggers(connection: BaseDatabaseWrapper) -> None:
    """Make every trigger anew, so that one that was changed is right again too."""
    drop_triggers(connection)
    # `migrate inventory 0001` ends here too, at a time when later tables are not there.
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_function_sql("inventory_refuse_change", _REFUSE_CHANGE))
        for trigger in _triggers(connection.vendor):
            if trigger.table in tables:
                cursor.execute(trigger.sql)


def lift_triggers_that_stop_a_rebuild(connection: BaseDatabaseWrapper) -> None:
    """Make way for migrations: SQLite refuses to rebuild a table that another table's trigger reads.

    The triggers that keep the book immutable stay, since a rebuild drops only those of its own table.
    """
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        for trigger in _triggers(connection.vendor):
            if trigger.table in FIXED_COLUMNS:
                cursor.execute(f"DROP TRIGGER IF EXISTS {trigger.name}")


def drop_triggers(connection: BaseDatabaseWrapper) -> None:
    """Lift the triggers: for making them anew, and for tests that empty the tables."""
    with connection.cursor() as cursor:
        for trigger in _triggers(connection.vendor):
            on = f" ON {trigger.table}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {trigger.name}{on}")


def _triggers(vendor: str) -> Iterator[Trigger]:
    make = _postgresql_triggers if vendor == "postgresql" else _sqlite_triggers
    yield from make()


_REFUSE_CHANGE = (
    " BEGIN RAISE EXCEPTION 'the book is immutable: % of % is refused', TG_OP, TG_TABLE_NAME"
    " USING ERRCODE = 'restrict_violation'; END "
)
# The bits of pg_trigger.tgtype: for each row 1, before 2, delete 8, update 16, truncate 32.
_ON_CHANGE, _ON_TRUNCATE, _ON_UPDATE = 1 + 2 + 8 + 16, 2 + 32, 1 + 2 + 16


def _function_sql(name: str, body: str) -> str:
    return f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $${body}$$;"


def _postgresql_triggers() -> Iterator[Trigger]:
    runs = "EXECUTE FUNCTION inventory_refuse_change()"
    for table in IMMUTABLE_TABLES:
        name = f"{table}_is_immutable"
        sql = f"CREATE TRIGGER {name} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW {runs}"
        yield Trigger(name, table, sql, f"{_ON_CHANGE}:{_REFUSE_CHANGE}")
        # TRUNCATE fires no row trigger.
        name = f"{table}_is_not_emptied"
        sql = f"CREATE TRIGGER {name} BEFORE TRUNCATE ON {table} FOR EACH STATEMENT {runs}"
        yield Trigger(name, table, sql, f"{_ON_TRUNCATE}:{_REFUSE_CHANGE}")
    for table, (column, condition) in FIXED_COLUMNS.items():
        name = f"{table}_{column}_is_fixed"
        # WHEN may not hold a subquery on PostgreSQL, so the condition stands in a function of its own.
        body = (
            f" BEGIN IF {condition} THEN RAISE EXCEPTION '{column} of {table} never changes'"
            " USING ERRCODE = 'restrict_violation'; END IF; RETURN NEW; END "
        )
        fires = f"CREATE TRIGGER {name} BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()"
        yield Trigger(name, table, f"{_function_sql(name, body)} {fires}", f"{_ON_UPDATE}:{body}")


def _sqlite_triggers() -> Iterator[Trigger]:
    for table in IMMUTABLE_TABLES:
        for operation in ("update", "delete"):
            name = f"{table}_refuses_{operation}"
            refusal = f"the book is immutable: {operation} of {table} is refused"
            sql = (
                f"CREATE TRIGGER {name} BEFORE {operation.upper()} ON {table}"
                f" BEGIN SELECT RAISE(ABORT, '{refusal}'); END"
            )
            yield Trigger(name, table, sql, sql)
    for table, (column, condition) in FIXED_COLUMNS.items():
        name = f"{table}_{column}_is_fixed"
        sql = (
            f"CREATE TRIGGER {name} BEFORE UPDATE ON {table} WHEN {condition}"
            f" BEGIN SELECT RAISE(ABORT, '{column} of {table} never changes'); END"
        )
        yield Trigger(name, table, sql, sql)
