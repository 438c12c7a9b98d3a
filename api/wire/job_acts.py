"""The life of jobs, for every door: approved, begun, held, taken up again, cancelled, finished, closed."""

from typing import Any

from api.wire.acts import Act, Asker
from api.wire.calculations.fields import Choice, Record
from api.wire.kits import comes_back_body
from api.wire.schemas import DAY, TEXT, listing, of, shape, words
from jobs.models import Job
from jobs.queries.access import get_visible_job, require_may_plan
from jobs.queries.come_back import list_goods_to_come_back
from jobs.services.job_life import change_state

Json = dict[str, Any]
COMPONENTS = {
    "JobChange": shape(
        reference=TEXT,
        state=words(Job.State),
        dropped=listing(shape(crew=TEXT, date=DAY, title=TEXT)),
        to_come_back=listing(of("ComesBack")),
    ),
}


def _change_state(values: Json, asker: Asker) -> Json:
    job = get_visible_job(asker.viewer, values["reference"])
    require_may_plan(asker.viewer)
    changed = change_state(reference=job.reference, state=values["state"], by=asker.by, occurred_at=asker.now)
    stands = get_visible_job(asker.viewer, job.reference)
    is_cancelled = stands.state == Job.State.CANCELLED
    return {
        "reference": stands.reference,
        "state": stands.state,
        "dropped": [
            {"crew": step.crew, "date": step.date.isoformat(), "title": step.title}
            for step in changed.dropped
        ],
        "to_come_back": comes_back_body(list_goods_to_come_back(stands)) if is_cancelled else [],
    }


CHANGE_STATE = Act(
    name="change_job_state",
    summary=(
        "Bring a job to another state; approving freezes its estimate. On hold or cancelled its steps leave "
        "their days, where nothing is loaded for them yet, and a cancelled job lists what must come back. "
        "To the state that it is in is harmless."
    ),
    record=Record(fields={"state": Choice(options=tuple(Job.State.values))}),
    request="JobStateRequest",
    answer="JobChange",
    do=_change_state,
    status=200,
    names=("reference",),
)
ACTS = (CHANGE_STATE,)
