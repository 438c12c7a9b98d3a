"""What a warehouse gives out on a day: the kits side by side, and one list for whoever walks the shelves."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse

from api.pages.page import Page
from inventory.errors import NotFound
from inventory.models import Place
from inventory.queries.access import get_place, visible_places
from inventory.queries.company import get_today
from jobs.queries.access import require_sees_all_work
from jobs.queries.kits_of_day import get_kits_of_day


class KitsOfDayPage(Page):
    """Tomorrow's kits, unless another day is asked for."""

    def get(self, request: HttpRequest) -> HttpResponse:
        require_sees_all_work(self.viewer)
        warehouses = list(
            visible_places(self.viewer).filter(kind=Place.Kind.WAREHOUSE, is_withdrawn=False).order_by("name")
        )
        if not warehouses:
            raise NotFound("There is no warehouse yet that gives out kits.")
        code = request.GET.get("warehouse", "")
        warehouse = get_place(self.viewer, code) if code else warehouses[0]
        day = self.day if "date" in request.GET else get_today() + timedelta(days=1)
        kits = get_kits_of_day(warehouse=warehouse, date=day)
        return self.show("kits", kits=kits, day=day, warehouses=warehouses, chosen=warehouse)
