"""Acts on waste, deposits and empties."""

from typing import Any

from inventory.models import Party
from inventory.services.deposits import charge_deposits
from tests.api.acts.case import AT, ActCase, Json, dollars, head
from tests.api.acts.fluids import SAFETY_ONLY, caught
from tests.factories.accounts import Office
from tests.factories.fluids import make_vessel
from tests.factories.inventory import at

MONEY_ONLY = (401, 201, 403, 403, 201, 403, 201)


def a_waste_drum(office: Office, **fields: Any) -> Json:
    caught(office)
    return {"occurred_at": AT, "container": "C-north", **fields}


def a_handover(office: Office, **fields: Any) -> Json:
    caught(office)
    return {
        **head(),
        "containers": ["C-north"],
        "number": "M-100",
        "receiver": "Waste works (invented)",
        **fields,
    }


def a_yard_handover(office: Office) -> Json:
    caught(office, "C-yard", in_yard=True)
    return a_handover(office, containers=["C-yard"])


def deposit_terms(office: Office, **fields: Any) -> Json:
    Party.objects.get_or_create(code="drums", defaults={"name": "Drum supplier", "is_supplier": True})
    return {"supplier": "drums", "container_kind": "drum", "amount": dollars("45.00"), **fields}


def a_charge(office: Office, **fields: Any) -> Json:
    deposit_terms(office)
    given = {"occurred_at": AT, "supplier": "drums", "containers": ["D-1", "D-north"]}
    return {**given, "amount": dollars("40.00"), "document": "slip 8", **fields}


def an_empties_return(office: Office, **fields: Any) -> Json:
    """An empty drum on the north truck, with a deposit of forty dollars."""
    deposit_terms(office)
    box = make_vessel(office.world, "E-north", place=office.crew.vehicle, state="open")
    charge_deposits(
        containers=[box], supplier=Party.objects.get(code="drums"), occurred_at=at(1), amount=40_000_000
    )
    return {**head(), "supplier": "drums", "containers": ["E-north"], **fields}


WASTE_ACTS: dict[str, ActCase] = {
    "gather waste": ActCase(
        "startWasteDrum", "waste-drums", a_waste_drum, (401, 201, 201, 403, 403, 201, 201)
    ),
    "limit days": ActCase(
        "startWasteDrum",
        "waste-drums",
        lambda office: a_waste_drum(office, day_limit=90),
        SAFETY_ONLY,
    ),
    "hand over": ActCase("handOverWaste", "waste-manifests", a_handover, (401, 201, 403, 403, 403, 403, 201)),
    "hand over the yard's": ActCase(
        "handOverWaste", "waste-manifests", a_yard_handover, (401, 201, 400, 403, 403, 403, 201)
    ),
    "deposit terms": ActCase("setDepositTerms", "deposit-terms", deposit_terms, MONEY_ONLY),
    "charge": ActCase("chargeDeposits", "deposits", a_charge, (401, 201, 400, 403, 201, 403, 201)),
    "send empties back": ActCase(
        "returnEmpties", "empties-returns", an_empties_return, (401, 201, 403, 403, 403, 403, 201)
    ),
}
