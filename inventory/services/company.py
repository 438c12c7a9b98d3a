"""Setting an installation up."""

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Actor, ChainHead, Company, Party
from inventory.money import is_currency
from inventory.services.posting.special_places import make_special_places


@transaction.atomic
def set_up_company(
    *, code: str, name: str, currency: str, time_zone: str, uses_metric: bool = False
) -> Company:
    """Make the company, its special places and the head of its chain; again, it changes nothing."""
    return find_or_set_up_company(
        code=code, name=name, currency=currency, time_zone=time_zone, uses_metric=uses_metric
    )[0]


@transaction.atomic
def find_or_set_up_company(
    *, code: str, name: str, currency: str, time_zone: str, uses_metric: bool = False
) -> tuple[Company, bool]:
    """Set up as `set_up_company` does, and say whether the company is new."""
    standing = Company.objects.select_related("party").first()
    if standing is not None:
        return standing, False
    try:
        ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        message = "is not a time zone; give one such as America/Chicago or Europe/Madrid"
        raise BadInput.of([Fault("/time_zone", time_zone, message)]) from None
    if not is_currency(currency):
        message = "is not a currency of ISO 4217; give its code, such as USD"
        raise BadInput.of([Fault("/currency", currency, message)])
    party = Party.objects.create(code=code, name=name, is_company=True)
    make_special_places()
    ChainHead.objects.get_or_create(pk=1)
    company = Company.objects.create(
        party=party, currency=currency, time_zone=time_zone, uses_metric=uses_metric
    )
    return company, True


def get_system_actor(code: str, name: str) -> Actor:
    """Return the actor that a system posts as, made on first use."""
    actor, _made = Actor.objects.get_or_create(code=code, defaults={"name": name, "kind": Actor.Kind.SYSTEM})
    return actor
