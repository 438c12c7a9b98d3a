"""Setting down what a warehouse has printed, so that the next list can say what has changed."""

from datetime import date, datetime

from django.db import transaction

from inventory.models import Actor, Place
from jobs.models import PickListPrint
from jobs.queries.kits_of_day import KitsOfDay, describe_lines, get_kits_of_day


@transaction.atomic
def print_kits_of_day(*, warehouse: Place, date: date, by: Actor, occurred_at: datetime) -> KitsOfDay:
    """Number the list of a day and keep it as it stands; the answer still tells what changed before it.

    A list that is printed again unchanged is the same print.
    """
    Place.objects.select_for_update(of=("self",)).get(pk=warehouse.pk)
    found = get_kits_of_day(warehouse=warehouse, date=date)
    if found.printed_number and not found.changes:
        return found
    PickListPrint.objects.create(
        warehouse=warehouse,
        date=date,
        number=found.printed_number + 1,
        printed_at=occurred_at,
        by=by,
        lines=describe_lines(found.lines),
    )
    return found
