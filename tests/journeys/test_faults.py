"""Parts of the service are killed at random while clients post: nothing acknowledged is lost or done twice.

Clients do what the documentation asks of them: they make an id, send, and send the same again until there is
an answer. A reader sums the book in every snapshot that it can get meanwhile, as a bank would.
"""

import contextlib
import json
import random
import shutil
import sqlite3
import threading
import time
import urllib.error
import urllib.request
from base64 import b64encode
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import UUID

import psycopg
import pytest

from tests.journeys.own_postgresql import OwnServer, find_program, free_port
from tests.journeys.own_redis import OwnRedis
from tests.journeys.own_service import OwnService, Part

CLIENTS = 4
STOCK = 100_000

SET_UP = """
from tests.factories.inventory import make_world, each
world = make_world()
world.loose(world.projectile, each({stock}), cost="300000")
"""
LOOK = """
import json
from inventory.models import Entry, Holding, Seal
from inventory.services.sealing import seal_all
from jobs.queries.issued_sheets import verify_book
seal_all()
entries = Entry.objects.order_by("pk")
seals = Seal.objects.filter(entry__isnull=False).order_by("sequence")
print(json.dumps({
    "entries": [str(uuid) for uuid in entries.values_list("uuid", flat=True)],
    "feed": [str(uuid) for uuid in seals.values_list("entry__uuid", flat=True)],
    "sequences": list(Seal.objects.order_by("sequence").values_list("sequence", flat=True)),
    "held": {code: quantity // 10**6 for code, quantity in
             Holding.objects.values_list("place__code", "quantity") if quantity},
    "differences": [row.message for row in verify_book()],
}))
"""
# Sums of one snapshot that are nothing in a whole book: goods, money, and a holding less its movements.
SUMS = """
    SELECT
        (SELECT coalesce(sum(quantity), 0) FROM inventory_holding),
        (SELECT coalesce(sum(value), 0) FROM inventory_costpool),
        (SELECT coalesce(sum(quantity), 0) FROM inventory_holding WHERE place_id = :yard)
        - (SELECT coalesce(sum(quantity), 0) FROM inventory_movement WHERE target_place_id = :yard)
        + (SELECT coalesce(sum(quantity), 0) FROM inventory_movement WHERE source_place_id = :yard)
"""


@dataclass
class Client(threading.Thread):
    """Posts small entries one after the other, each until it is answered."""

    address: str
    token: str
    number: int
    stop: threading.Event
    acknowledged: dict[str, str] = field(default_factory=dict)
    repeated: int = 0

    def __post_init__(self) -> None:
        super().__init__(daemon=True)
        self.dice = random.Random(self.number)

    def __hash__(self) -> int:
        return id(self)

    def run(self) -> None:
        while not self.stop.is_set():
            body = self.make_body()
            if self.post_until_answered(body) and self.dice.random() < 0.1:
                self.post_until_answered(body)
                self.repeated += 1

    def make_body(self) -> dict[str, Any]:
        kind, target = self.dice.choice([("draw", "span-1"), ("transfer", "truck-1"), ("draw", "span-1")])
        line = {
            "material": "projectile-12", "amount": {"value": 1, "unit": "1"},
            "source": {"place": "main-yard"}, "target": {"place": target},
        }  # fmt: skip
        id = UUID(int=self.dice.getrandbits(128), version=4)
        return {"id": str(id), "kind": kind, "occurred_at": "2026-03-02T12:00:00-06:00", "lines": [line]}

    def post_until_answered(self, body: dict[str, Any]) -> bool:
        data = json.dumps(body).encode()
        headers = {"Content-Type": "application/json", "Authorization": f"Bearer {self.token}"}
        while True:
            request = urllib.request.Request(f"{self.address}/api/v1/entries", data, headers)
            try:
                with urllib.request.urlopen(request, timeout=30) as answer:
                    assert json.load(answer)["id"] == body["id"]
                self.acknowledged[body["id"]] = body["lines"][0]["target"]["place"]
                return True
            except urllib.error.HTTPError as refusal:
                if refusal.code < 500 and refusal.code != 429:
                    raise AssertionError(refusal.read()) from refusal
            except (urllib.error.URLError, OSError, ValueError):
                pass
            # Told to end it still wants to know what became of the one that it has sent.
            time.sleep(0.1 + 0.2 * self.dice.random())


