"""How much value one person may take off the books alone."""

from uuid import uuid5

from django.db import transaction
from django.db.models import Sum

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Company, Entry, Place, SecondWord
from inventory.money import format_money
from inventory.queries.company import get_company
from inventory.services.second_word import ask_for_second_word

# Price variance too: else a write-down would only need another name to take one person.
GONE = frozenset({Place.Kind.WASTE, Place.Kind.WRITE_DOWN, Place.Kind.PRICE_VARIANCE})


class SecondWordNeeded(SpanstockError):
    """This is done only when a second person says so too."""

    code = "second_word_needed"


def refuse_over_limit(entry: Entry) -> None:
    """Refuse an entry that takes more value off the books than one person may.

    Asked after it was written, inside the same transaction, since only the book knows what goods cost.
    """
    company = get_company()
    over = _find_over_limit(entry, company)
    if over is not None:
        raise SecondWordNeeded(
            f"This takes {format_money(over, company.currency)} off the books; above "
            f"{format_money(company.write_off_limit or 0, company.currency)} a second person has to agree. "
            "Make it a request for a second person; nothing was changed."
        )


def ask_afterwards(entry: Entry) -> None:
    """Ask a second person about an entry above the limit that tells of what happened already."""
    company = get_company()
    over = _find_over_limit(entry, company)
    if over is not None:
        ask_for_second_word(
            id=uuid5(entry.uuid, "second word"),
            kind=SecondWord.Kind.SEEN,
            by=entry.actor,
            asked_at=entry.recorded_at,
            reason=entry.reason or "Goods above the limit were gone already.",
            body={"entry": str(entry.uuid), "value": over},
        )


@transaction.atomic
def set_write_off_limit(*, limit: int | None) -> Company:
    """Set above which value (millionths of the currency) a second person is needed; None for never."""
    if limit is not None and limit < 0:
        raise BadInput.of([Fault("/limit", str(limit), "cannot be less than nothing")])
    company = get_company()
    company.write_off_limit = limit
    company.save(update_fields=["write_off_limit"])
    return company


def _find_over_limit(entry: Entry, company: Company) -> int | None:
    limit = company.write_off_limit
    if limit is None:
        return None
    kept = Place.STOCK_KINDS | Place.USE_KINDS
    lines = entry.movements.filter(source_place__kind__in=kept, target_place__kind__in=GONE)
    value = lines.aggregate(total=Sum("value"))["total"] or 0
    return value if value > limit else None
