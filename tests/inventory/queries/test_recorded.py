"""Which entries the book has already."""

from datetime import date
from uuid import uuid4

import pytest
from django.utils import timezone

from inventory.models import Actor, Entry
from inventory.queries.recorded import find_recorded


@pytest.mark.django_db
def test_find_recorded_tells_known_ids_from_others() -> None:
    actor = Actor.objects.create(code="a", name="A", kind=Actor.Kind.SYSTEM)
    known = [uuid4() for _ in range(3)]
    Entry.objects.bulk_create(
        Entry(
            uuid=uuid, kind=Entry.Kind.COUNT, occurred_at=timezone.now(), recorded_at=timezone.now(),
            booked_date=date(2026, 3, 2), actor=actor, fingerprint="x",
        )
        for uuid in known
    )  # fmt: skip
    assert find_recorded([*known[:2], uuid4()]) == set(known[:2])
    # More ids than one statement takes.
    assert find_recorded([*(uuid4() for _ in range(1_500)), known[2]]) == {known[2]}
