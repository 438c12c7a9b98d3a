"""Runs are asked for once, worked off by anybody, and lose nothing with a worker."""

from datetime import UTC, date, datetime, timedelta
from random import Random
from uuid import uuid4

import pytest
from django.utils import timezone

from inventory import tasks
from inventory.errors import BadInput
from inventory.models import DomainEvent, Material, PolicyResult, RestockChunk, RestockRun
from inventory.queries.access import Viewer
from inventory.queries.projected_stock import project_stock
from inventory.queries.restock import list_restock, reckon_restock
from inventory.queries.restock_runs import MOST_ATTEMPTS, visible_runs
from inventory.services.documents import DocumentConflict
from inventory.services.restocking import runs
from inventory.services.restocking.runs import (
    LEASE,
    ask_for_nightly_restock,
    ask_for_restock,
    forget_old_runs,
    take_chunk,
    work_chunk,
)
from inventory.tasks import work_restock_chunks
from tests.factories.inventory import World, each, make_world
from tests.inventory.queries.test_restock import need, terms, use

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(runs, "_hint", lambda: None)


def stocked() -> World:
    world = make_world()
    world.loose(world.projectile, each(20))
    use(world, world.projectile, 30, 7)
    need(world, world.fluid, 4, 30)
    terms(world, world.fluid)
    return world


def ask(world: World, **more: object) -> RestockRun:
    fields = {"id": uuid4(), "by": world.actor, "occurred_at": NOW, "as_of": MONDAY, **more}
    return ask_for_restock(**fields)  # type: ignore[arg-type]


def work_all(now: datetime = NOW) -> int:
    worked = 0
    while (chunk := take_chunk(now=now)) is not None:
        work_chunk(chunk=chunk, now=now)
        worked += 1
    return worked


def found_by(run: RestockRun) -> list[tuple[object, ...]]:
    columns = ("place__code", "material__code", "run_out_date", "quantity", "why", "reorder_point")
    return sorted(PolicyResult.objects.filter(run=run).values_list(*columns), key=str)


def test_work_chunk_finds_what_the_list_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(runs, "MATERIALS_A_CHUNK", 1)
    world = stocked()
    run = ask(world)
    # Three materials in each of four areas: two yards, and a truck and a site of no yard.
    assert run.chunks.count() == 12
    assert work_all() == 12
    run.refresh_from_db()
    assert run.finished_at == NOW
    listed = list_restock(as_of=MONDAY)
    stored = PolicyResult.objects.filter(run=run, run_out_date__isnull=False).order_by("run_out_date")
    assert [(row.material_id, row.run_out_date, row.quantity, row.why) for row in stored] == [
        (line.material.pk, line.run_out_date, line.quantity, line.why) for line in listed.lines
    ]
    event = DomainEvent.objects.get(kind="restock_list_ready")
    assert event.body == {"run": str(run.uuid), "as_of": "2026-03-02", "lines": 2}


