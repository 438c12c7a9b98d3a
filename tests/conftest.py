"""What every test stands on: which database runs, and how the immutable book is emptied between tests."""

import fcntl
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connection, connections
from django.test import TransactionTestCase

from inventory.models.triggers import drop_triggers, make_triggers

ROOT = Path(__file__).resolve().parent.parent
VENDORS = {"postgresql": "PostgreSQL", "sqlite": "SQLite"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip what is written for the other database; the whole suite runs once on each."""
    for item in items:
        wanted = {vendor for vendor in VENDORS if item.get_closest_marker(vendor)}
        if wanted and connection.vendor not in wanted:
            names = " or ".join(VENDORS[vendor] for vendor in sorted(wanted))
            item.add_marker(pytest.mark.skip(reason=f"needs {names}; SPANSTOCK_DATABASE_URL names another"))


@pytest.fixture(scope="session", autouse=True)
def _triggers_lifted_for_flushing() -> Iterator[None]:
    """Let a test that commits be followed by an emptying of the tables, which the triggers would refuse.

    They are lifted at the very flush, so they stand throughout every test, and are made again here as well
    as by `post_migrate`, so that they stand in the next test even where a flush failed half way.
    """
    flush = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]

    def lift_and_flush(case: TransactionTestCase) -> None:
        names = type(case)._databases_names(include_mirrors=False)  # type: ignore[attr-defined]
        for name in names:
            drop_triggers(connections[name])
        try:
            flush(case)
        finally:
            for name in names:
                make_triggers(connections[name])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", lift_and_flush)
        yield


@pytest.fixture
def own_installation(tmp_path: Path) -> dict[str, str]:
    """Environment for a process of its own: an empty data directory with its own SQLite file.

    For tests that start `manage.py` or a server. Whatever database the suite runs on is not reachable
    from there, so such a test brings its own data.
    """
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SPANSTOCK_")}
    return kept | {
        "DJANGO_SETTINGS_MODULE": "api.config.settings",
        "SPANSTOCK_DATA_DIRECTORY": str(tmp_path / "data"),
        "PYTHONPATH": str(ROOT),
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
    }


@pytest.fixture(scope="session")
def migrated_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data directory with a migrated SQLite file, to be copied: migrating takes the longest of all.

    Made once for all processes of a run; whoever comes second waits for the first.
    """
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    data, is_whole = folder / "migrated" / "data", folder / "migrated" / "whole"
    is_whole.parent.mkdir(exist_ok=True)
    with (folder / "migrated" / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not is_whole.exists():
            environ = os.environ | {"SPANSTOCK_DATA_DIRECTORY": str(data), "SPANSTOCK_DATABASE_URL": ""}
            environ["DJANGO_SETTINGS_MODULE"] = "api.config.settings"
            command = [sys.executable, str(ROOT / "manage.py"), "migrate", "-v0"]
            subprocess.run(command, env=environ, check=True)
            is_whole.touch()
    return data
