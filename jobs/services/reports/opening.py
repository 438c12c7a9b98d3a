"""The day that a report is about, locked, with what has to be known before anything else; in one message."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import connection

from inventory.errors import NotFound
from inventory.models import Company, Party, Place
from inventory.queries.company import NotSetUp
from inventory.services.posting.rows import Select, columns_of, make_models, one_of, read_rows
from jobs.models import Crew, CrewDay, FieldReport, UnreportedDay

_THIS_DAY = "crew_id = (SELECT id FROM jobs_crew WHERE code = %s) AND date = %s"


@dataclass(frozen=True)
class Opened:
    """A locked crew-day. `known` is the report that has the id already; `has_reports` tells of standing ones
    of the day, `has_later` of any that stand after the moment told of. `beside` is what else was read.
    """

    day: CrewDay
    company: Company
    known: FieldReport | None
    unreported: UnreportedDay | None
    has_reports: bool
    has_later: bool
    beside: list[list[tuple[Any, ...]]]


def open_day(
    *,
    id: UUID,
    crew_code: str,
    date: date,
    occurred_at: datetime,
    meters: Sequence[str] = (),
    beside: Sequence[Select] = (),
) -> Opened:
    """Take a crew's day for this transaction, so that its reports are taken one after the other; and the
    meters of these tags, since what two crews tell of one at the same moment neither would else see.

    `beside` is read in the same message, behind the locks.

    Raises
    ------
    NotFound
        If the crew has no such day.
    NotSetUp
        If there is no company.
    """
    day_of = (crew_code, date)
    _meters, days, around, known, companies, [(has_reports, has_later)], *others = read_rows(
        _lock_meters(meters),
        _lock_day(crew_code, date),
        Select(
            f"SELECT {columns_of(Crew, 'crew')}, {columns_of(Place, 'vehicle')},"
            f" {columns_of(Place, 'warehouse')}, {columns_of(UnreportedDay, 'unreported')}"
            " FROM jobs_crewday day JOIN jobs_crew crew ON crew.id = day.crew_id"
            " JOIN inventory_place vehicle ON vehicle.id = day.vehicle_id"
            " JOIN inventory_place warehouse ON warehouse.id = day.warehouse_id"
            " LEFT JOIN jobs_unreportedday unreported ON unreported.crew_day_id = day.id"
            f" WHERE day.{_THIS_DAY}",
            day_of,
        ),
        Select(
            f"SELECT {columns_of(FieldReport, 'report')} FROM jobs_fieldreport report WHERE uuid = %s", (id,)
        ),
        Select(
            f"SELECT {columns_of(Company, 'company')}, {columns_of(Party, 'party')}"
            " FROM inventory_company company"
            " JOIN inventory_party party ON party.id = company.party_id LIMIT 1",
            (),
        ),
        Select(
            "SELECT EXISTS (SELECT 1 FROM jobs_fieldreport WHERE NOT is_undone AND crew_day_id ="
            f" (SELECT id FROM jobs_crewday WHERE {_THIS_DAY})),"
            " EXISTS (SELECT 1 FROM jobs_fieldreport WHERE NOT is_undone AND occurred_at >= %s"
            " AND (occurred_at > %s OR uuid > %s))",
            (*day_of, occurred_at, occurred_at, id),
        ),
        *beside,
    )
    if not days:
        raise NotFound(f"Crew {crew_code} has nothing planned on {date}.")
    if not companies:
        raise NotSetUp("This installation has no company yet. Run `python manage.py set_up` first.")
    [day] = make_models(days[0], CrewDay)
    day.crew, day.vehicle, day.warehouse, unreported = make_models(
        around[0], Crew, Place, Place, UnreportedDay
    )
    company, party = make_models(companies[0], Company, Party)
    company.party = party
    report = make_models(known[0], FieldReport)[0] if known else None
    return Opened(day, company, report, unreported, bool(has_reports), bool(has_later), others)


def _lock_meters(tags: Sequence[str]) -> Select:
    """Meters in the order of their keys; what names one in a row of its own does not wait for that."""
    if not tags or connection.vendor != "postgresql":
        return Select("SELECT 1 WHERE FALSE", ())
    found = sorted(set(tags))
    sql = f"SELECT id FROM inventory_instrument WHERE tag IN {one_of(found)} ORDER BY id FOR NO KEY UPDATE"
    return Select(sql, found)


def _lock_day(crew_code: str, date: date) -> Select:
    # SQLite knows no row locks; its write lock is held since the transaction began.
    lock = " FOR UPDATE" if connection.vendor == "postgresql" else ""
    return Select(
        f"SELECT {columns_of(CrewDay, 'day')} FROM jobs_crewday day WHERE {_THIS_DAY}{lock}",
        (crew_code, date),
    )
