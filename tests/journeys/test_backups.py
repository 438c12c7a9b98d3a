"""The drill: back up while others write, lose the machine, restore, add up, carry on."""

import json
import os
import shutil
import signal
import subprocess
import sys
import tarfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

import psycopg
import pytest

from tests.journeys.own_postgresql import OwnServer, find_program, free_port, give_away

ROOT = Path(__file__).resolve().parents[2]
MANAGE = [sys.executable, str(ROOT / "manage.py")]
PATIENCE_S = 240

CONTENT = b"a photo"
CONTENT_HASH = sha256(CONTENT).hexdigest()

SET_UP = """
from tests.factories.inventory import make_world
make_world()
"""
# A client that notes an id when the service has acknowledged it, and never before.
POST = """
from uuid import UUID, uuid4
from datetime import UTC, datetime
from inventory.models import Actor, Material, Place
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.units import parse_amount

by, source = Actor.objects.get(code="stores"), Place.objects.get(code="supplier-1")
target = End(Place.objects.get(code="main-yard"))
line = ReceiptLine(Material.objects.get(code="projectile-12"), parse_amount("1", "1"), target, 7_000_000)

def post(id):
    receive(id=id, by=by, occurred_at=datetime(2026, 3, 2, 8, tzinfo=UTC), source=source, lines=[line])
"""
FOR_EVER = """
with open({notes!r}, "a", buffering=1) as notes:
    while True:
        id = uuid4()
        post(id)
        print(id, file=notes)
"""
AGAIN = """
for id in open({notes!r}).read().split():
    post(UUID(id))
"""
HEAD = """
from inventory.models import ChainHead
from inventory.services.sealing import seal_all
seal_all()
head = ChainHead.objects.get()
print(f"{head.sequence}-{head.hash}")
"""
# What the book holds, whether it adds up, and what its feed says to a reader that was `ahead`.
LOOK = """
import json
from api.feed.changes import read_changes
from api.feed.errors import CursorGone
from inventory.models import Entry, Holding
from inventory.services.sealing import seal_all
from jobs.queries.issued_sheets import verify_book
seal_all()
try:
    read_changes(after={ahead!r}, limit=10)
    refusal = ""
except CursorGone as gone:
    refusal = gone.message
seals = read_changes(after=None, limit=100_000).seals
print(json.dumps({{
    "entries": [str(uuid) for uuid in Entry.objects.values_list("uuid", flat=True)],
    "held": sum(Holding.objects.filter(place__code="main-yard").values_list("quantity", flat=True)) // 10**6,
    "kinds": [seal.event.kind if seal.event else "entry" for seal in seals],
    "refusal": refusal,
    "differences": [row.message for row in verify_book()],
}}))
"""
# One process for several refusals, since starting it takes longest.
REFUSE = """
from pathlib import Path
from api.deploy.backups import restore_backup
from api.deploy.errors import RestoreRefused
for path in {paths!r}:
    try:
        restore_backup(source=Path(path))
    except RestoreRefused as refusal:
        print(refusal.message)
"""


@dataclass
class Installation:
    """A data directory, its database, and what its client was acknowledged."""

    environ: dict[str, str]
    notes: Path

    def manage(self, *arguments: str, may_fail: bool = False) -> "subprocess.CompletedProcess[str]":
        done = subprocess.run(
            [*MANAGE, *arguments], env=self.environ, capture_output=True, text=True, timeout=PATIENCE_S
        )
        assert may_fail or not done.returncode, done.stderr
        return done

    def execute(self, program: str) -> str:
        return self.manage("shell", "--no-imports", "-c", program).stdout.strip()

    @property
    def acknowledged(self) -> list[str]:
        return self.notes.read_text().split() if self.notes.exists() else []

    def look(self, *, ahead: str | None = None, after: str = "") -> dict[str, Any]:
        return dict(json.loads(self.execute(after + LOOK.format(ahead=ahead))))

    def post_for_ever(self) -> "subprocess.Popen[bytes]":
        program = POST + FOR_EVER.format(notes=str(self.notes))
        return subprocess.Popen(
            [*MANAGE, "shell", "--no-imports", "-c", program], env=self.environ, start_new_session=True
        )

    def wait_for(self, more: int, client: "subprocess.Popen[bytes]") -> None:
        goal, until = len(self.acknowledged) + more, time.monotonic() + PATIENCE_S
        while len(self.acknowledged) < goal:
            assert client.poll() is None, "the client ended by itself"
            assert time.monotonic() < until, "nothing was posted any more"
            time.sleep(0.02)

    def beside(self, data: Path, database: str | None = None) -> "Installation":
        """The same service on another machine: other data directory, other database, same clients."""
        environ = self.environ | {"SPANSTOCK_DATA_DIRECTORY": str(data)}
        if database is not None:
            environ["SPANSTOCK_DATABASE_URL"] = database
        return Installation(environ, self.notes)