def test_work_chunk_and_picture_do_not_depend_on_what_else_is_reckoned(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(runs, "MATERIALS_A_CHUNK", 1)
    world = make_world()
    made = Material.objects.bulk_create(
        Material(code=f"m{number}", name=f"Seal {number}", kind="supply", stock_unit="1")
        for number in range(12)
    )
    random = Random(4)
    for number, material in enumerate(made):
        for week in range(1, 20):
            if random.random() < 0.2 + 0.05 * number:
                use(world, material, 1, random.randrange(1, 3 + number), first=week)
    run = ask(world, place=world.warehouse)
    work_all()
    answer = reckon_restock(as_of=MONDAY, place=world.warehouse)
    listed = dict(zip([key[1] for key in answer.facts.keys], answer.plans.levels.reorder_point, strict=True))
    stored = PolicyResult.objects.filter(run=run).values_list("material", "reorder_point")
    assert {material: point / 10**6 for material, point in stored} == listed
    assert len(listed) == 12
    drawn = project_stock(as_of=MONDAY, place=world.warehouse, material=made[3])
    assert drawn is not None
    assert drawn.reorder_point == listed[made[3].pk]
    assert drawn.line == answer.lines[3]


def test_take_chunk_gives_a_lost_workers_chunk_to_another_when_its_while_is_over() -> None:
    world = stocked()
    whole, broken = ask(world), ask(world)
    work_all()
    expected = found_by(whole)
    PolicyResult.objects.filter(run=broken).delete()
    RestockChunk.objects.filter(run=broken).update(done_at=None, taken_until=None)
    RestockRun.objects.filter(pk=broken.pk).update(finished_at=None)
    lost = take_chunk(now=NOW)
    assert lost is not None
    # It is never heard of again: nobody else gets that chunk before its while is over.
    work_all()
    broken.refresh_from_db()
    assert broken.finished_at is None
    later = NOW + LEASE + timedelta(seconds=1)
    assert work_all(later) == 1
    broken.refresh_from_db()
    assert broken.finished_at == later
    assert found_by(broken) == expected
    # The worker was only slow after all: what it finds is there already, and stays.
    work_chunk(chunk=lost, now=later)
    assert found_by(broken) == expected
    assert DomainEvent.objects.filter(kind="restock_list_ready").count() == 2


def test_take_chunk_gives_up_a_chunk_that_no_worker_survives() -> None:
    world = stocked()
    ask(world, place=world.warehouse)
    moment = NOW
    for _ in range(MOST_ATTEMPTS):
        assert take_chunk(now=moment) is not None
        moment += LEASE + timedelta(seconds=1)
    assert take_chunk(now=moment) is None


def test_ask_for_restock_gives_the_same_run_for_the_same_id() -> None:
    world = stocked()
    run = ask(world)
    again = ask(world, id=run.uuid)
    assert (again, RestockChunk.objects.filter(run=run).count()) == (run, 4)
    with pytest.raises(DocumentConflict):
        ask(world, id=run.uuid, horizon_days=7)
    with pytest.raises(BadInput):
        ask(world, horizon_days=0)
    assert RestockRun.objects.count() == 1


def test_ask_for_nightly_restock_once_a_night_where_the_company_is() -> None:
    stocked()
    # Two in the morning in Chicago is eight in the morning UTC.
    assert ask_for_nightly_restock(now=datetime(2026, 3, 2, 7, 59, tzinfo=UTC)) is None
    run = ask_for_nightly_restock(now=datetime(2026, 3, 2, 8, 1, tzinfo=UTC))
    assert run is not None
    assert run.as_of == MONDAY
    assert ask_for_nightly_restock(now=datetime(2026, 3, 2, 20, 0, tzinfo=UTC)) is None


def test_forget_old_runs_keeps_the_last_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(runs, "KEPT_RUNS", 1)
    world = stocked()
    first, second = ask(world), ask(world)
    work_all()
    unfinished = ask(world)
    assert forget_old_runs() == 1
    assert list(RestockRun.objects.order_by("pk")) == [second, unfinished]
    assert not PolicyResult.objects.filter(run_id=first.pk).exists()


def test_work_restock_chunks_does_the_night_and_what_was_asked_for() -> None:
    world = stocked()
    ask(world)
    assert work_restock_chunks() >= 2
    assert not RestockChunk.objects.filter(done_at__isnull=True).exists()
    assert work_restock_chunks() == 0


def test_work_restock_chunks_calls_another_worker_where_there_is_more_than_one_can_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    calls: list[int] = []
    monkeypatch.setattr(runs, "_hint", lambda: calls.append(1))
    world = stocked()
    run_of_today(world)
    ask(world, place=world.warehouse)
    assert calls == []
    work_restock_chunks()
    # One chunk: nobody else is needed.
    assert calls == []
    ask(world)
    work_restock_chunks()
    # One call however many chunks: whoever comes calls the next.
    assert calls == [1]


def test_work_restock_chunks_keeps_why_a_chunk_failed_and_gives_up_in_the_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = stocked()
    run_of_today(world)
    run = ask(world, place=world.warehouse)
    chunk = RestockChunk.objects.filter(run=run).get()

    def fail(**_given: object) -> int:
        raise ArithmeticError("a spread below nothing")

    monkeypatch.setattr(tasks, "work_chunk", fail)
    for attempt in range(1, MOST_ATTEMPTS + 1):
        with pytest.raises(ArithmeticError):
            work_restock_chunks()
        chunk.refresh_from_db()
        # It is free for the next try at once.
        assert (chunk.attempts, chunk.taken_until, chunk.done_at) == (attempt, None, None)
    assert chunk.failure == "ArithmeticError: a spread below nothing"
    assert work_restock_chunks() == 0
    everything = Viewer(places=None, own_places=None, postable=frozenset(), may_see_money=True)
    assert [row.given_up_count for row in visible_runs(everything).filter(pk=run.pk)] == [1]


def test_work_restock_chunks_tells_what_failed_before_the_first_chunk(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = stocked()
    run_of_today(world)
    chunk = RestockChunk.objects.filter(run=ask(world, place=world.warehouse)).get()

    def fail(**_given: object) -> None:
        raise ArithmeticError("a week without an end")

    monkeypatch.setattr(tasks, "prepare_run", fail)
    with pytest.raises(ArithmeticError):
        work_restock_chunks()
    chunk.refresh_from_db()
    assert (chunk.failure, chunk.attempts) == ("ArithmeticError: a week without an end", 1)
    assert (chunk.taken_until, chunk.done_at) == (None, None)
    monkeypatch.undo()
    monkeypatch.setattr(runs, "_hint", lambda: None)
    assert work_restock_chunks() == 1


def run_of_today(world: World) -> None:
    """The night's own run stands already: what is counted is the one that is asked for."""
    for day in (-1, 0, 1):
        RestockRun.objects.create(
            uuid=uuid4(), kind="nightly", as_of=timezone.now().date() + timedelta(days=day), horizon_days=28,
            asked_by=world.actor, asked_at=NOW, finished_at=NOW,
        )  # fmt: skip
