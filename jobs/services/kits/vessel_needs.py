"""Empty vessels that a day lacks to catch into, told as goods to be bought."""

from collections.abc import Iterable
from functools import cached_property
from math import ceil

from inventory.models import Container, Party
from inventory.queries.holdings import list_empty_vessels
from inventory.services.requirements import NeededMaterial
from inventory.units import MILLION
from jobs.models import CrewDay, EstimatingPolicy, KitPolicy
from jobs.queries.day_needs import DayNeeds
from jobs.queries.jobs import get_policy
from jobs.queries.kit_stock import vessel_room
from jobs.queries.kit_yard import VESSEL_KINDS, find_warehouse_places

LITRES_PER_M3 = 1000


class VesselNeeds:
    """For each day the vessels that are not there, read once for however many days.

    Each day is held against all that stand clean and empty in its warehouse and on its truck: what one day
    fills is emptied and cleaned for another. Nothing is told where the company has named no vessel to buy.
    """

    def of(self, needs: DayNeeds, day: CrewDay) -> Iterable[NeededMaterial]:
        material, fluid, company = self._kit.vessel_material, needs.fluid, self._company
        if material is None or fluid is None or company is None:
            return
        wanted_l = (fluid.caught_m3 + fluid.swept_m3) * LITRES_PER_M3
        there_l = self._room_l(day)
        if wanted_l <= there_l:
            return
        each_l = self._kit.vessel_capacity_l * self._policy.catch_fill_limit
        number = ceil((wanted_l - there_l) / each_l - 1e-9)
        yield NeededMaterial(
            material=material,
            owner=company,
            place=day.warehouse,
            needed_date=day.date,
            mean=number * MILLION,
            why=(
                f"To catch {wanted_l:.0f} L on a bad day; clean empty vessels for {there_l:.0f} L are there, "
                f"{number} more of {each_l:.0f} L are needed."
            ),
        )

    def _room_l(self, day: CrewDay) -> float:
        places = find_warehouse_places(day.warehouse) | {day.vehicle_id}
        limit = self._policy.catch_fill_limit
        rooms = (vessel_room(row, "L", limit) for row in self._empties if row.place_id in places)
        return sum(rooms) / MILLION

    @cached_property
    def _empties(self) -> list[Container]:
        rows = list_empty_vessels().filter(state=Container.State.CLEAN, kind__in=VESSEL_KINDS)
        return list(rows.filter(capacity__isnull=False, owner=self._company))

    @cached_property
    def _kit(self) -> KitPolicy:
        return KitPolicy.objects.select_related("vessel_material").first() or KitPolicy()

    @cached_property
    def _policy(self) -> EstimatingPolicy:
        return get_policy()

    @cached_property
    def _company(self) -> Party | None:
        return Party.objects.filter(is_company=True).first()
