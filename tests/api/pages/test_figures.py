"""Pages led by a picture, each with the table that says the same numbers."""

from collections.abc import Callable
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.test import Client

from jobs.models import RecoveryRate
from jobs.services.balance.closing import close_crew_day
from jobs.services.reports.content import AttemptContent, ReadingContent, ReportContent, WorkName
from jobs.services.reports.reporting import post_report
from tests.factories.accounts import Office
from tests.factories.inventory import at
from tests.factories.jobs import DAY
from tests.factories.reports import gallons

Browse = Callable[[str], Client]
ADDRESS = f"/days/north/{DAY}/drawn"


def _report(office: Office) -> None:
    """The crew of the north has extracted its span: 14 gal went in, 41 gal are left."""
    span = WorkName("J-north", "S1")
    content = ReportContent(
        attempts=(AttemptContent(span=span, source_container="D-north", injected=gallons("14")),),
        readings=(ReadingContent(container="D-north", method="dipped", value=41, unit="[gal_us]"),),  # type: ignore[arg-type]
    )
    actor = office.users["crew"].actor
    assert actor is not None
    post_report(id=uuid4(), by=actor, occurred_at=at(9), crew_code="north", date=DAY, content=content)


@pytest.mark.outside_check("55 gal less 41 gal left the drum; how known: by hand")
def test_day_is_drawn_once_it_is_closed(browse: Browse, office: Office) -> None:
    client = browse("crew")
    assert "The day is not closed yet" in client.get(ADDRESS).content.decode()
    _report(office)
    close_crew_day(crew_code="north", date=DAY, by=office.world.actor, occurred_at=at(12))
    text = client.get(ADDRESS).content.decode()
    assert text.count("<svg") == 1
    assert "<td>came out of drums</td><td>14.00</td>" in text
    assert "The same as numbers" in text
    assert f'href="{ADDRESS}"' in client.get("/jobs/J-north/days").content.decode()
    assert f'href="{ADDRESS}"' in client.get(f"/days/north/{DAY}").content.decode()


def test_recovery_is_drawn_by_size_with_its_intervals(browse: Browse, office: Office) -> None:
    client = browse("planner")
    assert "No rate is known yet" in client.get("/recovery").content.decode()
    RecoveryRate.objects.create(
        group="size",
        name=".500",
        ratio=0.914,
        low=0.89,
        high=0.938,
        readings=12,
        spans=14,
        injected_m3=1.2,
        recovered_m3=1.0968,
        confidence=0.95,
        computed_at=datetime(2026, 3, 1, tzinfo=UTC),
    )
    text = client.get("/recovery").content.decode()
    assert text.count("<svg") == 1
    assert "<td>.500</td>" in text
    assert "<td>91.4</td><td>89.0</td><td>93.8</td>" in text
    assert browse("crew").get("/recovery").status_code == 403