@pytest.fixture
def installation(own_installation: dict[str, str], migrated_data: Path, tmp_path: Path) -> Installation:
    shutil.copytree(migrated_data, own_installation["SPANSTOCK_DATA_DIRECTORY"])
    return Installation(own_installation, tmp_path / "acknowledged")


@pytest.fixture
def databases() -> Iterator[list[str]]:
    """Addresses of two databases of our own on the server that the suite runs on."""
    asked = urlsplit(os.environ["SPANSTOCK_DATABASE_URL"])
    names = [f"backup_{uuid4().hex[:12]}" for _ in range(2)]
    with psycopg.connect(asked.geturl(), autocommit=True) as server:
        for name in names:
            server.execute(f'CREATE DATABASE "{name}"')
        yield [asked._replace(path=f"/{name}").geturl() for name in names]
        for name in names:
            server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def back_up_while_writing(installation: Installation, backup: Path) -> tuple[list[str], dict[str, Any]]:
    """Back up in the midst of posting; return what was acknowledged before it, and what the backup says."""
    attached = Path(installation.environ["SPANSTOCK_DATA_DIRECTORY"]) / "files" / CONTENT_HASH[:2]
    attached.mkdir(parents=True)
    (attached / CONTENT_HASH).write_bytes(CONTENT)
    client = installation.post_for_ever()
    try:
        installation.wait_for(20, client)
        before = installation.acknowledged
        told = json.loads(installation.manage("back_up", str(backup), "--format", "json").stdout)
        installation.wait_for(5, client)
    finally:
        os.killpg(client.pid, signal.SIGKILL)
        client.wait()
    return before, told


def drill(installation: Installation, other: Installation, backup: Path) -> None:
    """Lose the machine, restore on another, and let clients send again what they were acknowledged for."""
    installation.execute(SET_UP)
    before, told = back_up_while_writing(installation, backup)
    ahead = installation.execute(HEAD)
    assert backup.stat().st_mode & 0o777 == 0o600

    restored = json.loads(other.manage("restore", str(backup), "--format", "json").stdout)
    assert restored == {"backup": told, "difference_count": 0, "is_whole": True}
    found = other.look(ahead=ahead)
    assert set(before) <= set(found["entries"])
    assert len(found["entries"]) == told["entries"] == found["held"]
    attached = Path(other.environ["SPANSTOCK_DATA_DIRECTORY"]) / "files" / CONTENT_HASH[:2] / CONTENT_HASH
    assert attached.read_bytes() == CONTENT
    # A reader that was ahead is told so; one that starts again hears at the end what happened.
    assert "does not hold this cursor" in found["refusal"]
    assert found["kinds"] == ["entry"] * told["entries"] + ["book_restored"]

    after = other.look(after=POST + AGAIN.format(notes=str(other.notes)))
    assert set(after["entries"]) == set(found["entries"]) | set(installation.acknowledged)
    assert len(after["entries"]) == after["held"] == len(set(after["entries"])) > told["entries"]
    assert after["differences"] == []


@pytest.mark.sqlite
def test_what_was_lost_with_the_machine_is_restored_and_sent_again(
    installation: Installation, tmp_path: Path
) -> None:
    drill(installation, installation.beside(tmp_path / "other"), tmp_path / "backup.tar")


