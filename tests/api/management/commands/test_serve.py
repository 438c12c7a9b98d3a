"""`manage.py serve` as its operator meets it: a process of its own, a port, a Ctrl-C."""

import contextlib
import os
import shutil
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[4]
MANAGE = [sys.executable, str(ROOT / "manage.py")]
# Long enough for a machine that does much else; nothing waits that long where all is well.
PATIENCE_S = 180

# The processes bring a SQLite database of their own, so the run on another database would only repeat them.
pytestmark = pytest.mark.sqlite

Start = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        found: int = probe.getsockname()[1]
        return found


@pytest.fixture
def migrated(own_installation: dict[str, str], migrated_data: Path) -> dict[str, str]:
    shutil.copytree(migrated_data, own_installation["SPANSTOCK_DATA_DIRECTORY"])
    return own_installation


@pytest.fixture
def start(migrated: dict[str, str], port: int) -> Iterator[Start]:
    started: list[subprocess.Popen[str]] = []

    def start_serve(*arguments: str) -> "subprocess.Popen[str]":
        command = [*MANAGE, "serve", "--bind", f"127.0.0.1:{port}", *arguments]
        process = subprocess.Popen(
            command, env=migrated, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        started.append(process)
        return process

    yield start_serve
    for process in started:
        process.terminate()
        process.wait(timeout=PATIENCE_S)
        assert process.stdout
        process.stdout.close()


def _wait_for(address: str, context: ssl.SSLContext | None = None) -> int:
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            with urllib.request.urlopen(address, timeout=5, context=context) as answer:
                status: int = answer.status
                return status
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


def _children(pid: int) -> dict[str, int]:
    """The processes under `pid` by what they are."""
    names = {"gunicorn": "web", "worker": "worker", "beat": "schedule"}
    listed = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    found = {}
    for child in listed:
        words = Path(f"/proc/{child}/cmdline").read_text().split("\0")
        found[next(name for word, name in names.items() if word in words)] = int(child)
    return found


def _is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_serve_refuses_a_database_without_migrations(own_installation: dict[str, str]) -> None:
    run = subprocess.run(
        [*MANAGE, "serve"], env=own_installation, capture_output=True, text=True, timeout=PATIENCE_S
    )
    assert run.returncode == 1
    assert "python manage.py migrate" in run.stderr
    assert "Traceback" not in run.stderr


def test_serve_wants_certificate_and_key_together(migrated: dict[str, str]) -> None:
    command = [*MANAGE, "serve", "--certificate", __file__]
    run = subprocess.run(command, env=migrated, capture_output=True, text=True, timeout=PATIENCE_S)
    assert run.returncode == 2
    assert "together" in run.stderr


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_serve_answers_and_ends_whole_on_a_signal(start: Start, port: int, number: int) -> None:
    process = start()
    assert _wait_for(f"http://127.0.0.1:{port}/health/ready") == 200
    children = _children(process.pid)
    assert sorted(children) == ["schedule", "web", "worker"]
    process.send_signal(number)
    output, _ = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, output
    assert output.rstrip().endswith("Stopped."), output
    assert "Traceback" not in output
    assert not any(_is_alive(pid) for pid in children.values())


NOTE_AN_EVENT = """
import uuid
from django.utils import timezone
from inventory.services.sealing import record_event
record_event(id=uuid.uuid4(), kind="tried", occurred_at=timezone.now(), body={})
"""


def _read_number(migrated: dict[str, str], query: str) -> int:
    database = Path(migrated["SPANSTOCK_DATA_DIRECTORY"]) / "spanstock.sqlite3"
    with contextlib.closing(sqlite3.connect(database, timeout=20)) as connection:
        found: int = connection.execute(query).fetchone()[0]
        return found


def test_serve_has_what_was_posted_sealed(start: Start, migrated: dict[str, str]) -> None:
    """All the way: the schedule sends a message, the worker takes it and finds the work in the table."""
    command = [*MANAGE, "shell", "--no-imports", "-c", NOTE_AN_EVENT]
    subprocess.run(command, env=migrated, check=True, timeout=PATIENCE_S)
    assert _read_number(migrated, "SELECT count(*) FROM inventory_unsealed") == 1
    start()
    until = time.monotonic() + PATIENCE_S
    while _read_number(migrated, "SELECT count(*) FROM inventory_seal") == 0 and time.monotonic() < until:
        time.sleep(0.2)
    assert _read_number(migrated, "SELECT count(*) FROM inventory_seal") == 1
    assert _read_number(migrated, "SELECT count(*) FROM inventory_unsealed") == 0


@pytest.mark.parametrize("name", ["web", "worker", "schedule"])
def test_serve_stops_all_when_one_ends_by_itself(start: Start, port: int, name: str) -> None:
    process = start()
    _wait_for(f"http://127.0.0.1:{port}/health/live")
    children = _children(process.pid)
    os.kill(children[name], signal.SIGKILL)
    output, _ = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 1, output
    assert f"The {name} ended by itself" in output
    assert not any(_is_alive(pid) for pid in children.values())


def test_serve_says_when_the_port_is_taken(start: Start, port: int) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", port))
        other.listen()
        process = start()
        output, _ = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 1
    assert "The web ended by itself" in output
    assert "in use" in output


@pytest.mark.skipif(not shutil.which("openssl"), reason="needs openssl to make a certificate")
def test_serve_speaks_https_with_a_certificate(start: Start, port: int, tmp_path: Path) -> None:
    certificate, key = tmp_path / "certificate.pem", tmp_path / "key.pem"
    command = [
        "openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "1", "-subj", "/CN=127.0.0.1",
        "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", str(key), "-out", str(certificate),
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=PATIENCE_S)
    process = start("--certificate", str(certificate), "--key", str(key))
    context = ssl.create_default_context(cafile=str(certificate))
    assert _wait_for(f"https://127.0.0.1:{port}/health/ready", context) == 200
    process.send_signal(signal.SIGINT)
    output, _ = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, output
