"""Job, run, span and access point by the names a sender gave, among what it may see."""

from typing import Any

from inventory.errors import BadInput, Fault
from jobs.queries.access import (
    WorkViewer,
    visible_access_points,
    visible_jobs,
    visible_runs,
    visible_spans,
)


def find_work(
    viewer: WorkViewer, *, job: str = "", run: str = "", span: str = "", access_point: str = ""
) -> dict[str, Any]:
    """The records of these names, None for what was not named; what is not seen is answered as not there."""
    found: dict[str, Any] = {"job": None, "run": None, "span": None, "access_point": None}
    wanted = {"run": run, "span": span, "access_point": access_point}
    if not job:
        if any(wanted.values()):
            raise BadInput.of([Fault("/job", "", "is missing; its parts are named with it")])
        return found
    found["job"] = visible_jobs(viewer).filter(reference=job).first()
    if found["job"] is None:
        raise BadInput.of([Fault("/job", job, "is no job that is known here")])
    rows = {"run": visible_runs, "span": visible_spans, "access_point": visible_access_points}
    faults = []
    for noun, name in wanted.items():
        if not name:
            continue
        found[noun] = rows[noun](viewer).filter(job=found["job"], name=name).first()
        if found[noun] is None:
            faults.append(Fault(f"/{noun}", name, "is no such part of that job"))
    if faults:
        raise BadInput.of(faults)
    return found
