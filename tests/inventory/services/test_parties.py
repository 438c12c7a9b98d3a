"""Suppliers and customers, with the outside places that goods come from them by."""

import pytest

from inventory.errors import BadInput
from inventory.models import Party, Place
from inventory.services.parties import save_party
from tests.factories.jobs import make_company

pytestmark = pytest.mark.django_db


def test_save_party_makes_a_supplier_and_its_place() -> None:
    party = save_party(code="foam", name="Foam works (invented)", is_supplier=True)
    place = Place.objects.get(code="supplier:foam")
    assert (party.is_supplier, party.is_customer) == (True, False)
    assert (place.kind, place.name) == (Place.Kind.SUPPLIER, "Foam works (invented)")
    assert not Place.objects.filter(code="customer:foam").exists()


def test_save_party_again_renames_and_adds_roles() -> None:
    save_party(code="foam", name="Before", is_supplier=True)
    party = save_party(code="foam", name="After", is_customer=True)
    assert (party.name, party.is_supplier, party.is_customer) == ("After", True, True)
    assert Party.objects.filter(code="foam").count() == 1
    assert Place.objects.get(code="customer:foam").name == "After"


@pytest.mark.parametrize("code", ["", "  ", "a:b", "x" * 65])
def test_save_party_refuses_what_is_no_code(code: str) -> None:
    with pytest.raises(BadInput, match="is not a party's code"):
        save_party(code=code, name="Somebody", is_supplier=True)
    assert not Place.objects.filter(code__startswith="supplier:").exists()


def test_save_party_refuses_the_company_itself() -> None:
    company = make_company()
    with pytest.raises(BadInput, match="the company itself"):
        save_party(code=company.code, name="Another name", is_customer=True)
    company.refresh_from_db()
    assert not company.is_customer