@pytest.mark.postgresql
def test_what_was_lost_with_the_database_is_restored_and_sent_again(
    installation: Installation, databases: list[str], tmp_path: Path
) -> None:
    first = installation.beside(tmp_path / "first", databases[0])
    first.manage("migrate", "-v0")
    drill(first, installation.beside(tmp_path / "other", databases[1]), tmp_path / "backup.tar")


@pytest.mark.sqlite
def test_restore_refuses_what_is_not_whole_and_what_is_not_empty(
    installation: Installation, tmp_path: Path
) -> None:
    backup = tmp_path / "backup.tar"
    installation.execute(SET_UP)
    installation.manage("back_up", str(backup))
    size = backup.stat().st_size

    assert "never written over" in installation.manage("back_up", str(backup), may_fail=True).stderr
    assert "is not empty" in installation.manage("restore", str(backup), may_fail=True).stderr
    assert backup.stat().st_size == size

    broken_off = tmp_path / "broken_off.tar"
    broken_off.write_bytes(backup.read_bytes()[: size // 2])
    changed = tmp_path / "changed.tar"
    data = bytearray(backup.read_bytes())
    data[data.index(b"main-yard")] ^= 1
    changed.write_bytes(data)
    foreign = tmp_path / "foreign.tar"
    shutil.copy(backup, foreign)
    with tarfile.open(foreign, "a") as archive:
        archive.add(backup, "../outside")
    other = installation.beside(tmp_path / "other")
    paths = [str(path) for path in (broken_off, changed, foreign, tmp_path / "nowhere.tar")]
    refusals = other.execute(REFUSE.format(paths=paths)).splitlines()
    words = ["no whole backup", "is not the one that its manifest", "which no backup has", "There is no file"]
    assert len(refusals) == len(words)
    for word, refusal in zip(words, refusals, strict=True):
        assert word in refusal
    # Nothing of the refused ones is in the way of the good one.
    assert "The book is whole" in other.manage("restore", str(backup)).stdout


@pytest.mark.long
@pytest.mark.postgresql
@pytest.mark.skipif(
    not find_program("initdb"), reason="needs PostgreSQL's initdb to make a server of its own"
)
def test_with_log_archiving_nothing_acknowledged_is_lost(installation: Installation, tmp_path: Path) -> None:
    """A base copy while others write, then the server and its data are gone, but for the log."""
    server = OwnServer(tmp_path / "server", free_port())
    server.create()
    server.start()
    service = installation.beside(tmp_path / "data", server.url)
    client = None
    try:
        service.manage("migrate", "-v0")
        service.execute(SET_UP)
        client = service.post_for_ever()
        service.wait_for(20, client)
        copy = server.folder / "base"
        server.run(
            "pg_basebackup", "--pgdata", str(copy), "--checkpoint", "fast",
            "--host", "127.0.0.1", "--port", str(server.port), "--username", "spanstock",
        )  # fmt: skip
        service.wait_for(200, client)
        server.kill()
        os.killpg(client.pid, signal.SIGKILL)
        client.wait()

        for path in (server.data / "pg_wal").glob("????????????????????????"):
            shutil.copy(path, server.archive / path.name)
        shutil.rmtree(server.data)
        copy.rename(server.data)
        (server.data / "recovery.signal").touch()
        server.configure(f"restore_command = 'cp {server.archive}/%f %p'")
        give_away(server.folder)
        server.start()

        service.manage("restore", "--brought-back")
        found = service.look()
        assert len(service.acknowledged) > 200
        assert set(service.acknowledged) <= set(found["entries"])
        # One may have been committed and its answer lost with the client.
        assert len(found["entries"]) - len(service.acknowledged) <= 1
        assert found["held"] == len(found["entries"])
        assert found["differences"] == []
        assert found["kinds"][-1] == "book_restored"
    finally:
        if client is not None and client.poll() is None:
            os.killpg(client.pid, signal.SIGKILL)
        server.kill()
