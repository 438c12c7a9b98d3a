"""Records that the sheet names and the book has, found by code whatever its case."""

from collections.abc import Iterable
from typing import TypeVar

from django.db.models import Model, Q
from django.db.models.functions import Lower

from inventory.services.stock_sheet.rows import fold_code, in_chunks

# SQLite takes a limited number of parameters in a statement.
CHUNK = 400

Found = TypeVar("Found", bound=Model)


def find_by_code(model: type[Found], codes: Iterable[str], *, field: str = "code") -> dict[str, Found]:
    """Return the records by folded code, each with what it points at."""
    found: dict[str, Found] = {}
    for chunk in in_chunks(sorted(set(codes)), CHUNK):
        # SQLite lowers ASCII letters only, so what is spelled the very same way is looked for as well.
        same = Q(**{f"{field}__in": chunk}) | Q(folded__in=[fold_code(code) for code in chunk])
        rows = model._default_manager.annotate(folded=Lower(field)).filter(same).select_related()
        for row in rows.order_by("pk"):
            found.setdefault(fold_code(getattr(row, field)), row)
    return found
