"""What went into spans and came back of the days that a phone takes along, and with what it is measured.

The rules hold a crew's fluid of a day, and that of a run over all days, against each other.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Q

from inventory.models import Container, Holding, Instrument, Material
from inventory.queries.company import get_company
from inventory.queries.instruments import TrustedInstrument, trust_instruments
from jobs.models import ContainerReading, FieldReport, FluidCaught, SpanAttempt
from jobs.queries.field_days import FieldDay
from jobs.queries.usual_fluids import find_usual_fluids

NO_FLUID = (Container.Kind.REEL, Container.Kind.LOT)


@dataclass(frozen=True)
class Vessel:
    """What is drawn from a container, and what is caught into it."""

    label: str
    drawn: Material | None
    caught: Material | None


@dataclass(frozen=True)
class FluidState:
    """All of it; usual fluids are by the keys of vehicles, meters by the date of the day they are read on."""

    reference_temperature_c: float
    fluids: list[Material]
    usual: dict[int, Material | None]
    vessels: list[Vessel] = field(default_factory=list)
    meters: dict[date, list[TrustedInstrument]] = field(default_factory=dict)
    injected: list[SpanAttempt] = field(default_factory=list)
    caught: list[FluidCaught] = field(default_factory=list)
    # Of containers into which something came that nobody measured by itself.
    readings: list[ContainerReading] = field(default_factory=list)


def find_fluid_state(days: Sequence[FieldDay], runs: Iterable[int]) -> FluidState:
    """Gather it for days and for the runs that their steps work on, by the keys of these."""
    fluids = list(Material.objects.filter(kind=Material.Kind.FLUID).order_by("pk"))
    vehicles = {day.crew_day.vehicle_id for day in days}
    usual, _is_guessed = find_usual_fluids(fluids, vehicles)
    keys, wanted = [day.crew_day.pk for day in days], list(runs)
    reports = FieldReport.objects.filter(is_undone=False)
    injected = SpanAttempt.objects.filter(report__in=reports).filter(
        Q(report__crew_day__in=keys) | Q(span__run__in=wanted)
    )
    caught = FluidCaught.objects.filter(report__in=reports).filter(
        Q(report__crew_day__in=keys) | Q(run__in=wanted) | Q(spans__run__in=wanted)
    )
    came = list(
        caught.select_related("report__crew_day__crew", "run__job", "material")
        .prefetch_related("spans__run__job")
        .distinct()
        .order_by("pk")
    )
    silent = {row.report_id for row in came if row.amount is None}
    return FluidState(
        get_company().reference_temperature_c,
        fluids,
        usual,
        _list_vessels(days, fluids),
        _list_meters({day.crew_day.date for day in days}),
        list(
            injected.select_related("report__crew_day__crew", "span__run__job", "meter", "fluid").order_by(
                "pk"
            )
        ),
        came,
        list(ContainerReading.objects.filter(report__in=silent)) if silent else [],
    )


def _list_vessels(days: Sequence[FieldDay], fluids: list[Material]) -> list[Vessel]:
    """The containers for fluid on the days' trucks and sheets."""
    vehicles = {day.crew_day.vehicle_id for day in days}
    labels = {pick.container for day in days for line in day.sheet.lines for pick in line.picks}
    boxes = Container.objects.exclude(kind__in=NO_FLUID).select_related("material")
    found = {
        box.pk: box for box in boxes.filter(Q(place__in=vehicles) | Q(label__in=labels - {""})).order_by("pk")
    }
    by_key = {each.pk: each for each in fluids}
    held = Holding.objects.filter(container__in=found, quantity__gt=0, material__in=by_key)
    inside = {row.container_id: by_key[row.material_id] for row in held.order_by("quantity")}
    back = {each.recovered_from_id: each for each in reversed(fluids) if each.recovered_from_id is not None}
    vessels = []
    for key, box in found.items():
        own = by_key.get(box.material_id or 0)
        drawn = inside.get(key, own)
        known = [each for each in (inside.get(key), own) if each is not None]
        recovered = next((each for each in known if each.recovered_from_id is not None), None)
        caught = recovered or (back.get(own.pk) if own is not None else None)
        vessels.append(Vessel(box.label, drawn, caught or (drawn if own is not None else None)))
    return vessels


def _list_meters(dates: set[date]) -> dict[date, list[TrustedInstrument]]:
    meters = list(Instrument.objects.filter(kind=Instrument.Kind.METER).order_by("tag"))
    if not meters:
        return {}
    return {day: list(trust_instruments(meters, on_date=day).values()) for day in sorted(dates)}
