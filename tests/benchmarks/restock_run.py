"""A whole restock run over 100,000 material-places with 104 weeks of history: reading, reckoning, storing.

PostgreSQL only. Two worker processes take the chunks, as two Celery workers would: the first brings the weeks
up to date and learns from them before it calls the second, all of it within the time of the run. The
calculation (class, forecast, lead-time demand, reorder point, quantity) is printed apart from reading,
storing and making the list, and is held against one call an item of stockpyl in the same run where that is
installed. A tenth of the materials are on order and as many needed by scheduled work.
"""

import importlib.util
import multiprocessing
import resource
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any
from unittest.mock import patch
from uuid import uuid4

from django.db import connection, connections

from inventory.models import Material, Order, Party, PolicyResult, RestockChunk, RestockRun, SupplyTerms
from inventory.queries import restock
from inventory.services.bulk_rows import insert_rows
from inventory.services.restocking import runs
from inventory.services.restocking.runs import ask_for_restock, prepare_run, take_chunk, work_chunk
from tests.benchmarks.measurement import Measurement
from tests.benchmarks.restock_calculation import CALLS, call_stockpyl, seconds_of
from tests.factories.inventory import World, make_world

MATERIALS, WEEKS, WORKERS = 100_000, 104, 2
TODAY, NOW = date(2026, 3, 2), datetime(2026, 3, 2, 9, tzinfo=UTC)


def main() -> list[Measurement]:
    if connection.vendor != "postgresql":
        print("restock_run: needs PostgreSQL")
        return []
    world = make_world()
    fill(world)
    with patch.object(runs, "_hint", lambda: None):
        run = ask_for_restock(id=uuid4(), by=world.actor, occurred_at=NOW, as_of=TODAY, place=world.warehouse)
    whole, parts = run_workers()
    run = RestockRun.objects.get(pk=run.pk)
    assert run.finished_at is not None
    assert not RestockChunk.objects.filter(done_at__isnull=True).exists()
    stored = PolicyResult.objects.filter(run=run)
    # A few have no use in all the weeks and nothing scheduled, so nothing is to be found for them.
    assert stored.count() > 0.99 * MATERIALS, stored.count()
    mean = {name: sum(part[name] for part in parts) / WORKERS for name in parts[0]}
    found = [
        Measurement(what="results stored", value=stored.count(), unit="1"),
        Measurement(what="of them to be ordered", value=stored.exclude(run_out_date=None).count(), unit="1"),
        Measurement(
            what="preparing, the first of two workers",
            value=sum(part["preparing"] for part in parts),
            unit="s",
        ),
        Measurement(what="reading, each of two workers", value=mean["reading"], unit="s"),
        Measurement(what="calculation, each of two workers", value=mean["calculation"], unit="s"),
        Measurement(what="making the list, each of two workers", value=mean["list"], unit="s"),
        Measurement(what="storing, each of two workers", value=mean["storing"], unit="s"),
        Measurement(what="processor time of the workers", value=WORKERS * mean["processor"], unit="s"),
        Measurement(what="the whole run", value=whole, unit="s", at_most=60),
        Measurement(
            what="memory of a worker",
            value=max(part["memory"] for part in parts),
            unit="MiB",
            at_most=1024 / WORKERS,
        ),
    ]
    if importlib.util.find_spec("stockpyl"):
        share = mean["calculation"] / (seconds_of(call_stockpyl) / CALLS * MATERIALS)
        found.append(
            Measurement(what="calculation over one stockpyl call each", value=share, unit="1", at_most=0.01)
        )
    return found


def run_workers() -> tuple[float, list[dict[str, float]]]:
    """Seconds until both workers have found nothing left, and the parts of each."""
    connections.close_all()
    started = time.perf_counter()
    fork = multiprocessing.get_context("fork")
    queue: Any = fork.Queue()
    prepared = fork.Event()
    workers = [fork.Process(target=work, args=(queue, prepared, not number)) for number in range(WORKERS)]
    for worker in workers:
        worker.start()
    parts = [queue.get() for _ in workers]
    for worker in workers:
        worker.join()
    return time.perf_counter() - started, parts


