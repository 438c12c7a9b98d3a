"""Many posting at once: nothing lost, nothing doubled, no error of the database reaches the caller."""

import random
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.db import close_old_connections, connection

from inventory.models import Container, Entry, Holding, Material, Movement, Place, Seal, Unsealed
from inventory.queries.verification import verify_ledger
from inventory.services.goods import draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.sealing import seal_batch
from tests.factories.inventory import World, at, each, gal, held, make_world

THREADS = 16
POSTINGS = 12
PROCESSES = 8


def at_once(work: Callable[[int], object], threads: int = THREADS) -> None:
    """Run in threads that start together, each with a connection of its own; raise what one of them met."""
    start = threading.Barrier(threads)

    def run(number: int) -> None:
        try:
            start.wait()
            work(number)
        finally:
            connection.close()

    with ThreadPoolExecutor(threads) as pool:
        for done in [pool.submit(run, number) for number in range(threads)]:
            done.result()


def assert_book_is_whole() -> None:
    close_old_connections()
    assert list(verify_ledger()) == []


def draw_from(world: World, drum: Container, id: UUID, amount: int = 1) -> Entry:
    line = Line(world.fluid, gal(amount), End(world.warehouse, drum), End(world.span))
    return draw(id=id, by=world.actor, occurred_at=at(1), lines=[line])


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("formula", ["weighted_average", "fifo"])
def test_draws_from_one_drum_are_none_lost_none_doubled(formula: str) -> None:
    world = make_world(cost_formula=formula)
    drum = world.drum("D1", 57, cost=570)
    world.drum("D2", 57, cost=114)
    draws = 3
    at_once(lambda _number: [draw_from(world, drum, uuid4()) for _ in range(draws)])
    assert held(world.warehouse, world.fluid, drum) == (57 - THREADS * draws) * 10**6
    assert held(world.span, world.fluid) == THREADS * draws * 10**6
    assert Movement.objects.filter(purpose="used").values("entry").distinct().count() == THREADS * draws
    assert_book_is_whole()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_the_same_id_from_many_threads_is_one_entry() -> None:
    world = make_world()
    drum = world.drum("D1", 57)
    ids = [uuid4() for _ in range(6)]
    found: set[int] = set()
    at_once(lambda number: [found.add(draw_from(world, drum, id).pk) for id in shuffled(ids, number)])
    assert len(found) == len(ids)
    assert Entry.objects.filter(uuid__in=ids).count() == len(ids)
    assert held(world.span, world.fluid) == len(ids) * 10**6
    assert_book_is_whole()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_the_same_id_without_any_goods_from_many_threads_is_one_entry() -> None:
    """An empty drum moves no goods, so there is no head to lock: only the id itself stands in the way."""
    world = make_world()
    empty = Container.objects.create(label="E1", kind="drum", owner=world.company, place=world.warehouse)
    id, found = uuid4(), set()

    def move(_number: int) -> None:
        vessel = [(Container.objects.get(pk=empty.pk), world.vehicle)]
        found.add(transfer(id=id, by=world.actor, occurred_at=at(1), containers=vessel).pk)

    at_once(move)
    assert len(found) == 1
    assert_book_is_whole()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("formula", ["weighted_average", "fifo"])
def test_crossing_transfers_in_any_order_of_lines_meet_no_deadlock(formula: str) -> None:
    world = make_world()
    materials = make_fittings(formula)
    for material in materials:
        world.loose(material, each(100_000), cost=100)
    # None of the rows at these places is there yet, so all threads make them at once.
    places = [world.warehouse, *(make_yard(number) for number in range(4))]

    def cross(number: int) -> None:
        chance = random.Random(number)
        for turn in range(POSTINGS):
            source, target = (places[0], chance.choice(places[1:])) if turn % 3 else chance.sample(places, 2)
            lines = [
                Line(material, each(chance.randint(1, 9)), End(source), End(target)) for material in materials
            ]
            chance.shuffle(lines)
            moment = at(1) + timedelta(seconds=turn)
            transfer(id=uuid4(), by=world.actor, occurred_at=moment, lines=lines[:4], as_report=True)

    at_once(cross)
    assert Entry.objects.filter(kind="transfer").count() == THREADS * POSTINGS
    sums = [sum(Holding.objects.filter(material=one).values_list("quantity", flat=True)) for one in materials]
    assert sums == [0] * len(materials)
    assert_book_is_whole()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_seal_batch_by_two_while_others_post_leaves_the_chain_whole() -> None:
    world = make_world()
    drum = world.drum("D1", 57)

    def work(number: int) -> None:
        for _turn in range(POSTINGS):
            if number < 2:
                seal_batch(5)
            else:
                draw_from(world, drum, uuid4())

    at_once(work, 6)
    while seal_batch():
        pass
    assert not Unsealed.objects.exists()
    assert Seal.objects.count() == Entry.objects.count() == 1 + 4 * POSTINGS
    assert_book_is_whole()


def shuffled(ids: list[UUID], seed: int) -> list[UUID]:
    return random.Random(seed).sample(ids, len(ids))


def make_fittings(formula: str) -> list[Material]:
    return [
        Material.objects.create(
            code=f"union-{number}",
            name=f"Union {number}",
            kind="fitting",
            stock_unit="1",
            fitting_role="union",
            cost_formula=formula,
        )
        for number in range(6)
    ]


def make_yard(number: int) -> Place:
    return Place.objects.create(code=f"yard-{number}", name=f"Yard {number}", kind="warehouse")


SETUP = """
import django; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.factories.inventory import make_world
make_world().drum("D1", 57, cost=114)
"""

POST = """
import django, sys; django.setup()
from uuid import uuid4
from inventory.models import Actor, Container, Material, Place
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.inventory import at, gal
sys.stdin.readline()
drum, fluid = Container.objects.get(label="D1"), Material.objects.get(code="fluid")
ends = End(Place.objects.get(code="main-yard"), drum), End(Place.objects.get(code="span-1"))
stores = Actor.objects.get(code="stores")
for _turn in range(7):
    draw(id=uuid4(), by=stores, occurred_at=at(1), lines=[Line(fluid, gal(1), *ends)])
"""

CHECK = """
import django; django.setup()
from inventory.models import Entry
from inventory.queries.verification import verify_ledger
print(Entry.objects.count(), list(verify_ledger()))
"""


def test_processes_posting_into_one_sqlite_file_meet_no_error(own_installation: dict[str, str]) -> None:
    def start(code: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-c", code],
            env=own_installation,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    out, error = start(SETUP).communicate()
    assert not error
    posting = [start(POST) for _process in range(PROCESSES)]
    for process in posting:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in posting:
        _out, error = process.communicate(timeout=200)
        assert process.returncode == 0, error
    out, error = start(CHECK).communicate()
    # Eight times seven of the drum's 57 gal, and its receipt.
    assert out.strip() == "57 []", error
