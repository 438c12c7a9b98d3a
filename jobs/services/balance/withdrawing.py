"""Taking back what a closing has set right, because reports under it are taken out of the book.

Apart from closing, which needs the reports: they call this before they are reversed.
"""

from collections.abc import Collection
from uuid import UUID, uuid5

from inventory.models import Actor, Entry, Movement, Place
from inventory.services.corrections import reverse
from jobs.models.balance import DOCUMENT_PREFIX


def withdraw_adjustments(
    *, entries: Collection[UUID], by: Actor, reason: str, covers_missing: bool = False
) -> None:
    """Reverse the adjustments of spans that stand on what these entries have booked there, newest first.

    The days they belong to are closed anew by whoever closes next.
    """
    booked = Movement.objects.filter(entry__uuid__in=entries, entry__reversed_by__isnull=True)
    first = booked.order_by("entry").values_list("entry", flat=True).first()
    if first is None:
        return
    spans = Place.objects.filter(kind=Place.Kind.SPAN)
    places = set(booked.filter(target_place__in=spans).values_list("target_place", flat=True))
    places |= set(booked.filter(source_place__in=spans).values_list("source_place", flat=True))
    # Found by the spans, of which each has few movements; nothing leads from a document to its entries.
    standing = Movement.objects.filter(
        entry__gt=first,
        entry__document__startswith=DOCUMENT_PREFIX,
        entry__reversed_by__isnull=True,
        entry__reverses__isnull=True,
    )
    keys = set(standing.filter(target_place__in=places).values_list("entry", flat=True))
    keys |= set(standing.filter(source_place__in=places).values_list("entry", flat=True))
    for entry in Entry.objects.filter(pk__in=keys).order_by("-key"):
        reverse(
            id=uuid5(entry.uuid, "withdraw"),
            by=by,
            entry=entry,
            reason=reason,
            covers_missing=covers_missing,
        )
