"""Setting up whom the company deals with, and the outside places that goods come from them by."""

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Party, Place

CODE_LENGTH = 64


@transaction.atomic
def save_party(*, code: str, name: str, is_supplier: bool = False, is_customer: bool = False) -> Party:
    """Make a supplier or customer with its outside place, or change its name; roles are only added.

    The place that goods come from is named by role and code: `supplier:CODE`, `customer:CODE`.
    """
    if not code.strip() or ":" in code or len(code) > CODE_LENGTH:
        message = f"is not a party's code; 1 to {CODE_LENGTH} characters without a colon"
        raise BadInput.of([Fault("/code", code, message)])
    party = Party.objects.select_for_update().filter(code=code).first() or Party(code=code)
    if party.is_company:
        raise BadInput.of([Fault("/code", code, "is the company itself")])
    party.name = name
    party.is_supplier, party.is_customer = party.is_supplier or is_supplier, party.is_customer or is_customer
    party.save()
    make_outside_places(party)
    return party


def make_outside_places(party: Party) -> None:
    """See that goods can come from a party: one outside place for each of its roles, named as it is."""
    roles = ((party.is_supplier, Place.Kind.SUPPLIER), (party.is_customer, Place.Kind.CUSTOMER))
    for has_role, kind in roles:
        if has_role:
            Place.objects.update_or_create(
                code=f"{kind.value}:{party.code}",
                defaults={"name": party.name},
                create_defaults={"name": party.name, "kind": kind},
            )
