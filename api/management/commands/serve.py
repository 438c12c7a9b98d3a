"""`manage.py serve`: web, worker and schedule on this machine together."""

import argparse
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from api.config import environment

DEFAULT_ADDRESS = "127.0.0.1:8000"
# Longer than the web server's own patience with a request in hand (30 s), shorter than an init system's.
GRACE_S = 45
LOOK_EVERY_S = 0.2


class Command(BaseCommand):
    help = (
        "Run web, worker and schedule on this machine together, until Ctrl-C. Over HTTPS with a certificate."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--bind", default=DEFAULT_ADDRESS, metavar="HOST:PORT", help=f"default: {DEFAULT_ADDRESS}"
        )
        parser.add_argument("--certificate", type=_file, metavar="FILE", help="PEM; the page is then HTTPS")
        parser.add_argument("--key", type=_file, metavar="FILE", help="PEM; goes with --certificate")
        parser.add_argument("--threads", type=int, default=8, help="requests answered at once; default: 8")

    def handle(self, *args: Any, **options: Any) -> None:
        if bool(options["certificate"]) != bool(options["key"]):
            raise CommandError("Give --certificate and --key together.", returncode=2)
        _refuse_old_database()
        commands = {"web": _web(options), "worker": _worker(), "schedule": _schedule()}
        scheme = "https" if options["certificate"] else "http"
        self.stdout.write(f"Serving {scheme}://{options['bind']}/ until Ctrl-C, then a few seconds more.")
        self.stdout.flush()
        ended = _run_together(commands)
        if ended:
            raise CommandError(
                f"The {ended} ended by itself, so everything was stopped; its last words are above."
            )
        self.stdout.write("Stopped.")


def _file(path: str) -> Path:
    if not Path(path).is_file():
        raise argparse.ArgumentTypeError(f"there is no file {path}")
    return Path(path).resolve()


def _refuse_old_database() -> None:
    """Serve only what the code fits. Migrating is left to the operator, who may want a copy first."""
    executor = MigrationExecutor(connection)
    missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    connection.close()
    if missing:
        names = ", ".join(f"{migration.app_label} {migration.name}" for migration, _ in missing[:3])
        more = f" and {len(missing) - 3} more" if len(missing) > 3 else ""
        raise CommandError(
            f"The database lacks {len(missing)} migrations ({names}{more})."
            " Run `python manage.py migrate` first."
        )


def _web(options: dict[str, Any]) -> list[str]:
    """Threads in one process: SQLite has one writer at a time anyway, and a thread costs little."""
    command = [
        sys.executable, "-m", "gunicorn", "api.config.wsgi:application", "--bind", options["bind"],
        "--worker-class", "gthread", "--workers", "1", "--threads", str(options["threads"]),
        "--graceful-timeout", "30", "--no-control-socket", "--log-level", "warning",
    ]  # fmt: skip
    if options["certificate"]:
        command += ["--certfile", str(options["certificate"]), "--keyfile", str(options["key"])]
    return command


def _worker() -> list[str]:
    return [
        sys.executable, "-m", "celery", "--app", "api.config.celery", "--quiet", "worker",
        "--concurrency", "1", "--loglevel", "WARNING", "--without-gossip", "--without-mingle",
    ]  # fmt: skip


def _schedule() -> list[str]:
    # No pid file: one left by a power cut would keep the schedule from starting again.
    return [
        sys.executable, "-m", "celery", "--app", "api.config.celery", "--quiet", "beat",
        "--loglevel", "WARNING", "--pidfile", "",
    ]  # fmt: skip


def _run_together(commands: dict[str, list[str]]) -> str | None:
    """Start all, wait for a signal or for one to end, stop all. Names the one that ended by itself.

    None is started again: a worker that dies at once would be restarted for ever, unseen.
    """
    with _stop_on_signals() as stop:
        children: dict[str, subprocess.Popen[bytes]] = {}
        try:
            for name, command in commands.items():
                children[name] = _start(command)
            return _wait(children, stop)
        finally:
            _end(children)


@contextmanager
def _stop_on_signals() -> Iterator[threading.Event]:
    stop = threading.Event()
    before = {
        number: signal.signal(number, lambda *_: stop.set()) for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _start(command: list[str]) -> "subprocess.Popen[bytes]":
    # A session of its own, so that Ctrl-C reaches this process only, which then ends the others in peace.
    environ = os.environ | {"DJANGO_SETTINGS_MODULE": "api.config.settings"}
    return subprocess.Popen(command, cwd=environment.ROOT, env=environ, start_new_session=True)


def _wait(children: dict[str, "subprocess.Popen[bytes]"], stop: threading.Event) -> str | None:
    while not stop.wait(LOOK_EVERY_S):
        for name, child in children.items():
            if child.poll() is not None:
                return name
    return None


def _end(children: dict[str, "subprocess.Popen[bytes]"]) -> None:
    """Ask every child to finish what it has in hand; end with force what has not after the grace time.

    The worker looks up from an idle broker only every few seconds, so it is usually the last to go.
    """
    for child in children.values():
        if child.poll() is None:
            child.send_signal(signal.SIGTERM)
    patience = threading.Timer(GRACE_S, _kill, [children])
    patience.daemon = True
    patience.start()
    for child in children.values():
        child.wait()
    patience.cancel()
    # A child that died by itself may have left processes of its own behind.
    _kill(children)


def _kill(children: dict[str, "subprocess.Popen[bytes]"]) -> None:
    for child in children.values():
        try:
            os.killpg(child.pid, signal.SIGKILL)
        except ProcessLookupError:
            continue
