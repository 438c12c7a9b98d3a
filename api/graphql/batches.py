"""Rows that were loaded together load what belongs to them together.

Each row knows its batch. The first row asked for a related record or list loads it for all rows of the
batch, in one query, and the rest find it there; so the number of queries follows the depth of the question,
not the number of rows. It works under a synchronous view and needs no promises.
"""

from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import Any, TypeVar

from django.db.models import F, Model, QuerySet, Window
from django.db.models.functions import RowNumber

from api.wire.pages import Order, Page, read_cursor
from inventory.errors import SpanstockError

Row = TypeVar("Row", bound=Model)
Loaded = Mapping[Any, Any]


class Batch:
    """Rows that were loaded together, and what has been loaded for them."""

    def __init__(self, rows: list[Any]) -> None:
        self.rows = rows
        self._answers: dict[Hashable, Loaded | SpanstockError] = {}

    def answer(self, name: Hashable, load: Callable[[list[Any]], Loaded]) -> Loaded:
        """What was loaded under a name, loaded now if need be. A refusal holds for all rows alike."""
        if name not in self._answers:
            try:
                self._answers[name] = load(self.rows)
            except SpanstockError as refusal:
                self._answers[name] = refusal
        found = self._answers[name]
        if isinstance(found, SpanstockError):
            raise found
        return found


def load_together(rows: Iterable[Row]) -> list[Row]:
    """Make these rows one batch."""
    found = list(rows)
    batch = Batch(found)
    for row in found:
        row._batch = batch  # type: ignore[attr-defined]
    return found


def find_one(row: Model, column: str, related: QuerySet[Any], *, name: str | None = None) -> Any:
    """The record that a row's foreign key names among these, or None."""
    attribute = f"{column}_id"

    def load(rows: list[Any]) -> Loaded:
        wanted = {getattr(each, attribute) for each in rows} - {None}
        found = load_together(related.filter(pk__in=wanted)) if wanted else []
        return {record.pk: record for record in found}

    found = batch_of(row).answer((name or column), load)
    return found.get(getattr(row, attribute))


def list_many(row: Model, name: str, children: QuerySet[Any], column: str) -> list[Any]:
    """All children of a row, whose foreign key `column` names it, in their own order."""

    def load(rows: list[Any]) -> Loaded:
        found: dict[Any, list[Any]] = {each.pk: [] for each in rows}
        for child in load_together(children.filter(**{f"{column}__in": list(found)})):
            found[getattr(child, f"{column}_id")].append(child)
        return found

    children_of: list[Any] = batch_of(row).answer(name, load)[row.pk]
    return children_of


def page_many(
    row: Model,
    name: str,
    children: QuerySet[Any],
    column: str,
    *,
    order: Order,
    size: int,
    cursor: str | None,
) -> Page[Any]:
    """A page of the children of each row, numbered by the database within each of them."""

    def load(rows: list[Any]) -> Loaded:
        found: dict[Any, list[Any]] = {each.pk: [] for each in rows}
        wanted = children.filter(**{f"{column}__in": list(found)})
        if cursor:
            wanted = wanted.filter(**{f"{order.column}__gt": read_cursor(cursor, order, pointer="after")})
        number = Window(RowNumber(), partition_by=[F(f"{column}_id")], order_by=[F(order.column).asc()])
        numbered = wanted.order_by().annotate(_number=number).filter(_number__lte=size + 1)
        for child in load_together(numbered.order_by(column, order.column)):
            found[getattr(child, f"{column}_id")].append(child)
        return {key: Page(members[:size], order, len(members) > size) for key, members in found.items()}

    page: Page[Any] = batch_of(row).answer((name, size, cursor), load)[row.pk]
    return page


def batch_of(row: Model) -> Batch:
    """The batch of a row; one that came alone is its own."""
    batch: Batch | None = getattr(row, "_batch", None)
    if batch is None:
        load_together([row])
        return batch_of(row)
    return batch
