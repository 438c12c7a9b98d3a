"""How long 100,000 spans take, how long they keep others from writing, and how much memory they need.

The list is made in a temporary folder, imported, and imported again as a revision with a few changes.
"""

import csv
import random
import resource
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.benchmarks.measurement import Measurement

if TYPE_CHECKING:
    from inventory.models import Actor

SIZES = (".412", ".500", ".540", ".625", ".750", ".875")
SPANS = 100_000
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


def main() -> list[Measurement]:
    """A first list, then the same list with one length in a thousand changed."""
    from django.db import connection

    from inventory.models import Actor

    if connection.vendor != "sqlite":
        # There the write lock is asked for by a statement that can be seen.
        print("import_spans: needs SQLite")
        return []
    actor = Actor.objects.create(code="benchmark", name="Benchmark", kind="system")
    measured = []
    with tempfile.TemporaryDirectory() as folder:
        for revision, what in enumerate(("first list", "revision")):
            path = Path(folder) / f"{revision}.csv"
            write_list(path, SPANS, revision=revision)
            total, writing = _import(path, actor, is_first=revision == 0)
            measured += [
                Measurement(what=f"{what} of {SPANS} spans", value=total, unit="s", at_most=60),
                Measurement(what=f"{what}, write transaction", value=writing, unit="s"),
                Measurement(what=f"{what}, peak memory", value=peak_mb(), unit="MB", at_most=500),
            ]
    return measured


def _import(path: Path, actor: "Actor", *, is_first: bool) -> tuple[float, float]:
    from django.utils import timezone

    from jobs.services.job_life import JobOpening
    from jobs.services.spans import import_spans

    began = time.perf_counter()
    with write_time() as times:
        import_spans(
            path=path,
            job_reference="BENCH",
            by=actor,
            occurred_at=timezone.now(),
            opening=JobOpening() if is_first else None,
        )
    ended = time.perf_counter()
    return ended - began, ended - times["begun"]
