"""The one company of this installation."""

from datetime import date
from zoneinfo import ZoneInfo

from django.utils import timezone

from inventory.errors import SpanstockError
from inventory.models import Company, Party


class NotSetUp(SpanstockError):
    """Nothing has been set up yet: there is no company whose goods these could be."""

    code = "not_set_up"


def get_company() -> Company:
    """Return the company's row."""
    company = Company.objects.select_related("party").first()
    if company is None:
        raise NotSetUp("This installation has no company yet. Run `python manage.py set_up` first.")
    return company


def get_company_party() -> Party:
    """Return the company as an owner of goods."""
    party = Party.objects.filter(is_company=True).first()
    if party is None:
        raise NotSetUp("This installation has no company yet. Run `python manage.py set_up` first.")
    return party


def get_today() -> date:
    """Return today's date where the company is."""
    return timezone.now().astimezone(ZoneInfo(get_company().time_zone)).date()
