"""What sold lots of core bring to a job: by lot, in money, the company's own apart from what is owed."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models import Actor, Entry, Party
from inventory.units import parse_amount
from jobs.models import Job
from jobs.queries.core_scrap import get_job_scrap, list_scrap_credits
from jobs.services.core_scrap import add_to_lot, sell_lot, set_scrap_terms, weigh_lot
from tests.factories.jobs import make_company, make_customer, make_job, make_size

pytestmark = pytest.mark.django_db


@pytest.fixture
def by(db: None) -> Actor:
    return Actor.objects.create(code="stores", name="Stores", kind="person")


def gather(by: Actor, label: str, **metres: str) -> None:
    """A weighed lot with so many metres of the core of each job."""
    for reference, length in metres.items():
        add_to_lot(
            id=uuid4(),
            by=by,
            occurred_at=timezone.now(),
            label=label,
            job=Job.objects.get(reference=reference),
            cable_size=make_size(),
            length=parse_amount(length, "m"),
        )
    weigh_lot(label=label, mass=parse_amount("8", "kg"), by=by, occurred_at=timezone.now())


def sell(by: Actor, label: str, proceeds: int, days_ago: int = 0) -> None:
    sell_lot(
        label=label,
        buyer="Metal yard (invented)",
        proceeds=proceeds,
        by=by,
        occurred_at=timezone.now() - timedelta(days=days_ago),
        document=f"slip {label}",
    )


def own(reference: str, owner: Party) -> Job:
    job = make_job(reference)
    set_scrap_terms(job=job, owner=owner)
    return job


def test_list_scrap_credits_gives_the_share_of_each_sold_lot(by: Actor) -> None:
    ours, theirs = own("OURS", make_company()), own("THEIRS", make_customer())
    gather(by, "LOT-1", OURS="100", THEIRS="300")
    gather(by, "LOT-2", OURS="100")
    gather(by, "LOT-3", OURS="100")
    sell(by, "LOT-1", 12_000_001, days_ago=1)
    sell(by, "LOT-2", 5_000_000, days_ago=2)
    found = list_scrap_credits(ours)
    assert [(row.lot, row.credited, row.owed, row.document) for row in found] == [
        ("LOT-2", 5_000_000, 0, "slip LOT-2"),
        ("LOT-1", 3_000_000, 0, "slip LOT-1"),
    ]
    assert [(row.expected_g, row.weighed_g) for row in found] == [(4700, 8000), (4700, 2000)]
    (due,) = list_scrap_credits(theirs)
    assert (due.owner, due.credited, due.owed) == (make_customer(), 0, 9_000_001)
    # The same sums as the figures of the job.
    assert get_job_scrap(ours).credited == sum(row.credited for row in found)
    assert get_job_scrap(theirs).owed == due.owed


def test_list_scrap_credits_is_empty_before_a_sale(by: Actor) -> None:
    job = own("OURS", make_company())
    gather(by, "LOT-1", OURS="100")
    assert list_scrap_credits(job) == []


def test_list_scrap_credits_stands_beside_the_ledger(by: Actor) -> None:
    own("OURS", make_company())
    gather(by, "LOT-1", OURS="100")
    sell(by, "LOT-1", 1_000_000)
    assert not Entry.objects.exists()


def test_list_scrap_credits_asks_once_however_many_lots(by: Actor) -> None:
    job = own("OURS", make_company())
    for number in range(5):
        gather(by, f"LOT-{number}", OURS="100")
        sell(by, f"LOT-{number}", 1_000_000)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert len(list_scrap_credits(job)) == 5
    assert len(asked) == 1
