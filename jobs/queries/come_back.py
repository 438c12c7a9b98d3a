"""What is out for a job and must come back: on trucks loaded for it, and goods of its customer."""

from dataclasses import dataclass

from django.db.models import Q

from inventory.models import Container, Holding, Place
from jobs.models import CrewDay, CrewDayStep, Job, KitLoadLine
from jobs.queries.day_work import STOPPED_STATES

State = CrewDay.State


@dataclass(frozen=True)
class ComesBack:
    """Goods to be fetched or handed back. Quantity in millionths of the stock unit."""

    place: str
    place_code: str
    container: str
    material: str
    material_code: str
    owner: str
    quantity: int
    unit: str
    why: str


def list_goods_to_come_back(job: Job) -> list[ComesBack]:
    """What must come back where a job is over before its work is done, by place.

    From trucks: what was loaded for days with this job's steps, as far as it is still there; not where steps
    of another job wait on that day, since the truck goes out with it all the same. From the stock: what the
    job's customer has furnished for its fibre, which is the customer's.
    """
    found = [*_loaded_for(job), *_furnished_for(job)]
    return sorted(found, key=lambda row: (row.place_code, row.material_code, row.container))


def _loaded_for(job: Job) -> list[ComesBack]:
    own = Q(span__job=job) | Q(run__job=job)
    stopped = Q(span__job__state__in=STOPPED_STATES) | Q(run__job__state__in=STOPPED_STATES)
    going_on = CrewDayStep.objects.filter(done_at__isnull=True).exclude(own | stopped)
    days = (
        CrewDay.objects.exclude(state=State.SETTLED)
        .filter(pk__in=CrewDayStep.objects.filter(own).values("crew_day"))
        .exclude(pk__in=going_on.values("crew_day"))
    )
    lines = KitLoadLine.objects.filter(
        load__crew_day__in=days, load__entry__reversed_by__isnull=True, material__isnull=False
    ).select_related("load__crew_day__vehicle")
    wanted = {(line.load.crew_day.vehicle_id, line.material_id, line.container_id) for line in lines}
    trucks = {place for place, _material, _container in wanted}
    rows = Holding.objects.filter(place__in=trucks, quantity__gt=0)
    return [
        _row(row, f"loaded for job {job}")
        for row in rows.select_related("place", "material", "owner", "container")
        if (row.place_id, row.material_id, row.container_id) in wanted
    ]


def _furnished_for(job: Job) -> list[ComesBack]:
    """The customer's fibre in our places; other jobs of the same customer may still want it."""
    owner = job.fibre_owner_id or job.customer_id
    if owner is None:
        return []
    others = Job.objects.filter(Q(customer=owner) | Q(fibre_owner=owner)).exclude(pk=job.pk)
    if others.exclude(state__in=[Job.State.CANCELLED, Job.State.CLOSED, Job.State.FINISHED]).exists():
        return []
    rows = Holding.objects.filter(
        owner=owner, owner__is_company=False, place__kind__in=Place.STOCK_KINDS, quantity__gt=0
    ).exclude(container__state=Container.State.GONE)
    return [
        _row(row, f"furnished by {row.owner.name}, to be handed back")
        for row in rows.select_related("place", "material", "owner", "container")
    ]


def _row(holding: Holding, why: str) -> ComesBack:
    return ComesBack(
        place=holding.place.name,
        place_code=holding.place.code,
        container=holding.container.label if holding.container is not None else "",
        material=holding.material.name,
        material_code=holding.material.code,
        owner=holding.owner.name,
        quantity=holding.quantity,
        unit=holding.material.stock_unit,
        why=why,
    )
