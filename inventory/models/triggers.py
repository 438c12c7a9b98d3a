"""What keeps the book immutable below Python: triggers on both databases.

They are not part of a migration, because SQLite rebuilds a table to alter it and silently drops its
triggers on the way. They are made again after every `migrate`, and `verify_ledger` looks for them.
"""

from collections.abc import Iterator

from django.db.backends.base.base import BaseDatabaseWrapper

IMMUTABLE_TABLES = (
    "inventory_entry",
    "inventory_movement",
    "inventory_containerchange",
    "inventory_countreading",
    "inventory_domainevent",
    "inventory_seal",
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


def find_missing_triggers(connection: BaseDatabaseWrapper) -> list[str]:
    """Name the triggers that should stand and do not (or, on PostgreSQL, are switched off)."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
                " JOIN pg_namespace n ON n.oid = c.relnamespace"
                " WHERE n.nspname = current_schema() AND t.tgenabled IN ('O', 'A')"
            )
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        standing = {row[0] for row in cursor.fetchall()}
    return sorted(name for name, _table, _sql in _triggers(connection.vendor) if name not in standing)


def make_triggers(connection: BaseDatabaseWrapper) -> None:
    """Make every trigger anew, so that one that was changed is right again too."""
    drop_triggers(connection)
    # `migrate inventory 0001` ends here too, at a time when later tables are not there.
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRESQL_FUNCTION)
        for _name, table, sql in _triggers(connection.vendor):
            if table in tables:
                cursor.execute(sql)


def lift_triggers_that_stop_a_rebuild(connection: BaseDatabaseWrapper) -> None:
    """Make way for migrations: SQLite refuses to rebuild a table that another table's trigger reads.

    The triggers that keep the book immutable stay, since a rebuild drops only those of its own table.
    """
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        for name, table, _sql in _triggers(connection.vendor):
            if table in FIXED_COLUMNS:
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")


def drop_triggers(connection: BaseDatabaseWrapper) -> None:
    """Lift the triggers: for making them anew, and for tests that empty the tables."""
    with connection.cursor() as cursor:
        for name, table, _sql in _triggers(connection.vendor):
            on = f" ON {table}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def _triggers(vendor: str) -> Iterator[tuple[str, str, str]]:
    make = _postgresql_triggers if vendor == "postgresql" else _sqlite_triggers
    yield from make()


_POSTGRESQL_FUNCTION = """
CREATE OR REPLACE FUNCTION inventory_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the book is immutable: % of % is refused', TG_OP, TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END $$
"""


def _postgresql_triggers() -> Iterator[tuple[str, str, str]]:
    for table in IMMUTABLE_TABLES:
        name = f"{table}_is_immutable"
        yield (
            name,
            table,
            (
                f"CREATE TRIGGER {name} BEFORE UPDATE OR DELETE ON {table}"
                " FOR EACH ROW EXECUTE FUNCTION inventory_refuse_change()"
            ),
        )
        # TRUNCATE fires no row trigger.
        name = f"{table}_is_not_emptied"
        yield (
            name,
            table,
            (
                f"CREATE TRIGGER {name} BEFORE TRUNCATE ON {table}"
                " FOR EACH STATEMENT EXECUTE FUNCTION inventory_refuse_change()"
            ),
        )
    for table, (column, condition) in FIXED_COLUMNS.items():
        name = f"{table}_{column}_is_fixed"
        # WHEN may not hold a subquery on PostgreSQL, so the condition stands in a function of its own.
        yield (
            name,
            table,
            (
                f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
                f" IF {condition} THEN"
                f" RAISE EXCEPTION '{column} of {table} never changes' USING ERRCODE = 'restrict_violation';"
                " END IF; RETURN NEW; END $$;"
                f" CREATE TRIGGER {name} BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()"
            ),
        )


def _sqlite_triggers() -> Iterator[tuple[str, str, str]]:
    for table in IMMUTABLE_TABLES:
        for operation in ("update", "delete"):
            name = f"{table}_refuses_{operation}"
            yield (
                name,
                table,
                (
                    f"CREATE TRIGGER {name} BEFORE {operation.upper()} ON {table}"
                    " BEGIN SELECT"
                    f" RAISE(ABORT, 'the book is immutable: {operation} of {table} is refused'); END"
                ),
            )
    for table, (column, condition) in FIXED_COLUMNS.items():
        name = f"{table}_{column}_is_fixed"
        yield (
            name,
            table,
            (
                f"CREATE TRIGGER {name} BEFORE UPDATE ON {table} WHEN {condition}"
                f" BEGIN SELECT RAISE(ABORT, '{column} of {table} never changes'); END"
            ),
        )
