"""A whole restock run over 100,000 material-places with 104 weeks of history: reading, reckoning, storing.

PostgreSQL only. Two worker processes take the chunks, as two Celery workers would. Reading and storing are
printed apart; a tenth of the materials are on order and as many needed by scheduled work.
"""

import multiprocessing
import resource
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from unittest.mock import patch
from uuid import uuid4

import numpy as np
from django.db import connection, connections

from inventory.models import (
    Material,
    Order,
    OrderLine,
    Party,
    PolicyResult,
    Requirement,
    RestockChunk,
    RestockRun,
    SupplyTerms,
)
from inventory.queries import restock
from inventory.services.restocking import runs
from inventory.services.restocking.runs import ask_for_restock, take_chunk, work_chunk
from tests.benchmarks.measurement import Measurement
from tests.benchmarks.restock_calculation import make_history
from tests.factories.inventory import World, make_world

MATERIALS, WEEKS, WORKERS = 100_000, 104, 2
EVERY = 10
TODAY, NOW = date(2026, 3, 2), datetime(2026, 3, 2, 9, tzinfo=UTC)


def main() -> list[Measurement]:
    if connection.vendor != "postgresql":
        print("restock_run: needs PostgreSQL")
        return []
    world = make_world()
    fill(world)
    with patch.object(runs, "_hint", lambda: None):
        run = ask_for_restock(id=uuid4(), by=world.actor, occurred_at=NOW, as_of=TODAY, place=world.warehouse)
    connections.close_all()
    started = time.perf_counter()
    fork = multiprocessing.get_context("fork")
    queue: Any = fork.Queue()
    workers = [fork.Process(target=work, args=(queue,)) for _ in range(WORKERS)]
    for worker in workers:
        worker.start()
    parts = [queue.get() for _ in workers]
    for worker in workers:
        worker.join()
    whole = time.perf_counter() - started
    run = RestockRun.objects.get(pk=run.pk)
    assert run.finished_at is not None
    assert not RestockChunk.objects.filter(done_at__isnull=True).exists()
    stored = PolicyResult.objects.filter(run=run)
    # A few have no use in all the weeks and nothing scheduled, so nothing is to be found for them.
    assert stored.count() > 0.99 * MATERIALS, stored.count()
    reading, reckoning, storing = (sum(part[number] for part in parts) / WORKERS for number in range(3))
    return [
        Measurement(what="results stored", value=stored.count(), unit="1"),
        Measurement(what="of them to be ordered", value=stored.exclude(run_out_date=None).count(), unit="1"),
        Measurement(what="reading, each of two workers", value=reading, unit="s"),
        Measurement(what="reckoning, each of two workers", value=reckoning, unit="s"),
        Measurement(what="storing, each of two workers", value=storing, unit="s"),
        Measurement(what="the whole run", value=whole, unit="s", at_most=60),
        Measurement(
            what="memory of a worker",
            value=max(part[3] for part in parts),
            unit="MiB",
            at_most=1024 / WORKERS,
        ),
    ]


def work(queue: Any) -> None:
    """Take chunks until none is left; tell the seconds of each part and the memory at most."""
    spent = {"read": 0.0, "reckon": 0.0}
    whole = 0.0
    with (
        patch.object(restock, "load_facts", timed(restock.load_facts, spent, "read")),
        patch.object(runs, "reckon_restock", timed(runs.reckon_restock, spent, "reckon")),
    ):
        while (chunk := take_chunk(now=NOW)) is not None:
            started = time.perf_counter()
            work_chunk(chunk=chunk, now=NOW)
            whole += time.perf_counter() - started
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    queue.put((spent["read"], spent["reckon"] - spent["read"], whole - spent["reckon"], memory))
    connections.close_all()


def timed(call: Callable[..., Any], spent: dict[str, float], part: str) -> Callable[..., Any]:
    def run(*arguments: Any, **named: Any) -> Any:
        started = time.perf_counter()
        found = call(*arguments, **named)
        spent[part] += time.perf_counter() - started
        return found

    return run


def fill(world: World) -> None:
    """Materials with terms, stock and history; every tenth on order, every tenth scheduled."""
    made = Material.objects.bulk_create(
        (
            Material(
                code=f"m{number}",
                name=f"Material {number}",
                kind="supply",
                stock_unit="1" if number % 2 else "[ft_i]",
            )
            for number in range(MATERIALS)
        ),
        batch_size=5_000,
    )
    supplier = Party.objects.create(code="source", name="Source", is_supplier=True)
    SupplyTerms.objects.bulk_create(
        (
            SupplyTerms(
                material=material,
                supplier=supplier,
                unit_cost=2_000_000,
                lead_time_days=14,
                line_cost=5_000_000,
            )
            for material in made
        ),
        batch_size=5_000,
    )
    history = make_history(MATERIALS, WEEKS).astype(int)
    copy(
        "inventory_demandweek (place_id, material_id, owner_id, week_date, used)",
        (
            (
                world.warehouse.pk,
                material.pk,
                world.company.pk,
                TODAY - timedelta(weeks=WEEKS - week),
                10**6 * used,
            )
            for material, row in zip(made, history, strict=True)
            for week, used in enumerate(row.tolist())
            if used
        ),
    )
    held = np.random.default_rng(2).poisson(history.mean(axis=1) * 6)
    copy(
        "inventory_holding (key, place_id, material_id, owner_id, quantity, is_kept, is_unsettled)",
        (
            (
                f"{world.warehouse.pk}:{material.pk}:{world.company.pk}:0", world.warehouse.pk, material.pk,
                world.company.pk, 10**6 * int(amount), True, False,
            )
            for material, amount in zip(made, held, strict=True)
        ),
    )  # fmt: skip
    order = Order.objects.create(
        uuid=uuid4(), reference="O-1", supplier=supplier, place=world.warehouse, state="sent", written_at=NOW,
        written_by=world.actor, sent_at=NOW, fingerprint="",
    )  # fmt: skip
    tenth = made[::EVERY]
    OrderLine.objects.bulk_create(
        (
            OrderLine(
                order=order, position=number + 1, material=row, quantity=20_000_000, unit_cost=2_000_000
            )
            for number, row in enumerate(tenth)
        ),
        batch_size=5_000,
    )
    Requirement.objects.bulk_create(
        (
            Requirement(
                material=row, owner=world.company, place=world.warehouse, mean=5_000_000, variance=1.0,
                needed_date=TODAY + timedelta(days=3 + number % 20), reference=f"day:{number % 200}",
            )
            for number, row in enumerate(tenth)
        ),
        batch_size=5_000,
    )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def copy(target: str, rows: Iterator[tuple[Any, ...]]) -> None:
    """By COPY: through the models the filling alone would take minutes."""
    with connection.cursor() as cursor, cursor.copy(f"COPY {target} FROM STDIN") as stream:
        for row in rows:
            stream.write_row(row)
