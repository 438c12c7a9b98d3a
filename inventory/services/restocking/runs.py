"""Restock runs: asked for, worked off chunk by chunk by any number of workers, finished when none is left.

What is to be done stands in the chunks. A worker takes one for a while, reckons, and writes results and done
mark in one transaction. If it is lost, the chunk falls free when its while is over.
"""

from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5
from zoneinfo import ZoneInfo

from celery import current_app
from django.db import IntegrityError, transaction
from django.db.models import F

from inventory.models import Actor, Material, Place, PolicyResult, RestockChunk, RestockRun
from inventory.queries.company import get_company
from inventory.queries.restock import RestockAnswer, reckon_restock, require_reachable
from inventory.queries.restock_lines import RestockLine
from inventory.queries.restock_runs import free_chunks
from inventory.queries.supply_areas import find_supply_areas
from inventory.services.bulk_rows import insert_rows
from inventory.services.company import get_system_actor
from inventory.services.documents import DocumentConflict
from inventory.services.restocking.demand_weeks import roll_up_demand
from inventory.services.restocking.lessons import learn_from_weeks
from inventory.services.sealing import record_event, seal_all
from inventory.units import MILLION

MATERIALS_A_CHUNK = 4_000
LEASE = timedelta(minutes=5)
KEPT_RUNS = 10
USUAL_HORIZON_DAYS, USUAL_COVER_DAYS, USUAL_SERVICE = 28, 14, 0.95
NIGHT_BEGINS = time(2)
WORK_TASK = "inventory.tasks.work_restock_chunks"
WHY_LENGTH = 600


def ask_for_restock(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    as_of: date,
    place: Place | None = None,
    horizon_days: int = USUAL_HORIZON_DAYS,
    kind: str = RestockRun.Kind.ON_DEMAND,
) -> RestockRun:
    """Ask for all policies and the list of one warehouse or all; the same again gives the same run.

    Raises
    ------
    BadInput
        If the horizon is out of range.
    DocumentConflict
        If the id stands for another run.
    """
    require_reachable(
        horizon_days=horizon_days, cover_days=min(USUAL_COVER_DAYS, horizon_days), service=USUAL_SERVICE
    )
    known = RestockRun.objects.filter(uuid=id).first()
    if known is None:
        try:
            with transaction.atomic():
                run = RestockRun.objects.create(
                    uuid=id,
                    kind=kind,
                    as_of=as_of,
                    place=place,
                    horizon_days=horizon_days,
                    asked_by=by,
                    asked_at=occurred_at,
                )
                _cut(run)
                transaction.on_commit(lambda: _hint(), robust=True)
                return run
        except IntegrityError:
            known = RestockRun.objects.filter(uuid=id).first()
            if known is None:
                raise
    wanted = (kind, as_of, place.pk if place else None, horizon_days, by.pk)
    if (known.kind, known.as_of, known.place_id, known.horizon_days, known.asked_by_id) != wanted:
        raise DocumentConflict(f"The id {id} is taken. Use a new one.")
    return known


def ask_for_nightly_restock(*, now: datetime) -> RestockRun | None:
    """Ask for the night's run once the night has begun where the company is; nothing where it stands."""
    here = now.astimezone(ZoneInfo(get_company().time_zone))
    if here.time() < NIGHT_BEGINS:
        return None
    today = here.date()
    if RestockRun.objects.filter(kind=RestockRun.Kind.NIGHTLY, as_of=today).exists():
        return None
    return ask_for_restock(
        id=uuid5(NAMESPACE_URL, f"restock:{today}"),
        by=get_system_actor("restocking", "Restocking"),
        occurred_at=now,
        as_of=today,
        kind=RestockRun.Kind.NIGHTLY,
    )


def take_chunk(*, now: datetime) -> RestockChunk | None:
    """Take the next chunk that nobody works on, for a while; None where there is none."""
    with transaction.atomic():
        free = free_chunks(now).select_for_update(skip_locked=True, of=("self",))
        chunk = free.order_by("pk").first()
        if chunk is None:
            return None
        RestockChunk.objects.filter(pk=chunk.pk).update(taken_until=now + LEASE, attempts=F("attempts") + 1)
    return RestockChunk.objects.select_related("run", "place").get(pk=chunk.pk)


def call_another_worker(*, now: datetime) -> None:
    """Tell one worker more, if any is idle, where there is more than one can do at once."""
    if free_chunks(now).exists():
        _hint()


