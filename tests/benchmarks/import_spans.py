"""How long 100,000 spans take, how long they keep others from writing, and how much memory they need.

Run it by `python -m tests.benchmarks.import_spans [NUMBER]`. It makes a list and a SQLite database in a
temporary folder, imports the list, then imports it again as a revision with a few changes.
"""

import csv
import os
import random
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

SIZES = (".412", ".500", ".540", ".625", ".750", ".875")
SPANS_PER_RUN = 4
HEADER = ("Span", "Run", "Cable size", "Length (ft)", "From", "To", "From kind", "Slack (ft)", "Reference")


def write_list(path: Path, count: int, *, revision: int = 0) -> None:
    """Runs of four spans; in a revision one length in a thousand differs."""
    choose = random.Random(7)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEADER)
        for number in range(count):
            run, place = divmod(number, SPANS_PER_RUN)
            length = choose.randrange(120, 900) + (revision if number % 1000 == 0 else 0)
            writer.writerow(
                (
                    f"S{number:06}",
                    f"R{run:05}",
                    SIZES[run % len(SIZES)],
                    length,
                    f"P{run:05}-{place}",
                    f"P{run:05}-{place + 1}",
                    "pedestal" if place else "vault",
                    5,
                    f"D-{number:06}",
                )
            )


@contextmanager
def write_time() -> Iterator[dict[str, float]]:
    """From the moment the write lock is asked for."""
    from django.db import connection

    times: dict[str, float] = {}

    def watch(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        if sql.startswith("BEGIN"):
            times["begun"] = time.perf_counter()
        return execute(sql, params, many, context)

    with connection.execute_wrapper(watch):
        yield times


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SPANSTOCK_DATA_DIRECTORY"] = folder
        os.environ.pop("SPANSTOCK_DATABASE_URL", None)
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "api.config.settings")
        import django

        django.setup()
        from django.core.management import call_command
        from django.utils import timezone

        from inventory.models import Actor
        from jobs.services.job_life import JobOpening
        from jobs.services.spans import import_spans

        call_command("migrate", verbosity=0)
        actor = Actor.objects.create(code="benchmark", name="Benchmark", kind="system")
        for revision, what in enumerate(("first list", "revision", "no change")):
            path = Path(folder) / f"{what}.csv"
            write_list(path, count, revision=min(revision, 1))
            began = time.perf_counter()
            with write_time() as times:
                found = import_spans(
                    path=path,
                    job_reference="BENCH",
                    by=actor,
                    occurred_at=timezone.now(),
                    opening=JobOpening() if revision == 0 else None,
                )
            ended = time.perf_counter()
            writing = ended - times["begun"] if found.is_stored else 0.0
            difference = found.difference
            print(
                f"{what:10}  {count} spans  {ended - began:6.1f} s in all  {writing:6.1f} s in the write "
                f"transaction  {peak_mb():5.0f} MB at most  "
                f"(+{len(difference.added)} ~{len(difference.changed)} ={difference.unchanged_count})"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
