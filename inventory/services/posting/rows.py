"""Writing many rows of one table in one statement, for the tables that every posting writes.

Not `bulk_create`: that makes an object of each row and prepares each value by its field, which here costs
more than everything the database does. What is written this way comes from the planner, in the form in which
it is stored.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import connection, models

# SQLite takes some 32,000 values in one statement.
ROWS_AT_ONCE = 500


def insert_rows(
    model: type[models.Model],
    columns: Sequence[str],
    rows: Sequence[Sequence[Any]],
    *,
    updated: Sequence[str] = (),
) -> None:
    """Insert rows; where `updated` names columns, a row whose key stands gets their new values instead."""
    row_sql = f"({', '.join(['%s'] * len(columns))})"
    sets = ", ".join(f"{column} = EXCLUDED.{column}" for column in updated)
    with connection.cursor() as cursor:
        for first in range(0, len(rows), ROWS_AT_ONCE):
            part = rows[first : first + ROWS_AT_ONCE]
            cursor.execute(
                f"INSERT INTO {model._meta.db_table} ({', '.join(columns)})"
                f" VALUES {', '.join([row_sql] * len(part))}"
                + (f" ON CONFLICT (key) DO UPDATE SET {sets}" if sets else ""),
                [_stored(value) for row in part for value in row],
            )


def _stored(value: Any) -> Any:
    return connection.ops.adapt_datetimefield_value(value) if isinstance(value, datetime) else value
