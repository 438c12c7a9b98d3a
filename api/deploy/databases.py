"""Copies of a database while others write to it, and a database made from one.

SQLite is copied by its own online backup, PostgreSQL by its own `pg_dump`: both read one snapshot, so a copy
holds every entry whole or not at all, and nobody who posts has to wait for it.
"""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import connection, transaction
from django.db.backends.postgresql.client import DatabaseClient

from api.config.environment import full_name
from api.deploy.errors import BackupRefused, RestoreRefused
from inventory.queries.canonical import FIRST_HASH

NAMES = {"sqlite": "database.sqlite3", "postgresql": "database.dump"}


@dataclass(frozen=True)
class Head:
    """How far a book goes: its last seal, what it holds, and the last migration of each package."""

    sequence: int
    hash: str
    entries: int
    movements: int
    migrations: list[str]


def copy_database(target: Path) -> Head:
    """Write a copy of the database to a file that is not there yet; return how far it goes.

    Raises
    ------
    BackupRefused
        If the database's own tool is missing or fails.
    """
    if connection.vendor == "sqlite":
        return _copy_sqlite(target)
    return _dump_postgresql(target)


def restore_database(source: Path) -> None:
    """Make the database from a copy; it must be empty.

    Raises
    ------
    RestoreRefused
        If something lies in the database, or its own tool is missing or fails.
    """
    require_empty()
    if connection.vendor == "sqlite":
        _place_sqlite(source)
    else:
        _load_postgresql(source)


def require_empty() -> None:
    """Refuse a database that holds anything: restoring never writes over a book, however damaged."""
    tables = connection.introspection.table_names()
    connection.close()
    if tables:
        raise RestoreRefused(
            f"The database {connection.settings_dict['NAME']} is not empty. A backup is brought back beside "
            f"what is there, never over it: name another database in {full_name('DATABASE_URL')}, or another "
            f"directory in {full_name('DATA_DIRECTORY')}, and restore into that."
        )


def _copy_sqlite(target: Path) -> Head:
    path = connection.settings_dict["NAME"]
    with (
        closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=60)) as source,
        closing(sqlite3.connect(target)) as copy,
    ):
        # All pages in one step, which is one read of one snapshot: writers go on beside it.
        source.backup(copy, pages=-1)
        # The pages are looked at; what the rows say is for `verify_ledger`, and some of it calls Django.
        copy.execute("PRAGMA ignore_check_constraints=ON")
        if copy.execute("PRAGMA quick_check").fetchone() != ("ok",):
            raise BackupRefused(f"The database {path} is damaged, and so is any copy of it.")
        return _read_head(lambda query: copy.execute(query).fetchall())


def _dump_postgresql(target: Path) -> Head:
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            cursor.execute("SELECT pg_export_snapshot()")
            [snapshot] = cursor.fetchone()

            def select(query: str) -> list[Any]:
                cursor.execute(query)
                return cursor.fetchall()

            head = _read_head(select)
        # The dump reads this transaction's snapshot, so the head is the head of what is dumped.
        options = ["--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}"]
        _run("pg_dump", [*options, f"--file={target}"], BackupRefused)
    return head


def _place_sqlite(source: Path) -> None:
    target = Path(connection.settings_dict["NAME"])
    # An empty database that somebody opened leaves a file of nothing, with a log of nothing beside it.
    for leftover in (target, target.with_name(f"{target.name}-wal"), target.with_name(f"{target.name}-shm")):
        leftover.unlink(missing_ok=True)
    shutil.move(source, target)
    with target.open("rb") as file:
        os.fsync(file.fileno())


def _load_postgresql(source: Path) -> None:
    options = ["--exit-on-error", "--single-transaction", "--no-owner", "--no-privileges"]
    _run(
        "pg_restore",
        [*options, "--dbname", str(connection.settings_dict["NAME"])],
        RestoreRefused,
        [str(source)],
    )


def _run(
    tool: str,
    options: list[str],
    refusal: type[BackupRefused] | type[RestoreRefused],
    last: list[str] | None = None,
) -> None:
    """Run one of PostgreSQL's tools on the database of the settings; it meets the password in no argument."""
    settings = connection.settings_dict
    arguments, environ = DatabaseClient.settings_to_cmd_args_env(settings, [])
    # psql's own arguments end with the name of the database, which the tools take in ways of their own.
    arguments = [argument for argument in arguments[1:] if argument != settings["NAME"]]
    if last is None:
        last = [str(settings["NAME"])]
    try:
        done = subprocess.run(
            [tool, *arguments, *options, *last],
            env=os.environ | (environ or {}),
            capture_output=True,
            text=True,
        )
    except FileNotFoundError:
        raise refusal(
            f"There is no {tool} on this machine. It comes with PostgreSQL's client programs, "
            "of the server's version or newer."
        ) from None
    if done.returncode:
        raise refusal(f"{tool} failed: {done.stderr.strip()}")


def _read_head(select: Callable[[str], list[Any]]) -> Head:
    found = select("SELECT sequence, hash FROM inventory_chainhead WHERE id = 1") or [(0, FIRST_HASH)]
    [(entries,)] = select("SELECT count(*) FROM inventory_entry")
    [(movements,)] = select("SELECT count(*) FROM inventory_movement")
    applied = select("SELECT app, max(name) FROM django_migrations GROUP BY app ORDER BY app")
    sequence, digest = found[0]
    return Head(int(sequence), str(digest), entries, movements, [f"{app} {name}" for app, name in applied])