def work_chunk(*, chunk: RestockChunk, now: datetime) -> int:
    """Reckon a chunk and store what was found, with its done mark; return the number of results."""
    run = chunk.run
    answer = reckon_restock(
        as_of=run.as_of,
        place=chunk.place,
        horizon_days=run.horizon_days,
        cover_days=min(USUAL_COVER_DAYS, run.horizon_days),
        service=USUAL_SERVICE,
        materials=(chunk.first_material, chunk.last_material),
    )
    results = [_make_result(run, answer, row) for row in range(len(answer.facts.keys))]
    columns = list(results[0]) if results else []
    with transaction.atomic():
        # The run is the lock: the last two chunks must not each wait for the other to be the last.
        RestockRun.objects.select_for_update().get(pk=run.pk)
        standing = RestockChunk.objects.get(pk=chunk.pk)
        if standing.done_at is not None:
            return standing.results or 0
        insert_rows(PolicyResult, columns, (tuple(result.values()) for result in results))
        RestockChunk.objects.filter(pk=chunk.pk).update(done_at=now, results=len(results))
        if not RestockChunk.objects.filter(run=run, done_at__isnull=True).exists():
            _finish(run, now)
    return len(results)


def note_failure(*, chunk: RestockChunk, error: Exception) -> None:
    """Keep why a chunk was not done; it is free for the next try at once, as often as it may be tried."""
    failure = f"{type(error).__name__}: {error}"
    length = RestockChunk._meta.get_field("failure").max_length
    RestockChunk.objects.filter(pk=chunk.pk, done_at__isnull=True).update(
        failure=failure[:length], taken_until=None
    )


def prepare_run(*, now: datetime) -> None:
    """Bring the weeks up to date, so that the chunks read few movements, and learn from those now over."""
    seal_all()
    roll_up_demand()
    today = now.astimezone(ZoneInfo(get_company().time_zone)).date()
    learn_from_weeks(as_of=today, service=USUAL_SERVICE)


def forget_old_runs() -> int:
    """Drop all but the last finished runs with their results; what they found is out of date."""
    kept = RestockRun.objects.filter(finished_at__isnull=False).order_by("-pk").values_list("pk", flat=True)
    old = list(kept[KEPT_RUNS:])
    RestockRun.objects.filter(pk__in=old).delete()
    return len(old)


def _cut(run: RestockRun) -> None:
    """Chunks by warehouse and range of materials; the fresh form stands for those recovered from it."""
    keys = list(
        Material.objects.filter(recovered_from__isnull=True).order_by("pk").values_list("pk", flat=True)
    )
    warehouses = {place.pk: place for place in find_supply_areas(run.place).values()}
    chunks = [
        RestockChunk(run=run, place=place, first_material=part[0], last_material=part[-1])
        for place in warehouses.values()
        for start in range(0, len(keys), MATERIALS_A_CHUNK)
        for part in [keys[start : start + MATERIALS_A_CHUNK]]
    ]
    RestockChunk.objects.bulk_create(chunks)
    if not chunks:
        _finish(run, run.asked_at)


def _finish(run: RestockRun, now: datetime) -> None:
    RestockRun.objects.filter(pk=run.pk).update(finished_at=now)
    lines = PolicyResult.objects.filter(run=run, run_out_date__isnull=False).count()
    record_event(
        id=uuid5(run.uuid, "finished"),
        kind="restock_list_ready",
        occurred_at=now,
        body={"run": str(run.uuid), "as_of": run.as_of.isoformat(), "lines": lines},
    )


def _hint() -> None:
    current_app.send_task(WORK_TASK)


def _make_result(run: RestockRun, answer: RestockAnswer, row: int) -> dict[str, Any]:
    """A row of results by its columns."""
    facts, plans, line = answer.facts, answer.plans, answer.lines.get(row)
    place, material, owner = facts.keys[row]
    return {
        "run_id": run.pk,
        "place_id": place,
        "material_id": material,
        "owner_id": owner,
        "demand_class": plans.demand_class[row],
        "method": plans.method[row],
        "rate_per_week": float(plans.rate_per_week[row]),
        "sd_per_week": float(plans.sd_per_week[row]),
        "lead_time_days": float(plans.lead_days[row]),
        "reorder_point": round(float(plans.levels.reorder_point[row]) * MILLION),
        "order_quantity": round(float(plans.order_quantity[row]) * MILLION),
        "cycle_service": float(plans.levels.cycle_service[row]),
        "fill_rate": float(plans.levels.fill_rate[row]),
        "on_hand": facts.on_hand[row],
        "expected": facts.expected_of(row),
        **_line_result(line),
    }


def _line_result(line: RestockLine | None) -> dict[str, Any]:
    return {
        "run_out_date": line.run_out_date if line else None,
        "is_likely": line.is_likely if line else False,
        "order_by_date": line.order_by_date if line else None,
        "quantity": line.quantity if line else 0,
        "supplier_id": line.terms.supplier_id if line and line.terms else None,
        "cost": line.cost if line else None,
        "chance_short": line.chance_short if line else 0.0,
        "needs_at_risk": line.needs_at_risk if line else 0,
        "why": line.why[:WHY_LENGTH] if line else "",
    }
