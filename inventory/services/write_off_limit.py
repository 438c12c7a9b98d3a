"""How much value one person may take off the books alone, at once or bit by bit within a period."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID, uuid4, uuid5

from django.db import transaction
from django.db.models import QuerySet, Sum

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, Company, Entry, Movement, Place, SecondWord
from inventory.money import format_money
from inventory.queries.company import get_company
from inventory.services.sealing import record_event
from inventory.services.second_word import ask_for_second_word

# All of them: else a write-down would only need another name to take one person.
GONE = frozenset(
    {
        Place.Kind.WASTE,
        Place.Kind.WRITE_DOWN,
        Place.Kind.PRICE_VARIANCE,
        Place.Kind.SUPPLIER,
        Place.Kind.VARIANCE,
    }
)
# What one person does alone and adds up; a count's loss is one of them.
COUNTS_TOGETHER = (Entry.Kind.DISPOSAL, Entry.Kind.REVALUATION, Entry.Kind.COUNT)

# Over which days small ones are added up where no period was ever closed.
WHERE_NONE_CLOSED = timedelta(days=31)


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
            f"This takes {format_money(over, company.currency)} off the books, with what you took off of the "
            "same goods in this period; above "
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
def set_write_off_limit(*, limit: int | None, by: Actor, occurred_at: datetime) -> Company:
    """Set above which value (millionths of the currency) a second person is needed; None for never.

    Setting a first limit and lowering it is done at once.

    Raises
    ------
    BadInput
        If the limit is below nothing.
    SecondWordNeeded
        If it would be raised or lifted: alone, its keeper could take anything off the books alone.
    """
    _refuse_negative(limit)
    company = _lock_company()
    standing = company.write_off_limit
    if standing is not None and (limit is None or limit > standing):
        raise SecondWordNeeded(
            f"One person may lower the limit of {format_money(standing, company.currency)}, not raise or "
            "lift it. Make it a request for a second person; nothing was changed."
        )
    return _store_limit(company, limit, occurred_at, {"by": by.code})


def ask_for_write_off_limit(
    *, id: UUID, by: Actor, occurred_at: datetime, limit: int | None, reason: str
) -> SecondWord:
    """Ask that the limit be raised, or lifted by None; somebody else grants it."""
    _refuse_negative(limit)
    return ask_for_second_word(
        id=id,
        kind=SecondWord.Kind.LIMIT,
        by=by,
        asked_at=occurred_at,
        reason=reason,
        body={"limit": limit},
    )


def carry_out_limit(word: SecondWord, by: Actor, decided_at: datetime) -> None:
    """Set the limit that a granted request names."""
    said: dict[str, object] = {
        "by": word.asked_by.code,
        "agreed_by": by.code,
        "request": str(word.uuid),
        "reason": word.reason,
    }
    _store_limit(_lock_company(), word.body["limit"], decided_at, said)


def _refuse_negative(limit: int | None) -> None:
    if limit is not None and limit < 0:
        raise BadInput.of([Fault("/limit", str(limit), "cannot be less than nothing")])


def _lock_company() -> Company:
    return Company.objects.select_for_update(of=("self",)).get(pk=get_company().pk)


def _store_limit(
    company: Company, limit: int | None, occurred_at: datetime, said: dict[str, object]
) -> Company:
    before = company.write_off_limit
    if limit == before:
        return company
    company.write_off_limit = limit
    company.save(update_fields=["write_off_limit"])
    record_event(
        id=uuid4(),
        kind="write_off_limit_changed",
        occurred_at=occurred_at,
        body={"before": before, "after": limit, **said},
    )
    return company


def _find_over_limit(entry: Entry, company: Company) -> int | None:
    """Value above the limit: of the entry, or of one material with what the same person took off before.

    Several small ones within the open period are one large one. What a second person agreed to counts no
    more.
    """
    limit = company.write_off_limit
    if limit is None:
        return None
    by_material = _sum_by_material(entry.movements.all())
    value = sum(by_material.values())
    if not value:
        return None
    earlier = _sum_earlier(entry, company, by_material)
    most = max(value, *(by_material[material] + earlier.get(material, 0) for material in by_material))
    return most if most > limit else None


def _sum_by_material(movements: QuerySet[Movement]) -> dict[int, int]:
    kept = Place.STOCK_KINDS | Place.USE_KINDS
    gone = movements.filter(source_place__kind__in=kept, target_place__kind__in=GONE, value__gt=0)
    rows = gone.order_by().values_list("material").annotate(Sum("value"))
    return {material: int(value) for material, value in rows}


def _sum_earlier(entry: Entry, company: Company, materials: Iterable[int]) -> dict[int, int]:
    closed = company.books_closed_until
    before = Movement.objects.filter(
        material__in=list(materials),
        entry__actor=entry.actor,
        entry__key__lt=entry.key,
        entry__kind__in=COUNTS_TOGETHER,
        # What a bill took off is the supplier's to answer for. A document is free text and says nothing.
        entry__invoice__isnull=True,
        entry__booked_date__gt=closed if closed is not None else entry.booked_date - WHERE_NONE_CLOSED,
        entry__reverses__isnull=True,
        entry__reversed_by__isnull=True,
    )
    return _sum_by_material(before.exclude(entry__uuid__in=_list_agreed(entry.actor)))


def _list_agreed(asker: Actor) -> list[UUID]:
    """Entries that a second person granted beforehand, or looked at afterwards."""
    of_entries = [kind for kind in SecondWord.Kind if kind not in SecondWord.WITHOUT_ENTRY]
    granted = SecondWord.objects.filter(asked_by=asker, is_granted=True, kind__in=of_entries)
    return [
        UUID(body["entry"]) if kind == SecondWord.Kind.SEEN else uuid5(uuid, "entry")
        for uuid, kind, body in granted.values_list("uuid", "kind", "body")
    ]
