"""Quarantine, incident and fitting, each seen through to its end by who may."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.test import Client

from inventory.models import Container, Quarantine, TaggedFitting
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from jobs.models import Incident
from tests.factories.accounts import Office
from tests.factories.inventory import at, gal

Browse = Callable[[str], Client]


def _hold(client: Client, label: str = "D-1", reason: str = "smells of solvent") -> Quarantine | None:
    sent = {"id": str(uuid4()), "container": label, "reason": reason, "caused_by": ""}
    for _ in range(2):
        client.post("/safety/hold", sent)
    return Quarantine.objects.first()


def test_drum_is_held_back_and_the_page_says_where_it_went(browse: Browse, office: Office) -> None:
    drum = Container.objects.get(label="D-1")
    line = Line(office.world.fluid, gal(5), End(office.world.warehouse, drum), End(office.span.place))
    draw(id=uuid4(), by=office.world.actor, occurred_at=at(2), lines=[line])
    held = _hold(browse("stores"))
    assert held is not None
    drum.refresh_from_db()
    assert drum.state == Container.State.HELD
    client = browse("safety")
    assert f'href="/safety/quarantines/{held.uuid}"' in client.get("/safety").content.decode()
    text = client.get(f"/safety/quarantines/{held.uuid}").content.decode()
    assert "smells of solvent" in text
    assert f"{office.span.place.name}: 5 gal" in text


@pytest.mark.parametrize(
    ("changes", "field"), [({"container": "NONE"}, "container"), ({"reason": ""}, "reason")]
)
def test_wrong_request_names_its_field(browse: Browse, changes: dict[str, str], field: str) -> None:
    sent = {"id": str(uuid4()), "container": "D-1", "reason": "smells", "caused_by": "", **changes}
    text = browse("stores").post("/safety/hold", sent).content.decode()
    assert f'id="{field}-fault"' in text
    assert not Quarantine.objects.exists()


@pytest.mark.parametrize("role", ["stores", "planner", "accounts", "admin", "crew"])
def test_quarantine_is_lifted_by_safety_only(browse: Browse, role: str) -> None:
    held = _hold(browse("safety"))
    assert held is not None
    address = f"/safety/quarantines/{held.uuid}"
    sent = {"id": str(uuid4()), "reason": "the test was clean"}
    answer = browse(role).post(address, sent)
    held.refresh_from_db()
    assert answer.status_code in {200, 403, 404}
    assert held.is_open
    assert browse("safety").post(address, sent).status_code == 302
    held.refresh_from_db()
    assert not held.is_open
    assert "the test was clean" in browse("safety").get(address).content.decode()


def _spill(office: Office) -> Incident:
    return Incident.objects.create(
        uuid=uuid4(),
        fingerprint="",
        kind=Incident.Kind.SPILL,
        occurred_at=at(1),
        recorded_at=at(1),
        by=office.world.actor,
        crew_day=office.crew.days.get(),
        material=office.world.fluid,
        amount=3_000_000,
        amount_low=2_000_000,
        amount_high=4_000_000,
        is_contained=False,
    )


def test_incident_tells_who_was_told_and_is_closed_by_safety(browse: Browse, office: Office) -> None:
    spill = _spill(office)
    address = f"/safety/incidents/{spill.uuid}"
    crew = browse("crew")
    assert "3 gal" in crew.get(address).content.decode()
    assert crew.post(address, {"who": "the county", "how": "by phone"}).status_code == 302
    assert 'role="alert"' in crew.post(address, {"close": "1", "note": "dug out"}).content.decode()
    client = browse("safety")
    assert "the county" in client.get(address).content.decode()
    assert 'id="note-fault"' in client.post(address, {"close": "1", "note": ""}).content.decode()
    assert 'id="who-fault"' in client.post(address, {"who": "", "how": "letter"}).content.decode()
    assert client.post(address, {"close": "1", "note": "dug out"}).status_code == 302
    spill.refresh_from_db()
    assert spill.closing_note == "dug out"


@pytest.fixture
def fitting(office: Office) -> TaggedFitting:
    return TaggedFitting.objects.create(
        tag="P-7",
        material=office.world.projectile,
        made_by="Ann",
        checked_by="Bo",
        made_date=at(0).date(),
        place=office.world.warehouse,
    )


def test_fitting_shows_its_limits_and_takes_inspections(browse: Browse, fitting: TaggedFitting) -> None:
    client = browse("safety")
    address = f"/safety/fittings/{fitting.tag}"
    text = client.get(address).content.decode()
    assert "no limit approved" in text
    assert "never inspected" in text
    assert (
        client.post(address, {"approve": "1", "pressure": "800", "pressure-unit": "[psi]"}).status_code == 302
    )
    fitting.refresh_from_db()
    # 1 psi is 6.894757 kPa (NIST SP 811).
    assert fitting.approved_pressure_kpa == pytest.approx(800 * 6.894757, rel=1e-6)
    wrong = client.post(address, {"approve": "1", "pressure": "much", "pressure-unit": "[psi]"})
    assert 'id="pressure-fault"' in wrong.content.decode()
    sent = {"id": str(uuid4()), "is_passed": "no", "note": "thread is worn"}
    assert client.post(address, sent).status_code == 302
    assert "thread is worn" in client.get(address).content.decode()


@pytest.mark.parametrize("role", ["stores", "planner", "accounts", "admin"])
def test_pressure_of_a_fitting_is_approved_by_safety_only(
    browse: Browse, fitting: TaggedFitting, role: str
) -> None:
    sent = {"approve": "1", "pressure": "800", "pressure-unit": "[psi]"}
    assert 'role="alert"' in browse(role).post(f"/safety/fittings/{fitting.tag}", sent).content.decode()
    fitting.refresh_from_db()
    assert fitting.approved_pressure_kpa is None
