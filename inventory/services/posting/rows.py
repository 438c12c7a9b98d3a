"""Reading and writing the rows of a posting, all statements in one message where the database allows it.

Not through the models: building a query and an object for every row costs more here than everything the
database does. What is written this way comes from the planner, in the form in which it is stored.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from typing import Any
from uuid import UUID

from django.db import connection, models

# SQLite takes some 32,000 values in one statement.
ROWS_AT_ONCE = 500


@dataclass(frozen=True)
class Select:
    """One SELECT and its parameters."""

    sql: str
    values: Sequence[Any]


@dataclass(frozen=True)
class Statement:
    """One statement that answers nothing, and its parameters."""

    sql: str
    values: Sequence[Any]


@dataclass(frozen=True)
class Rows:
    """Rows for one table. Where `updated` names columns, a row whose key stands gets their new values.

    Where `keeps_standing`, a row whose key stands is left as it is.
    """

    model: type[models.Model]
    columns: Sequence[str]
    values: Sequence[Sequence[Any]]
    updated: Sequence[str] = ()
    keeps_standing: bool = False

    def statements(self) -> list[Statement]:
        """As many as it takes, which is one but for huge entries."""
        sets = ", ".join(f"{column} = EXCLUDED.{column}" for column in self.updated)
        end = f" ON CONFLICT (key) DO UPDATE SET {sets}" if sets else ""
        end += " ON CONFLICT (key) DO NOTHING" if self.keeps_standing else ""
        head = f"INSERT INTO {self.model._meta.db_table} ({', '.join(self.columns)})"
        if connection.vendor == "postgresql" and len(self.values) > 1:
            types = _types_of(self.model, tuple(self.columns))
            arrays = ", ".join(f"%s::{name}[]" for name, _make in types)
            values = [
                _as_array(column, make)
                for column, (_name, make) in zip(zip(*self.values, strict=True), types, strict=True)
            ]
            return [Statement(f"{head} SELECT * FROM UNNEST({arrays}){end}", values)]
        row_sql = f"({', '.join(['%s'] * len(self.columns))})"
        parts = [
            self.values[first : first + ROWS_AT_ONCE] for first in range(0, len(self.values), ROWS_AT_ONCE)
        ]
        return [
            Statement(
                f"{head} VALUES {', '.join([row_sql] * len(part))}{end}",
                [value for row in part for value in row],
            )
            for part in parts
        ]


@cache
def _types_of(
    model: type[models.Model], columns: tuple[str, ...]
) -> list[tuple[str, Callable[[Any], Any] | None]]:
    """The database's type of each column, and what its values become: an array is of one Python type."""
    fields = {field.column: field for field in model._meta.concrete_fields}
    found: list[tuple[str, Callable[[Any], Any] | None]] = []
    for column in columns:
        name = fields[column].cast_db_type(connection) or "text"
        is_text = name.startswith(("varchar", "text"))
        found.append((name, str if is_text else float if name == "double precision" else None))
    return found


def _as_array(values: Sequence[Any], make: Callable[[Any], Any] | None) -> list[Any]:
    if make is None:
        return list(values)
    return [None if value is None else make(value) for value in values]


def insert_rows(*tables: Rows) -> None:
    """Insert the rows, table by table; on PostgreSQL all of them go there in one message."""
    exchange(*tables)


def read_rows(*selects: Select) -> list[list[tuple[Any, ...]]]:
    """Answer the selects one after the other; each sees what was committed before it began.

    On PostgreSQL they go there in one message, but are still read in their order: what stands behind a
    lock is read when the lock is held.
    """
    return exchange(*selects)


def run_statements(*statements: Statement) -> None:
    """Run statements that answer nothing, on PostgreSQL in one message."""
    exchange(*statements)


def exchange(*parts: Rows | Statement | Select) -> list[list[tuple[Any, ...]]]:
    """Write and read in the order given, on PostgreSQL in one message; what was read, select by select."""
    statements: list[Statement | Select] = []
    for part in parts:
        statements += part.statements() if isinstance(part, Rows) else (part,)
    if not statements:
        return []
    answers: list[list[tuple[Any, ...]]] = []
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # psycopg takes moments, days and ids as they are.
            values = [value for statement in statements for value in statement.values]
            cursor.execute("; ".join(statement.sql for statement in statements), values)
            for number, statement in enumerate(statements):
                if number:
                    cursor.nextset()
                if isinstance(statement, Select):
                    answers.append(cursor.fetchall())
            return answers
        for statement in statements:
            cursor.execute(statement.sql, [_stored(value) for value in statement.values])
            if isinstance(statement, Select):
                answers.append(cursor.fetchall())
    return answers


def columns_of(model: type[models.Model], alias: str) -> str:
    """All columns of a model under an alias, in the order in which `make_models` takes them."""
    return ", ".join(f"{alias}.{field.column}" for field in model._meta.concrete_fields)


def make_models(row: Sequence[Any], *kinds: type[models.Model]) -> list[Any]:
    """Instances of a row that holds the columns of these models one after the other.

    None for a model whose key is null, which an outer join did not find.
    """
    found: list[Any] = []
    start = 0
    for kind in kinds:
        names, converters = _reading_of(kind, connection.vendor)
        values = list(row[start : start + len(names)])
        start += len(names)
        for number, expression, functions in converters:
            for convert in functions:
                values[number] = convert(values[number], expression, connection)
        key = values[names.index(kind._meta.pk.attname)]
        found.append(None if key is None else kind.from_db(connection.alias, names, values))
    return found


@cache
def _reading_of(model: type[models.Model], vendor: str) -> tuple[list[str], list[tuple[int, Any, list[Any]]]]:
    """The attributes of a model in order, and how this database's values become Python's."""
    fields = model._meta.concrete_fields
    converters = []
    for number, field in enumerate(fields):
        expression = field.get_col(model._meta.db_table)
        functions = connection.ops.get_db_converters(expression) + field.get_db_converters(connection)
        if functions:
            converters.append((number, expression, functions))
    return [field.attname for field in fields], converters


def read_moment(value: datetime | None) -> datetime | None:
    """A moment as read without a model: SQLite keeps it in UTC and does not say so."""
    return value.replace(tzinfo=UTC) if value is not None and value.tzinfo is None else value


def read_day(value: date | str | None) -> date | None:
    """A day as read without a model: SQLite keeps it as text."""
    return date.fromisoformat(value) if isinstance(value, str) else value


def one_of(values: Sequence[Any]) -> str:
    """Placeholders of a list to look in, which may be empty."""
    return f"({', '.join(['%s'] * len(values))})" if values else "(NULL)"


def _stored(value: Any) -> Any:
    if isinstance(value, datetime):
        return connection.ops.adapt_datetimefield_value(value)
    if isinstance(value, date):
        return connection.ops.adapt_datefield_value(value)
    if isinstance(value, UUID) and not connection.features.has_native_uuid_field:
        return value.hex
    return value