def work(queue: Any, prepared: Any, is_first: bool) -> None:
    """Take chunks until none is left; tell the seconds of each part and the memory at most."""
    preparing = 0.0
    if is_first:
        started = time.perf_counter()
        prepare_run(now=NOW)
        preparing = time.perf_counter() - started
        prepared.set()
    else:
        prepared.wait()
    spent = {"read": 0.0, "plan": 0.0, "reckon": 0.0}
    whole = 0.0
    began = time.process_time()
    with (
        patch.object(restock, "load_facts", timed(restock.load_facts, spent, "read")),
        patch.object(restock, "plan_materials", timed(restock.plan_materials, spent, "plan")),
        patch.object(runs, "reckon_restock", timed(runs.reckon_restock, spent, "reckon")),
    ):
        while (chunk := take_chunk(now=NOW)) is not None:
            started = time.perf_counter()
            work_chunk(chunk=chunk, now=NOW)
            whole += time.perf_counter() - started
    queue.put(
        {
            "preparing": preparing,
            "reading": spent["read"],
            "calculation": spent["plan"],
            "list": spent["reckon"] - spent["read"] - spent["plan"],
            "storing": whole - spent["reckon"],
            "processor": time.process_time() - began,
            "memory": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        }
    )
    connections.close_all()


def timed(call: Callable[..., Any], spent: dict[str, float], part: str) -> Callable[..., Any]:
    def run(*arguments: Any, **named: Any) -> Any:
        started = time.perf_counter()
        found = call(*arguments, **named)
        spent[part] += time.perf_counter() - started
        return found

    return run


# By SQL, since through the models the filling alone would take many minutes. A material is used in a week
# with a chance of its own, in amounts of a mean of its own; what is held lasts six weeks on average. Without
# the week in its condition a chance would be drawn once for all weeks.
FILLING = (
    """
    CREATE TEMPORARY TABLE usual AS
    SELECT id AS material, number, 0.05 + 0.85 * random() AS chance, -5 * ln(1 - random()) AS size
    FROM (SELECT id, row_number() OVER (ORDER BY id) AS number FROM inventory_material
        WHERE kind = 'supply') listed
    """,
    """
    INSERT INTO inventory_demandweek (place_id, material_id, owner_id, week_date, used)
    SELECT %(warehouse)s, material, %(owner)s, %(today)s::date - 7 * week,
        1000000 * (1 + floor(-ln(1 - random()) * size))::bigint
    FROM usual CROSS JOIN generate_series(1, %(weeks)s) week WHERE random() + 0 * week < chance
    """,
    """
    INSERT INTO inventory_holding (key, place_id, material_id, owner_id, quantity, is_kept, is_unsettled)
    SELECT concat_ws(':', %(warehouse)s, material, %(owner)s, 0), %(warehouse)s, material, %(owner)s,
        1000000 * floor((0.5 + random()) * 6 * chance * (1 + size))::bigint, true, false
    FROM usual
    """,
    """
    INSERT INTO inventory_orderline
        (order_id, position, material_id, quantity, unit_cost, called_off_quantity, entered_value,
         entered_unit, why)
    SELECT %(order)s, number, material, 20000000, 2000000, 0, '', '', '' FROM usual WHERE number %% 10 = 0
    """,
    """
    INSERT INTO inventory_requirement
        (material_id, owner_id, place_id, mean, variance, returned_mean, returned_variance, needed_date,
         reference, why)
    SELECT material, %(owner)s, %(warehouse)s, 5000000, 1, 0, 0, %(today)s::date + 3 + (number %% 20)::int,
        'day:' || number %% 200, ''
    FROM usual WHERE number %% 10 = 0
    """,
)


def fill(world: World) -> None:
    """Materials with terms, stock and history; every tenth on order, every tenth scheduled."""
    supplier = Party.objects.create(code="source", name="Source", is_supplier=True)
    order = Order.objects.create(
        uuid=uuid4(), reference="O-1", supplier=supplier, place=world.warehouse, state="sent", written_at=NOW,
        written_by=world.actor, sent_at=NOW, fingerprint="",
    )  # fmt: skip
    insert_rows(
        Material,
        ("code", "name", "kind", "stock_unit", "density_table"),
        (
            (f"m{number}", f"Material {number}", "supply", "1" if number % 2 else "[ft_i]", "[]")
            for number in range(MATERIALS)
        ),
    )
    made = Material.objects.filter(kind="supply").values_list("pk", flat=True)
    insert_rows(
        SupplyTerms,
        ("material_id", "supplier_id", "unit_cost", "lead_time_days", "line_cost"),
        ((material, supplier.pk, 2_000_000, 14, 5_000_000) for material in list(made)),
    )
    named: dict[str, int | date] = {
        "weeks": WEEKS,
        "today": TODAY,
        "warehouse": world.warehouse.pk,
        "owner": world.company.pk,
        "order": order.pk,
    }
    with connection.cursor() as cursor:
        # Five million rows point to what was made just now; looking for it each time would take minutes.
        cursor.execute("SET session_replication_role = replica; SELECT setseed(0.5)")
        for statement in FILLING:
            cursor.execute(statement, named)
        cursor.execute("SET session_replication_role = DEFAULT; DROP TABLE usual; ANALYZE")
