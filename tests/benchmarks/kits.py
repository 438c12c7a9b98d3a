"""Tomorrow's kits of 50 crews, 20 spans each, through the queries that the sheets come from.

The days are read from the database, simulated with 10,000 draws each, and served from one yard. Fibre is left
out: allotting reels has a benchmark of its own. What is learnt or simulated is kept nowhere between the runs.
"""

import time
from datetime import date
from uuid import uuid4

from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Material, Place
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.units import parse_amount
from jobs.models import Crew, CrewDay, CrewDayStep
from jobs.queries.kits_of_day import get_kits_of_day
from tests.benchmarks.measurement import Measurement
from tests.factories.inventory import MORNING, World, make_world
from tests.factories.jobs import add_step, make_job, make_place, make_run, make_size, make_span
from tests.factories.kits import make_fitting

CREWS, RUNS, SPANS_IN_RUN, REPEATS = 50, 5, 4, 3
SIZES = ((".500", 11.4808), (".625", 14.351), (".750", 17.272), (".875", 20.295))
DAY = date(2026, 7, 1)
SECONDS = 2.0


def main() -> list[Measurement]:
    world = make_world()
    _stock(world)
    for number in range(CREWS):
        _plan(world, number)
    few = _count_queries(world, date(2026, 7, 2), crews=5)
    taken = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        found = get_kits_of_day(warehouse=world.warehouse, date=DAY)
        taken.append(time.perf_counter() - start)
    assert len(found.sheets) == CREWS
    with CaptureQueriesContext(connection) as many:
        get_kits_of_day(warehouse=world.warehouse, date=DAY)
    short = sum(len(sheet.shortages) for sheet in found.sheets)
    return [
        Measurement(
            what=f"{CREWS} kits of {RUNS * SPANS_IN_RUN} spans", value=min(taken), unit="s", at_most=SECONDS
        ),
        Measurement(what="queries for 50 kits less those for 5", value=len(many) - few, unit="", at_most=0),
        Measurement(what="queries for 50 kits", value=len(many), unit=""),
        Measurement(what="lines short among them", value=short, unit=""),
    ]


def _count_queries(world: World, day: date, *, crews: int) -> int:
    """Of the same days, some crews only, moved to another date and back."""
    keys = list(CrewDay.objects.order_by("crew__code").values_list("pk", flat=True)[:crews])
    CrewDay.objects.filter(pk__in=keys).update(date=day)
    with CaptureQueriesContext(connection) as queries:
        get_kits_of_day(warehouse=world.warehouse, date=day)
    CrewDay.objects.filter(pk__in=keys).update(date=DAY)
    return len(queries)


def _stock(world: World) -> None:
    """Drums, fittings, projectiles and empty vessels for most of it; some is short, as on any day."""
    for number in range(120):
        world.drum(f"D-{number:03}", 55)
    for number in range(160):
        Container.objects.create(
            label=f"E-{number:03}",
            kind=Container.Kind.DRUM,
            material=world.fluid,
            owner=world.company,
            place=world.warehouse,
            state=Container.State.CLEAN,
            capacity=57_000_000,
        )
    lines = []
    for designation, bore in SIZES:
        goods = [make_fitting(role, designation) for role in ("pressure_end", "exit_end", "union")]
        goods.append(
            Material.objects.create(
                code=f"foam-{designation}",
                name=f"Foam projectile {designation}",
                kind="projectile",
                stock_unit="1",
                nominal_diameter_mm=bore * 1.15,
                cable_size=designation,
            )
        )
        lines += [ReceiptLine(item, parse_amount("180", "1"), End(world.warehouse), 0) for item in goods]
    # One seal for everybody, so that the help for what is short is asked for with few crews as with many.
    lines.append(ReceiptLine(make_fitting("seal", ""), parse_amount("1", "1"), End(world.warehouse), 0))
    receive(id=uuid4(), by=world.actor, occurred_at=MORNING, source=world.supplier, lines=lines)


def _plan(world: World, number: int) -> None:
    truck = make_place(Place.Kind.VEHICLE, f"truck-{number:02}")
    crew = Crew.objects.create(
        code=f"crew-{number:02}", name=f"Crew {number}", vehicle=truck, warehouse=world.warehouse
    )
    day = CrewDay.objects.create(crew=crew, date=DAY, vehicle=truck, warehouse=world.warehouse)
    job = make_job(f"J-{number:02}")
    for part in range(RUNS):
        run = make_run(job, f"R{part}", make_size(*SIZES[(number + part) % len(SIZES)]))
        for index in range(SPANS_IN_RUN):
            ends = (f"P{part}-{index}", f"P{part}-{index + 1}")
            span = make_span(run, f"S{part}-{index}", *ends, feet=200 + 40 * index, sequence=index + 1)
            add_step(day, CrewDayStep.Kind.EXTRACT, span=span)
        add_step(day, CrewDayStep.Kind.CLEAN, run=run)
