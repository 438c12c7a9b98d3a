"""The cost sheet of a job of 20,000 movements in a book of as many and of a million; closing with 1,000 jobs.

The book is written row by row past the service, since it is reading that is measured: every movement has its
entry, and the cost pools stand as the movements add up.
"""

import gc
import time
import tracemalloc
import uuid
from datetime import UTC, date, datetime, timedelta

from django.db import connection

from inventory.models import CostPool, Entry, Movement, Place
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
START = datetime(2026, 1, 5, tzinfo=UTC)
BATCH = 1_000


def main() -> list[Measurement]:
    world = make_world()
    job = make_job("J-1")
    places = _lay_out(job, SPANS)
    _write(world, places, JOB_MOVEMENTS)
    others = [_lay_out(make_job(f"X-{number}"), 1)[0] for number in range(OTHER_JOBS)]
    _analyse()
    small = _time_sheet(job)
    _write(world, others, BOOK_MOVEMENTS - JOB_MOVEMENTS)
    _analyse()
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
    make_cost_sheet(job)
    times = []
    for _turn in range(5):
        started = time.perf_counter()
        make_cost_sheet(job)
        times.append(time.perf_counter() - started)
    return sorted(times)[len(times) // 2]


def _lay_out(job: Job, spans: int) -> list[Place]:
    size = make_size()
    run = make_run(job, "R", size)
    return [
        make_span(run, f"S{number}", f"a{number}", f"b{number}", sequence=number + 1).place
        for number in range(spans)
    ]


def _write(world: World, places: list[Place], movements: int) -> None:
    count = movements // LINES
    for first in range(0, count, BATCH):
        entries = Entry.objects.bulk_create(
            Entry(
                uuid=uuid.uuid4(),
                kind="draw",
                occurred_at=START + timedelta(minutes=number % 400_000),
                recorded_at=START,
                booked_date=(START + timedelta(days=number % 300)).date(),
                actor=world.actor,
                document=f"report:{uuid.uuid4()}",
                fingerprint="0" * 64,
            )
            for number in range(first, min(first + BATCH, count))
        )
        Movement.objects.bulk_create(
            Movement(
                entry=entry,
                line=line + 1,
                material=world.projectile,
                owner=world.company,
                source_place=world.warehouse,
                target_place=places[(first + number) % len(places)],
                quantity=1_000_000,
                value=2_000_000,
                purpose="used",
                effective_at=entry.occurred_at,
            )
            for number, entry in enumerate(entries)
            for line in range(LINES)
        )
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


def _analyse() -> None:
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
