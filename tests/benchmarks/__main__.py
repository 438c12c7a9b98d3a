"""`python -m tests.benchmarks [NAME ...]`: run, print one table, exit 1 where a bound is broken."""

import argparse
import importlib
import os
import pkgutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import django
from rich.console import Console
from rich.table import Table

from tests.benchmarks.measurement import Measurement

OF_THE_PACKAGE = {"__main__", "measurement"}
COLUMNS = 110


def main(arguments: Sequence[str] | None = None) -> int:
    names = list_benchmarks()
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument(
        "name", nargs="*", choices=[[], *names], metavar="NAME", help="which to run; all if none is named"
    )
    parser.add_argument("--list", action="store_true", help="name the benchmarks and stop")
    options = parser.parse_args(arguments)
    if options.list:
        print("\n".join(names))
        return 0
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    django.setup()
    measured = [(name, found) for name in options.name or names for found in run_benchmark(name)]
    if not measured:
        print("There is no benchmark yet.")
        return 0
    Console(width=COLUMNS, highlight=False).print(lay_out(measured))
    return 0 if all(found.is_kept for _, found in measured) else 1


def list_benchmarks() -> list[str]:
    here = [str(Path(__file__).parent)]
    return sorted(module.name for module in pkgutil.iter_modules(here) if module.name not in OF_THE_PACKAGE)


def run_benchmark(name: str) -> list[Measurement]:
    with own_database():
        found: list[Measurement] = importlib.import_module(f"tests.benchmarks.{name}").main()
    return found


@contextmanager
def own_database() -> Iterator[None]:
    """An empty, migrated database that is gone afterwards; a file on SQLite, since memory is no measure."""
    from django.conf import settings
    from django.db import connection

    if connection.vendor == "sqlite":
        connection.settings_dict["TEST"]["NAME"] = str(settings.DATA_DIRECTORY / "benchmark.sqlite3")
    before = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(before, verbosity=0)


def lay_out(measured: Sequence[tuple[str, Measurement]]) -> Table:
    table = Table("benchmark", "what", "measured", "unit", "bound", "kept")
    for name, found in measured:
        is_kept = ("yes" if found.is_kept else "NO") if found.bound else ""
        table.add_row(name, found.what, _written(found.value), found.unit, found.bound, is_kept)
    return table


def _written(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"


if __name__ == "__main__":
    sys.exit(main())
