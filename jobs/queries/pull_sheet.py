"""The kit of a crew-day: what the steps need, less what is on the truck, and where to get the rest.

Computed from the database each time it is asked for; nothing is promised or stored here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from django.utils.translation import gettext as _

from inventory.models import Material
from inventory.queries.company import get_company_party, get_today
from inventory.units import format_millionths
from jobs.models import CrewDay
from jobs.queries.catalogue import load_catalogue
from jobs.queries.cautions import list_carried_cautions, list_cautions
from jobs.queries.check_lists import CheckItem, load_check_lists
from jobs.queries.cut_lists import add_cut_lists
from jobs.queries.day_needs import compute_needs_of_days
from jobs.queries.day_work import DayWork, load_day_work
from jobs.queries.jobs import get_crew_day, get_policy
from jobs.queries.kit_serving import Supplies, serve_day
from jobs.queries.kit_tags import load_tagged_choices
from jobs.queries.kit_yard import Yard, list_days_to_serve
from jobs.queries.making import load_makings
from jobs.queries.plan_warnings import PlanWarnings, load_plan_warnings
from jobs.queries.pressure_limits import find_standing_limits
from jobs.queries.sheet_lines import GROUP_ORDER, CutList, SheetLine, order_lines
from jobs.queries.sheet_steps import PlannedCrewDay, SheetStep, list_steps
from jobs.queries.shortage_help import help_shortages
from jobs.queries.truck_load import CoreMasses, TruckLoad, weigh_aboard, weigh_day


@dataclass(frozen=True)
class PullSheet(PlannedCrewDay):
    """A crew's day and everything that it takes along, by where it is used and in the order of work."""

    lines: list[SheetLine]
    cautions: list[str]
    remarks: list[str] = field(default_factory=list)
    check_list: list[CheckItem] = field(default_factory=list)
    load: TruckLoad | None = None
    warehouse_code: str = ""
    cut_lists: list[CutList] = field(default_factory=list)

    @property
    def shortages(self) -> list[SheetLine]:
        return [line for line in self.lines if line.short > 0]


def get_pull_sheet(*, crew_code: str, date: date) -> PullSheet:
    """The kit of a crew for a day."""
    return make_pull_sheet(get_crew_day(crew_code=crew_code, date=date))


def make_pull_sheet(day: CrewDay) -> PullSheet:
    """The kit of a crew-day that comes with its crew, vehicle and warehouse."""
    return make_pull_sheets([day])[0]


def make_pull_sheets(days: Sequence[CrewDay], *, as_of: date | None = None) -> list[PullSheet]:
    """The kits of crew-days of one warehouse and date, in a number of queries that does not grow with them.

    Crews of that warehouse and day whose codes come first are served first, and before a crew's day its own
    days from `as_of` (today) on that are not settled, since what they leave on the truck serves again.
    """
    if not days:
        return []
    as_of = min(as_of or get_today(), days[0].date)
    order = list_days_to_serve(days, as_of=as_of)
    catalogue, standing = load_catalogue(get_policy(), get_company_party()), find_standing_limits()
    works = load_day_work(order)
    needs = {found.work.crew_day.pk: found for found in compute_needs_of_days(works, catalogue=catalogue)}
    check_lists = load_check_lists(catalogue.equipment)
    supplies = Supplies(catalogue, load_makings(), load_tagged_choices(order))
    warnings, cores, yard = load_plan_warnings(days), CoreMasses.load(), Yard(order)
    hazardous = list(Material.objects.filter(is_hazardous=True).order_by("code"))
    sheets: dict[int, PullSheet] = {}
    wanted = {day.pk for day in days}
    for day in order:
        work, stock = needs[day.pk].work, yard.open_for(day)
        aboard = weigh_aboard(stock)
        served = serve_day(needs[day.pk], stock, supplies)
        yard.close(day, stock, back=served.back)
        if day.pk in wanted:
            load = weigh_day(work, aboard, served.lines, catalogue, cores, yard.payload_kg(day))
            sheets[day.pk] = PullSheet(
                crew_code=day.crew.code,
                crew_name=day.crew.name,
                date=day.date,
                vehicle=day.vehicle.name,
                warehouse=day.warehouse.name,
                state=day.state,
                steps=list_steps(work),
                lines=order_lines(served.lines),
                cautions=list_cautions(work, catalogue.policy, standing)
                + list_carried_cautions(_carried(served.lines), stock.truck, hazardous),
                remarks=_list_remarks(work, warnings, load),
                check_list=check_lists.for_day(work),
                load=load,
                warehouse_code=day.warehouse.code,
            )
    found = add_cut_lists([sheets[day.pk] for day in days])
    return help_shortages(found, days[0].warehouse, as_of=as_of)


def _carried(lines: Sequence[SheetLine]) -> set[str]:
    """The codes of all materials that a sheet names."""
    picks = [pick for line in lines for pick in (*line.picks, *line.there)]
    return {line.material_code for line in lines} | {pick.material_code for pick in picks}


def _list_remarks(work: DayWork, warnings: PlanWarnings, load: TruckLoad) -> list[str]:
    """What about the plan itself somebody should look at."""
    found = []
    if not work.steps and not work.stopped:
        found.append(_("Everything planned for this day is done."))
    found += warnings.of(work.crew_day)
    if load.is_over:
        found.append(_("Too heavy: {load}").format(load=load.sentence))
    return found


def show_quantity(millionths: int, unit: str) -> str:
    """As people write it; pieces without a unit."""
    shown = format_millionths(millionths, unit)
    return shown.removesuffix(" each")


__all__ = [
    "GROUP_ORDER",
    "PlannedCrewDay",
    "PullSheet",
    "SheetLine",
    "SheetStep",
    "get_pull_sheet",
    "list_steps",
    "make_pull_sheet",
    "make_pull_sheets",
    "show_quantity",
]
