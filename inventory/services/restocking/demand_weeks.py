"""Rolling up what was used into weeks, from sealed entries in the order of their seals.

Seals and not keys of entries, since among entries that share nothing a later key may be committed earlier:
whoever went by keys would skip one for good.
"""

from collections.abc import Mapping

from django.db import connection, transaction

from inventory.models import DemandCursor, DemandWeek, Movement, Seal
from inventory.queries.demand_history import Week, select_demand, sum_demand

SEALS_AT_ONCE = 2_000
ROWS_AT_ONCE = 150


def roll_up_demand() -> int:
    """Roll up everything sealed so far, batch by batch; return how many seals were gone through."""
    total = 0
    while gone_through := roll_up_batch():
        total += gone_through
    return total


@transaction.atomic
def roll_up_batch(size: int = SEALS_AT_ONCE) -> int:
    """Add the next sealed entries to their weeks; the cursor is the lock and moves with its effect."""
    DemandCursor.objects.get_or_create(pk=1)
    cursor = DemandCursor.objects.select_for_update().get(pk=1)
    seals = list(
        Seal.objects.filter(sequence__gt=cursor.sequence)
        .order_by("sequence")
        .values_list("sequence", "entry_id")[:size]
    )
    if not seals:
        return 0
    entries = [entry for _sequence, entry in seals if entry is not None]
    _add(sum_demand(select_demand(Movement.objects.filter(entry__in=entries))))
    cursor.sequence = seals[-1][0]
    cursor.save(update_fields=["sequence"])
    return len(seals)


def _add(demand: Mapping[Week, int]) -> None:
    """Upsert by plain statements: the models' own upsert sets a value and does not add to one."""
    table = connection.ops.quote_name(DemandWeek._meta.db_table)
    rows = [(*key, used) for key, used in sorted(demand.items()) if used]
    with connection.cursor() as cursor:
        for start in range(0, len(rows), ROWS_AT_ONCE):
            chunk = rows[start : start + ROWS_AT_ONCE]
            places = ", ".join(["(%s, %s, %s, %s, %s)"] * len(chunk))
            cursor.execute(
                f"INSERT INTO {table} (place_id, material_id, owner_id, week_date, used) VALUES {places} "
                "ON CONFLICT (place_id, material_id, owner_id, week_date) "
                f"DO UPDATE SET used = {table}.used + excluded.used",
                [value for row in chunk for value in row],
            )
