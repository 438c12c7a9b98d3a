"""Cost sheets that leave the house can be checked later."""

from datetime import UTC
from hashlib import sha256
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError, connection, transaction

from inventory.errors import NotFound
from inventory.models import Container, DomainEvent, Seal
from inventory.models.triggers import drop_triggers, make_triggers
from inventory.services.documents import DocumentConflict
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.sealing import seal_all
from jobs.models import IssuedSheet, Job
from jobs.queries.cost_sheet import CostSheet, make_cost_sheet
from jobs.queries.issued_sheets import CHUNK, find_faults, get_issued_sheet, hash_sheet, verify_book
from jobs.services.issued_sheets import issue_sheet
from tests.factories.inventory import at, gal
from tests.factories.kits import SmallDay, make_small_day

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    small.world.drum("D-1", 55, cost=330)
    draw_gallon(small)
    return small


def draw_gallon(day: SmallDay) -> None:
    drum = End(day.world.warehouse, Container.objects.get(label="D-1"))
    line = Line(day.world.fluid, gal(1), drum, End(day.run.place))
    draw(id=uuid4(), by=day.world.actor, occurred_at=at(2), lines=[line])


def write(sheet: CostSheet) -> dict[str, Any]:
    return {"cost": str(sheet.statement.cost)}


def issue(day: SmallDay, id: UUID | None = None) -> IssuedSheet:
    job = Job.objects.get(reference="J-1")
    return issue_sheet(id=id or uuid4(), job=job, by=day.world.actor, occurred_at=at(5), write=write)


def test_an_issued_sheet_keeps_what_it_said_while_the_job_goes_on(day: SmallDay) -> None:
    sheet = issue(day)
    draw_gallon(day)
    kept = get_issued_sheet(sheet.job, 1)
    assert kept.content == {"cost": "6000000"}
    assert make_cost_sheet(Job.objects.get(reference="J-1")).statement.cost == 12_000_000
    assert find_faults(kept) == []
    assert kept.last_hash == Seal.objects.get(sequence=kept.last_sequence).hash


def test_the_hash_covers_all_that_a_sheet_says_and_the_head_of_the_book(day: SmallDay) -> None:
    """Worked out here from its parts, as anybody can who holds the paper and knows the form."""
    sheet = issue(day)
    moment = sheet.issued_at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f+00:00")
    form = (
        f'{{"content":{{"cost":"6000000"}},"issued_at":"{moment}","job":"J-1",'
        f'"last_hash":"{sheet.last_hash}","last_sequence":{sheet.last_sequence},"number":1}}'
    )
    assert sheet.hash == sha256(form.encode()).hexdigest()


def test_a_sheet_asked_for_again_under_its_id_is_the_same(day: SmallDay) -> None:
    known = uuid4()
    assert issue(day, known) == issue(day, known)
    assert issue(day).number == 2
    assert DomainEvent.objects.filter(kind="cost_sheet_issued").count() == 2
    job = Job.objects.get(reference="J-1")
    with pytest.raises(DocumentConflict):
        issue_sheet(id=known, job=job, by=day.world.other_actor, occurred_at=at(5), write=write)


def test_a_changed_sheet_is_found(day: SmallDay) -> None:
    sheet = issue(day)
    change(content={"cost": "5000000"})
    sheet.refresh_from_db()
    assert find_faults(sheet) == ["Its content is not what was issued: the hash differs."]


def change(**fields: object) -> None:
    """Change issued sheets behind the database's back."""
    drop_triggers(connection)
    IssuedSheet.objects.update(**fields)
    make_triggers(connection)


def test_a_sheet_is_not_changed(day: SmallDay) -> None:
    issue(day)
    with pytest.raises(IntegrityError, match="the book is immutable"), transaction.atomic():
        IssuedSheet.objects.update(content={"cost": "5000000"})


def test_a_sheet_changed_together_with_its_hash_is_found(day: SmallDay) -> None:
    sheet = issue(day)
    said = {"number": 1, "issued_at": sheet.issued_at, "content": {"cost": "5000000"}}
    link = {"last_sequence": sheet.last_sequence, "last_hash": sheet.last_hash}
    change(content=said["content"], hash=hash_sheet(job=sheet.job, **said, **link))
    sheet.refresh_from_db()
    assert find_faults(sheet) == ["Its content is not what was issued: the hash differs."]


def differences() -> list[str]:
    seal_all()
    return [difference.message for difference in verify_book()]


def test_verify_book_looks_at_every_issued_sheet(day: SmallDay) -> None:
    assert differences() == []
    for _number in range(CHUNK + 1):
        issue(day)
    assert differences() == []
    changed = IssuedSheet.objects.get(number=CHUNK + 1)
    drop_triggers(connection)
    IssuedSheet.objects.filter(pk=changed.pk).update(content={})
    IssuedSheet.objects.filter(number=1).delete()
    make_triggers(connection)
    assert differences() == [
        f"Sheet {CHUNK + 1} of job J-1: Its content is not what was issued: the hash differs.",
        "Sheet 1 of job J-1: It was issued and is not there any more.",
    ]


def test_a_sheet_that_was_never_issued_is_found(day: SmallDay) -> None:
    sheet = issue(day)
    sheet.pk, sheet.uuid, sheet.number, sheet._state.adding = None, uuid4(), 2, True
    sheet.save()
    assert differences() == ["Sheet 2 of job J-1: The chain of the book knows of no such sheet."]


def test_a_book_that_was_chained_anew_is_found(day: SmallDay) -> None:
    sheet = issue(day)
    drop_triggers(connection)
    Seal.objects.filter(sequence=sheet.last_sequence).update(hash="0" * 64)
    make_triggers(connection)
    assert find_faults(sheet) == [f"The chain of the book differs at link {sheet.last_sequence}."]


def test_a_sheet_that_was_not_issued_is_not_found(day: SmallDay) -> None:
    with pytest.raises(NotFound, match="No sheet 3 of job J-1"):
        get_issued_sheet(Job.objects.get(reference="J-1"), 3)
