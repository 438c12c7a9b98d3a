"""Every page for every role: who sees it, who is refused, and what of another crew's is not there at all."""

import re
from collections.abc import Callable
from uuid import uuid4

import pytest
from django.test import Client

from api.models import User
from api.pages.urls import urlpatterns
from inventory.models import Container, Entry, Place
from inventory.services.accounting.journal import AccountSetting, make_batch, set_accounts
from inventory.services.quarantining import open_quarantine
from jobs.models import Incident
from tests.factories.accounts import Office
from tests.factories.inventory import at, gal
from tests.factories.supply import make_order, make_supplier, make_terms

Browse = Callable[[str], Client]
Table = dict[str, tuple[str, dict[str, int]]]
OTHERS = ("stores", "planner", "accounts", "safety", "admin")
ROLES = (*OTHERS, "crew")
ALL = dict.fromkeys(ROLES, 200)
NOT_CREW = {**ALL, "crew": 403}
MONEY = {**NOT_CREW, "safety": 403}
KEEPING = {**dict.fromkeys(ROLES, 403), "stores": 200, "admin": 200}
BOOKS = {**dict.fromkeys(ROLES, 403), "accounts": 200, "admin": 200}
# By the name of a page: an address of it, and what each role is answered.
TABLE: Table = {
    "own_settings": ("/settings", ALL),
    "days": ("/days", ALL),
    "day_sheet": ("/days/north/{day}", ALL),
    "day_figures": ("/days/north/{day}/drawn", ALL),
    "week": ("/week", NOT_CREW),
    "jobs": ("/jobs", ALL),
    "job_days": ("/jobs/J-north/days", ALL),
    "job_cost": ("/jobs/J-north/cost", MONEY),
    "entry": ("/entries/{entry}", ALL),
    "closing": ("/closing", MONEY),
    "second_words": ("/second-words", MONEY),
    "bills": ("/bills", MONEY),
    "new_bill": ("/bills/of/source", BOOKS),
    "batches": ("/batches", MONEY),
    "batch": ("/batches/1", MONEY),
    "safety": ("/safety", NOT_CREW),
    "new_quarantine": ("/safety/hold", {**ALL, "planner": 403, "accounts": 403}),
    "quarantine": ("/safety/quarantines/{quarantine}", ALL),
    "incident": ("/safety/incidents/{incident}", ALL),
    "kits": ("/kits", NOT_CREW),
    "learnt": ("/learnt", NOT_CREW),
    "restock": ("/restock", NOT_CREW),
    "receive": ("/receive", KEEPING),
    "receive_unordered": ("/receive/new", KEEPING),
    "receive_order": ("/receive/{order}", KEEPING),
    "unlabelled": ("/unlabelled", ALL),
    "counts": ("/counts", KEEPING),
    "count_plan": ("/counts/plans/main-yard", {**KEEPING, "crew": 404}),
    "trucks": ("/trucks", NOT_CREW),
    "recovery": ("/recovery", NOT_CREW),
    "whereabouts": ("/where", ALL),
    "container": ("/containers/D-north", ALL),
}
# What has no data of anybody, or is tried with its data in a test of its own.
APART = {
    "first_page", "sign_in", "sign_out", "picture_style", "field", "field_in", "field_worker", "field_pack",
    "field_who", "issued_sheet", "cost_line", "bill", "receipt", "count_sheet", "stock_ahead", "fitting",
}  # fmt: skip
# Addresses of another crew's, which a crew is answered like what is not there.
FOREIGN = ("/containers/D-south", "/days/south/{day}", "/days/south/{day}/drawn", "/jobs/J-south/days")


@pytest.fixture
def names(office: Office) -> dict[str, str]:
    """What stands in the braces of an address."""
    supplier = make_supplier()
    make_terms(supplier, office.world.fluid, pack=55)
    set_accounts(settings=[AccountSetting(kind, f"1-{kind}") for kind in Place.Kind.values])
    day = office.crew.days.get()
    make_batch(by=office.world.actor, made_at=at(50), booked_until=day.date.replace(year=2027))
    drum = Container.objects.get(label="D-north")
    incident = Incident.objects.create(
        uuid=uuid4(),
        fingerprint="",
        kind=Incident.Kind.SPILL,
        occurred_at=at(1),
        recorded_at=at(1),
        by=office.world.actor,
        crew_day=day,
    )
    held = open_quarantine(
        id=uuid4(), by=office.world.actor, occurred_at=at(2), container=drum, reason="smells", caused_by=None
    )
    return {
        "day": day.date.isoformat(),
        "entry": str(Entry.objects.filter(movements__target_container=drum).first().uuid),  # type: ignore[union-attr]
        "order": make_order(office.world, supplier, office.world.fluid, gal(55)).order.reference,
        "quarantine": str(held.uuid),
        "incident": str(incident.uuid),
    }


def test_every_page_stands_in_the_table() -> None:
    known = {pattern.name for pattern in urlpatterns}
    assert known == set(TABLE) | APART
    assert set(ROLES) == set(User.Role.values)


@pytest.mark.parametrize("role", ROLES)
def test_role_is_answered_as_the_table_says(browse: Browse, names: dict[str, str], role: str) -> None:
    client = browse(role)
    found = {}
    for name, (address, _expected) in TABLE.items():
        answer = client.get(address.format(**names))
        found[name] = answer.status_code
        text = answer.content.decode()
        assert "<h1>" in text, name
        assert not re.search(r"\bstyle=|<script(?! src)|<style|\bonclick=", text), name
        if role in {"crew", "safety"}:
            assert " USD" not in text, name
    assert found == {name: expected[role] for name, (_address, expected) in TABLE.items()}


@pytest.mark.parametrize("address", FOREIGN)
def test_crew_is_answered_of_another_crews_like_what_is_not_there(
    browse: Browse, names: dict[str, str], address: str
) -> None:
    assert browse("crew").get(address.format(**names)).status_code == 404
    assert browse("planner").get(address.format(**names)).status_code == 200
