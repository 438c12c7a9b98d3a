"""The ground that the other tests stand on."""

import socket
import uuid
from datetime import UTC, date, datetime

import pytest
from django.conf import settings
from django.db import IntegrityError, connection

from inventory.models import Actor, Entry
from inventory.models.triggers import find_missing_triggers


def _post_an_entry() -> Entry:
    now = datetime(2024, 5, 6, 7, 8, tzinfo=UTC)
    actor = Actor.objects.create(code="counter", name="A counter", kind=Actor.Kind.PERSON)
    return Entry.objects.create(
        uuid=uuid.uuid4(), kind=Entry.Kind.COUNT, occurred_at=now, recorded_at=now,
        booked_date=date(2024, 5, 6), actor=actor, fingerprint="0" * 64,
    )  # fmt: skip


# Twice, since only the second meets what the first left behind.
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("round_number", [1, 2])
def test_flush_empties_the_book_and_leaves_the_triggers(round_number: int) -> None:
    assert not Entry.objects.exists()
    assert find_missing_triggers(connection) == []
    entry = _post_an_entry()
    with pytest.raises(IntegrityError, match="immutable"):
        Entry.objects.filter(key=entry.key).update(reason="changed")
    assert Entry.objects.get().reason == ""


@pytest.mark.django_db
def test_triggers_stand_in_a_rolled_back_test() -> None:
    assert find_missing_triggers(connection) == []
    entry = _post_an_entry()
    with pytest.raises(IntegrityError, match="immutable"):
        entry.delete()


def test_network_is_off() -> None:
    # 192.0.2.0/24 is set aside for documentation (RFC 5737): nobody is ever there.
    with pytest.raises(Exception, match=r"192\.0\.2\.1"):
        socket.create_connection(("192.0.2.1", 9), timeout=1)


def test_tests_keep_away_from_the_installation() -> None:
    assert settings.DATA_DIRECTORY.name.startswith("spanstock-test-")
    assert settings.DATA_DIRECTORY != settings.BASE_DIR / ".spanstock"