@dataclass
class Reader(threading.Thread):
    """Sums snapshot after snapshot."""

    read: Callable[[], tuple[int, int, int]]
    stop: threading.Event
    snapshots: int = 0
    wrong: list[tuple[int, int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(daemon=True)

    def __hash__(self) -> int:
        return id(self)

    def run(self) -> None:
        while not self.stop.is_set():
            with contextlib.suppress(psycopg.OperationalError, sqlite3.OperationalError):
                sums = self.read()
                self.snapshots += 1
                if any(sums):
                    self.wrong.append(sums)
            time.sleep(0.05)


def get_token(service: OwnService) -> str:
    """Sign in as a system, as the README says."""
    told = json.loads(
        service.manage("systems", "add", "poster", "--role", "stores", "--scope", "goods", "--format", "json")
    )
    basic = b64encode(f"{told['client_id']}:{told['client_secret']}".encode()).decode()
    request = urllib.request.Request(
        f"{service.address}/api/v1/oauth/token", b"grant_type=client_credentials",
        {"Authorization": f"Basic {basic}", "Content-Type": "application/x-www-form-urlencoded"},
    )  # fmt: skip
    with urllib.request.urlopen(request, timeout=60) as answer:
        return str(json.load(answer)["access_token"])


def torment(
    service: OwnService,
    parts: dict[str, Part | OwnServer | OwnRedis],
    read: Callable[[], tuple[int, int, int]],
    *,
    kills: int,
    seed: int,
) -> None:
    """Kill parts at random while clients post, and hold the book against what they were answered."""
    dice, stop, stop_reading = random.Random(seed), threading.Event(), threading.Event()
    token = get_token(service)
    clients = [Client(service.address, token, seed + number, stop) for number in range(CLIENTS)]
    reader = Reader(read, stop_reading)
    for thread in (*clients, reader):
        thread.start()
    for number in range(kills):
        before = sum(len(client.acknowledged) for client in clients)
        until = time.monotonic() + dice.uniform(0.1, 1.5)
        # Between two kills something is done, so that no kill meets a service that stands still.
        while time.monotonic() < until or sum(len(client.acknowledged) for client in clients) == before:
            assert all(client.is_alive() for client in clients)
            time.sleep(0.02)
        # Each part is killed as often as the others.
        part = parts[sorted(parts)[number % len(parts)]]
        part.kill()
        time.sleep(dice.uniform(0, 0.5))
        part.start()
    stop.set()
    for client in clients:
        client.join()
    stop_reading.set()
    reader.join()
    assert reader.snapshots > kills
    assert reader.wrong == []
    hold_against_answers(service, clients)


def hold_against_answers(service: OwnService, clients: list[Client]) -> None:
    """Every acknowledged entry is there once, and nothing else; goods, seals and feed follow from it."""
    acknowledged: dict[str, str] = {}
    for client in clients:
        acknowledged |= client.acknowledged
    assert sum(client.repeated for client in clients) > 0
    found = json.loads(service.execute(LOOK))
    # The first entry is the stock that they drew from.
    assert sorted(found["entries"][1:]) == sorted(acknowledged)
    drawn = list(acknowledged.values())
    assert found["held"] == {
        "supplier-1": -STOCK,
        "main-yard": STOCK - len(drawn),
        "truck-1": drawn.count("truck-1"),
        "span-1": drawn.count("span-1"),
    }
    # All of them changed one holding, so the order in which they were committed is that of their keys.
    assert found["feed"] == found["entries"]
    assert found["sequences"] == list(range(1, len(found["sequences"]) + 1))
    assert found["differences"] == []


@pytest.fixture
def embedded(own_installation: dict[str, str], migrated_data: Path, tmp_path: Path) -> Iterator[OwnService]:
    shutil.copytree(migrated_data, own_installation["SPANSTOCK_DATA_DIRECTORY"])
    service = OwnService(own_installation | {"SPANSTOCK_LOG_LEVEL": "ERROR"}, tmp_path, free_port())
    yield service
    service.end()


def torment_embedded(service: OwnService, *, kills: int) -> None:
    service.execute(SET_UP.format(stock=STOCK))
    for part in service.parts.values():
        part.start()
    path = Path(service.environ["SPANSTOCK_DATA_DIRECTORY"]) / "spanstock.sqlite3"

    def read() -> tuple[int, int, int]:
        with contextlib.closing(sqlite3.connect(path, timeout=60)) as database:
            yard = database.execute("SELECT id FROM inventory_place WHERE code = 'main-yard'").fetchone()[0]
            row: tuple[int, int, int] = database.execute(SUMS, {"yard": yard}).fetchone()
            return row

    torment(service, dict(service.parts), read, kills=kills, seed=7)


@pytest.mark.sqlite
def test_three_kills_of_the_embedded_service_lose_nothing(embedded: OwnService) -> None:
    torment_embedded(embedded, kills=3)


@pytest.mark.long
@pytest.mark.sqlite
def test_forty_kills_of_the_embedded_service_lose_nothing(embedded: OwnService) -> None:
    torment_embedded(embedded, kills=40)


@pytest.fixture
def grown(
    own_installation: dict[str, str], tmp_path: Path
) -> Iterator[tuple[OwnService, OwnServer, OwnRedis]]:
    """PostgreSQL, Redis, web, worker and schedule, all of this test's own."""
    pytest.importorskip("redis", reason="needs the redis extra")
    server, broker = OwnServer(tmp_path / "server", free_port()), OwnRedis.on_free_port(tmp_path)
    environ = own_installation | {
        "SPANSTOCK_DATABASE_URL": server.url,
        "SPANSTOCK_BROKER_URL": broker.url,
        "SPANSTOCK_LOG_LEVEL": "ERROR",
    }
    service = OwnService(environ, tmp_path, free_port())
    server.create()
    server.start()
    broker.start()
    yield service, server, broker
    service.end()
    broker.kill()
    server.kill()


def torment_grown(grown: tuple[OwnService, OwnServer, OwnRedis], *, kills: int) -> None:
    service, server, broker = grown
    service.manage("migrate", "-v0")
    service.execute(SET_UP.format(stock=STOCK))
    for part in service.parts.values():
        part.start()

    def read() -> tuple[int, int, int]:
        query = SUMS.replace(":yard", "(SELECT id FROM inventory_place WHERE code = 'main-yard')")
        with psycopg.connect(server.url, connect_timeout=5) as database:
            database.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
            row: tuple[int, int, int] | None = database.execute(query).fetchone()  # type: ignore[arg-type]
            assert row is not None
            return row

    parts: dict[str, Part | OwnServer | OwnRedis] = {**service.parts, "database": server, "broker": broker}
    torment(service, parts, read, kills=kills, seed=11)


own_servers = pytest.mark.skipif(
    not (find_program("initdb") and shutil.which("redis-server")),
    reason="needs PostgreSQL's and Redis's servers to start some of its own",
)


@pytest.mark.postgresql
@own_servers
def test_five_kills_of_the_grown_service_lose_nothing(
    grown: tuple[OwnService, OwnServer, OwnRedis],
) -> None:
    torment_grown(grown, kills=5)


@pytest.mark.long
@pytest.mark.postgresql
@own_servers
def test_sixty_kills_of_the_grown_service_lose_nothing(
    grown: tuple[OwnService, OwnServer, OwnRedis],
) -> None:
    torment_grown(grown, kills=60)
