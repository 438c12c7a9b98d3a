"""The cost sheet of a job of 20,000 movements in a book of as many and of a million; closing with 1,000 jobs.

The book is written by SQL past the service, since it is reading that is measured: every movement has its
entry, and the cost pools stand as the movements add up.
"""

import gc
import time
import tracemalloc
import uuid
from datetime import UTC, date, datetime

from django.db import connection, transaction

from inventory.models import CostPool, Entry, Place
from inventory.services.sealing import seal_all
from jobs.models import Job
from jobs.queries.cost_sheet import make_cost_sheet
from jobs.services.closing import ask_to_close, lock_closing, take_closing, work_closing
from tests.benchmarks.measurement import Measurement
from tests.factories.inventory import World, make_world
from tests.factories.jobs import make_job, make_run, make_size, make_span

JOB_MOVEMENTS = 20_000
BOOK_MOVEMENTS = 1_000_000
SPANS = 200
OTHER_JOBS = 1_000
LINES = 8


def main() -> list[Measurement]:
    world = make_world()
    job = make_job("J-1")
    places = lay_out(job, SPANS)
    write_movements(world, places, JOB_MOVEMENTS)
    others = [lay_out(make_job(f"X-{number}"), 1)[0] for number in range(OTHER_JOBS)]
    analyse()
    small = _time_sheet(job)
    write_movements(world, others, BOOK_MOVEMENTS - JOB_MOVEMENTS)
    analyse()
    large = _time_sheet(job)
    bound = 0.5 if connection.vendor == "postgresql" else 1.0
    seal_all()
    locked, closed, grown = _time_closing(world)
    return [
        Measurement(what="cost sheet, 20,000 movements in the book", value=small, unit="s", at_most=bound),
        Measurement(what="cost sheet, a million movements in the book", value=large, unit="s"),
        Measurement(what="ratio", value=large / small, unit="", at_most=1.2),
        Measurement(what="closing a period with 1,000 jobs", value=closed, unit="s", at_most=30),
        Measurement(what="of it, while postings wait for the lock", value=locked, unit="s", at_most=5),
        Measurement(what="memory that closing held at once", value=grown, unit="MB", at_most=64),
    ]


def _time_closing(world: World) -> tuple[float, float, float]:
    """Seconds to the lock, seconds to the end, and the most memory in use meanwhile in MB.

    Tracing memory slows both times down; they are bounds all the same.
    """
    now = datetime(2027, 1, 5, tzinfo=UTC)
    asked = ask_to_close(
        id=uuid.uuid4(), by=world.actor, occurred_at=now, last_date=date(2026, 12, 31), remark="As they are."
    )
    closing = take_closing(now=now)
    assert closing == asked
    gc.collect()
    tracemalloc.start()
    started = time.perf_counter()
    lock_closing(closing)
    locked = time.perf_counter() - started
    done = work_closing(closing=closing, now=now)
    closed = time.perf_counter() - started
    _held, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert done.jobs_done == OTHER_JOBS + 1
    return locked, closed, most / 1024**2


def _time_sheet(job: Job) -> float:
    """The fastest of seven, since other work on the machine only adds."""
    make_cost_sheet(job)
    times = []
    for _turn in range(7):
        started = time.perf_counter()
        make_cost_sheet(job)
        times.append(time.perf_counter() - started)
    return min(times)


def lay_out(job: Job, spans: int) -> list[Place]:
    size = make_size()
    run = make_run(job, "R", size)
    return [
        make_span(run, f"S{number}", f"a{number}", f"b{number}", sequence=number + 1).place
        for number in range(spans)
    ]


COUNTED = """
WITH RECURSIVE counted(n) AS (VALUES (0) UNION ALL SELECT n + 1 FROM counted WHERE n + 1 < %(count)s),
    line(n) AS (VALUES (0) UNION ALL SELECT n + 1 FROM line WHERE n + 1 < %(lines)s),
    place(number, id) AS (VALUES {places})
"""
ENTRIES = """
INSERT INTO inventory_entry (key, uuid, kind, occurred_at, recorded_at, booked_date, actor_id, reason,
    document, fingerprint)
SELECT %(first)s + n, {uuid}, 'draw', {moment}, {moment}, {day}, %(actor)s, '', 'report:' || {uuid}, '0'
FROM counted
"""
MOVEMENTS = """
INSERT INTO inventory_movement (entry_id, line, material_id, owner_id, source_place_id, target_place_id,
    quantity, value, purpose, cause, effective_at, entered_value, entered_unit)
SELECT %(first)s + counted.n, line.n + 1, %(material)s, %(owner)s, %(source)s, place.id,
    1000000, 2000000, 'used', '', {moment}, '', ''
FROM counted CROSS JOIN line JOIN place ON place.number = counted.n %% %(places)s
"""
# How the two databases make ids and add to a day.
SPELLED = {
    "postgresql": {
        "uuid": "gen_random_uuid()",
        "moment": "TIMESTAMPTZ '2026-01-05 00:00:00+00' + counted.n %% 400000 * INTERVAL '1 minute'",
        "day": "DATE '2026-01-05' + counted.n %% 300",
    },
    "sqlite": {
        "uuid": "lower(hex(randomblob(16)))",
        "moment": "datetime('2026-01-05', (counted.n %% 400000) || ' minutes')",
        "day": "date('2026-01-05', (counted.n %% 300) || ' days')",
    },
}


def write_movements(world: World, places: list[Place], movements: int) -> None:
    """So many movements, eight an entry, over the places in turn, each entry with a document of its own."""
    spelled = {
        **SPELLED[connection.vendor],
        "places": ", ".join(f"({number}, {place.pk})" for number, place in enumerate(places)),
    }
    named = {
        "first": (Entry.objects.order_by("key").values_list("key", flat=True).last() or 0) + 1,
        "count": movements // LINES,
        "lines": LINES,
        "actor": world.actor.pk,
        "material": world.projectile.pk,
        "owner": world.company.pk,
        "source": world.warehouse.pk,
        "places": len(places),
    }
    with transaction.atomic(), connection.cursor() as cursor:
        for statement in (ENTRIES, MOVEMENTS):
            cursor.execute((COUNTED + statement).format(**spelled), named)
    CostPool.objects.bulk_create(
        CostPool(
            key=f"{place.pk}:{world.projectile.pk}:{world.company.pk}:0",
            place=place,
            material=world.projectile,
            owner=world.company,
            quantity=0,
            value=0,
            is_kept=True,
        )
        for place in places
    )


def analyse() -> None:
    """Let PostgreSQL count what lies where, as it does by itself in time. Nothing of ours asks SQLite to."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
