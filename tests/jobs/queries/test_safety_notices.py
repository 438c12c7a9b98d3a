"""One list of what waits for safety: incidents first, people before fluid."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, WasteDrum
from inventory.services.quarantining import lift_quarantine, open_quarantine
from inventory.services.waste import start_waste_drum
from jobs.models import Incident, RecoveryDrift
from jobs.queries.safety_notices import list_safety_notices
from jobs.services.recovery import look_at_drift
from jobs.services.safety.incidents import IncidentFacts, close_incident, open_incident
from tests.factories.accounts import Office, make_office
from tests.factories.fluids import make_vessel
from tests.factories.inventory import at
from tests.factories.safety import make_finding

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)


@pytest.fixture
def office() -> Office:
    return make_office()


def happen(office: Office, kind: str, hours: float, note: str = "") -> None:
    facts = IncidentFacts(kind=kind, span=office.span, job=office.job, note=note)
    open_incident(id=uuid4(), by=office.world.actor, occurred_at=at(hours), facts=facts)


def gather(office: Office, label: str, limit: int | None, days: int) -> None:
    box = make_vessel(office.world, label)
    drum = start_waste_drum(container=box, by=office.world.actor, occurred_at=at(0), day_limit=limit)
    WasteDrum.objects.filter(pk=drum.pk).update(started_date=TODAY - timedelta(days=days))


def drift(office: Office) -> RecoveryDrift:
    return RecoveryDrift.objects.create(
        group="crew", crew=office.crew, direction="down", reading=str(uuid4()), happened_at=at(0),
        statistic=-0.8, limit=0.7, found_at=at(1),
    )  # fmt: skip


def said(on_date: date = TODAY) -> list[tuple[str, str]]:
    return [(row.kind, row.sentence) for row in list_safety_notices(on_date=on_date)]


def test_list_safety_notices_names_all_that_waits(office: Office) -> None:
    happen(office, "unaccounted", 1, "5 gal cannot be accounted for.")
    happen(office, "spill", 2)
    happen(office, "injury", 3, "A hand was caught.")
    stop = make_finding("projectile_inside", crew_day=office.crew.days.get(), run=office.run)
    open_quarantine(
        id=uuid4(),
        by=office.world.actor,
        occurred_at=at(1),
        container=Container.objects.get(label="D-1"),
        reason="rust",
    )
    gather(office, "W-none", None, 1)
    gather(office, "W-due", 30, 30)
    gather(office, "W-soon", 30, 29)
    drift(office)
    found = said()
    assert found[:3] == [
        ("incident", "Injury at span S1. A hand was caught."),
        ("incident", "Spill at span S1."),
        ("incident", "Fluid unaccounted for at span S1. 5 gal cannot be accounted for."),
    ]
    assert found[3] == ("stop", stop.sentence)
    assert found[4] == ("quarantine", "D-1 is held back: rust")
    assert found[5][1].startswith("W-none gathers waste. No limit approved")
    assert found[6] == ("waste", "W-due gathers waste and must go by 2026-03-02.")
    assert found[7] == ("drift", "Recovery of crew north has drifted: less comes back.")
    assert len(found) == 8
    assert ("waste", "W-soon gathers waste and must go by 2026-03-03.") in said(TODAY + timedelta(days=1))


def test_list_safety_notices_forgets_what_was_done_with(office: Office) -> None:
    happen(office, "spill", 1)
    (row,) = list_safety_notices(on_date=TODAY)

    incident = Incident.objects.get()
    assert row.id == str(incident.uuid)
    close_incident(id=incident.uuid, by=office.world.actor, role="safety", note="cleaned", occurred_at=at(2))
    make_finding("projectile_inside", crew_day=office.crew.days.get(), run=office.run, settled_at=at(2))
    quarantine = open_quarantine(
        id=uuid4(),
        by=office.world.actor,
        occurred_at=at(1),
        container=Container.objects.get(label="D-1"),
        reason="rust",
    )
    lift_quarantine(
        id=uuid4(), by=office.world.other_actor, occurred_at=at(2), quarantine=quarantine, reason="fine"
    )
    look_at_drift(drift=drift(office), by=office.world.actor, occurred_at=at(2), finding="worn seal")
    assert said() == []


def test_list_safety_notices_takes_as_many_queries_however_much_waits(office: Office) -> None:
    counts = []
    for many in (1, 5):
        for number in range(many):
            happen(office, "spill", number)
            gather(office, f"W-{many}-{number}", None, 1)
            drift(office)
            make_finding("projectile_inside", crew_day=office.crew.days.get(), run=office.run)
        with CaptureQueriesContext(connection) as queries:
            said()
        counts.append(len(queries))
    assert counts[0] == counts[1]
