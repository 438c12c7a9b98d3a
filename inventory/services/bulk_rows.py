"""Rows by the hundred thousand into one table: keys taken beforehand, values as plain tuples.

A model instance for every row costs ten times the memory and four times the time inside the transaction
that keeps every other writer waiting.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any

from django.db import connection
from django.db.models import Model

ROWS_AT_ONCE = 5_000
# As many keys per query as both databases take without complaint.
KEYS_AT_ONCE = 5_000


def take_keys(model: type[Model], count: int) -> Sequence[int]:
    """So many primary keys that nobody else gets. Call it inside the write transaction."""
    table = model._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)", [table, count]
            )
            return [key for (key,) in cursor.fetchall()]
        # The write lock is held, so nobody else counts on from the same number.
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        row = cursor.fetchone()
        start = (row[0] if row else 0) + 1
        return range(start, start + count)


def insert_rows(model: type[Model], columns: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> None:
    """Insert rows given as values of these columns; every other column gets its model's default."""
    rest = [
        field
        for field in model._meta.concrete_fields
        if field.attname not in columns and not field.primary_key
    ]
    defaults = tuple(field.get_default() for field in rest)
    quote = connection.ops.quote_name
    attributes = {field.attname: field.column for field in model._meta.concrete_fields}
    names = [
        str(name) for name in (*(attributes[column] for column in columns), *(field.column for field in rest))
    ]
    target = f"{quote(model._meta.db_table)} ({', '.join(map(quote, names))})"
    if connection.vendor == "postgresql":
        # A fifth of the time of INSERT, most of which goes into reading parameters.
        with (
            connection.wrap_database_errors,
            connection.cursor() as cursor,
            cursor.copy(f"COPY {target} FROM STDIN") as stream,
        ):
            for row in rows:
                stream.write_row(row + defaults)
        return
    statement = f"INSERT INTO {target} VALUES ({', '.join(['%s'] * len(names))})"
    with connection.cursor() as cursor:
        for chunk in chunked(rows, ROWS_AT_ONCE):
            cursor.executemany(statement, [row + defaults for row in chunk])


def chunked(items: Iterable[Any], size: int = KEYS_AT_ONCE) -> Iterator[list[Any]]:
    """Cut into lists no longer than a statement may be."""
    rest = iter(items)
    while chunk := list(islice(rest, size)):
        yield chunk
