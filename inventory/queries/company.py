"""The one company of this installation."""

from datetime import UTC, date, datetime, time, timedelta
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


def get_day(moment: datetime) -> date:
    """Return the day of the company's calendar on which a moment falls."""
    return moment.astimezone(ZoneInfo(get_company().time_zone)).date()


def get_day_end(moment: datetime) -> datetime:
    """Return when the company's day in which a moment falls is over."""
    zone = ZoneInfo(get_company().time_zone)
    next_day = moment.astimezone(zone).date() + timedelta(days=1)
    return datetime.combine(next_day, time.min, tzinfo=zone).astimezone(UTC)
