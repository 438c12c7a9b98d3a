"""Writing many rows at once, one statement a table, for the tables that every posting writes.

Not `bulk_create`: that makes an object of each row and prepares each value by its field, which here costs
more than everything the database does. What is written this way comes from the planner, in the form in which
it is stored.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection, models

# SQLite takes some 32,000 values in one statement.
ROWS_AT_ONCE = 500


@dataclass(frozen=True)
class Rows:
    """Rows for one table. Where `updated` names columns, a row whose key stands gets their new values."""

    model: type[models.Model]
    columns: Sequence[str]
    values: Sequence[Sequence[Any]]
    updated: Sequence[str] = ()

    def statements(self) -> list[tuple[str, list[Any]]]:
        """SQL and parameters of as many statements as it takes, which is one but for huge entries."""
        row_sql = f"({', '.join(['%s'] * len(self.columns))})"
        sets = ", ".join(f"{column} = EXCLUDED.{column}" for column in self.updated)
        parts = [
            self.values[first : first + ROWS_AT_ONCE] for first in range(0, len(self.values), ROWS_AT_ONCE)
        ]
        return [
            (
                f"INSERT INTO {self.model._meta.db_table} ({', '.join(self.columns)})"
                f" VALUES {', '.join([row_sql] * len(part))}"
                + (f" ON CONFLICT (key) DO UPDATE SET {sets}" if sets else ""),
                [_stored(value) for row in part for value in row],
            )
            for part in parts
        ]


def insert_rows(*tables: Rows) -> None:
    """Insert the rows, table by table; on PostgreSQL all of them go there in one message."""
    statements = [statement for table in tables for statement in table.statements()]
    if connection.vendor == "postgresql":
        together = [value for _sql, values in statements for value in values]
        statements = [("; ".join(sql for sql, _values in statements), together)] if statements else []
    with connection.cursor() as cursor:
        for sql, values in statements:
            cursor.execute(sql, values)


def _stored(value: Any) -> Any:
    return connection.ops.adapt_datetimefield_value(value) if isinstance(value, datetime) else value
