"""Who is loaded: each truck with its day, its kit, what is on it, and whom to chase for what."""

from collections import defaultdict

from django.http import HttpRequest, HttpResponse

from api.pages.page import Page
from inventory.models import Holding, Place
from inventory.queries.access import visible_holdings, visible_places
from jobs.models import CrewDay
from jobs.queries.access import require_sees_all_work, visible_crew_days
from jobs.queries.truck_stock import list_unconfirmed_trucks, visible_hand_overs


class Trucks(Page):
    """The trucks of a day: those to chase first, then all of them with what the book has on them."""

    def get(self, request: HttpRequest) -> HttpResponse:
        require_sees_all_work(self.viewer)
        vehicles = list(
            visible_places(self.viewer).filter(kind=Place.Kind.VEHICLE, is_withdrawn=False).order_by("code")
        )
        related = ("crew", "warehouse")
        days: dict[int, list[CrewDay]] = defaultdict(list)
        for day in visible_crew_days(self.viewer).filter(date=self.day).select_related(*related):
            days[day.vehicle_id].append(day)
        held: dict[int, list[Holding]] = defaultdict(list)
        rows = (
            visible_holdings(self.viewer).filter(place__in=vehicles).select_related("material", "container")
        )
        for row in rows.order_by("material__name", "key"):
            held[row.place_id].append(row)
        waiting = list_unconfirmed_trucks(self.viewer)
        unanswered = visible_hand_overs(self.viewer).filter(is_confirmed__isnull=True)
        doubtful = {row.vehicle.pk for row in waiting} | {row.target_id for row in unanswered}
        return self.show(
            "trucks",
            waiting=waiting,
            unanswered=unanswered,
            trucks=[
                {
                    "vehicle": vehicle,
                    "days": days[vehicle.pk],
                    "held": held[vehicle.pk],
                    "is_confirmed": vehicle.pk not in doubtful,
                }
                for vehicle in vehicles
            ],
        )
