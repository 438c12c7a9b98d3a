"""The life of a job: opened, approved, worked on, held, finished, closed."""

import uuid
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar

from django.db import transaction

from inventory.errors import BadInput, Fault, NotFound
from inventory.models import Actor, Material, Party, Place
from inventory.services.sealing import record_event
from jobs.errors import WorkRefused
from jobs.models import Job
from jobs.services.dropping_dates import DroppedStep, drop_dates
from jobs.services.estimates import freeze_estimate
from jobs.services.needs import write_needs_of_job

State = Job.State
Coded = TypeVar("Coded", Material, Party)
REFERENCE_LENGTH = 40
OVER_STATES = frozenset({State.CANCELLED, State.CLOSED})

# What may follow what. A job on hold goes on where it was held from, or is cancelled.
NEXT_STATES: dict[str, frozenset[str]] = {
    State.PLANNED: frozenset({State.APPROVED, State.ON_HOLD, State.CANCELLED}),
    State.APPROVED: frozenset({State.UNDER_WAY, State.ON_HOLD, State.CANCELLED}),
    State.UNDER_WAY: frozenset({State.ON_HOLD, State.FINISHED, State.CANCELLED}),
    State.ON_HOLD: frozenset({State.CANCELLED}),
    State.FINISHED: frozenset({State.UNDER_WAY, State.CLOSED}),
    State.CANCELLED: frozenset({State.CLOSED}),
    State.CLOSED: frozenset(),
}


class StateMayNotFollow(WorkRefused):
    """The job's state does not lead to the one asked for."""

    code = "state_may_not_follow"


class JobIsOver(WorkRefused):
    """The job was cancelled or closed and takes no more plans."""

    code = "job_is_over"


@dataclass(frozen=True)
class JobOpening:
    """How to make a job: codes as a person or another system gives them, empty for none."""

    name: str = ""
    customer_code: str = ""
    fibre_code: str = ""
    fibre_owner_code: str = ""


@transaction.atomic
def open_job(*, reference: str, opening: JobOpening | None = None) -> Job:
    """Make a planned job and its place. A reference that is taken is refused."""
    opening = opening or JobOpening()
    if not reference.strip() or ":" in reference or len(reference) > REFERENCE_LENGTH:
        message = f"is not a job reference; 1 to {REFERENCE_LENGTH} characters without a colon"
        raise BadInput.of([Fault("job", reference, message)])
    if Job.objects.filter(reference=reference).exists():
        raise BadInput.of([Fault("job", reference, "is the reference of a job already")])
    fibre = _find(Material, opening.fibre_code, "fibre")
    if fibre is not None and fibre.kind != Material.Kind.FIBRE:
        raise BadInput.of([Fault("fibre", fibre.code, f"is {fibre.get_kind_display()}, not fibre cable")])
    place = Place.objects.create(code=f"job:{reference}", name=f"Job {reference}", kind=Place.Kind.JOB)
    return Job.objects.create(
        reference=reference,
        name=opening.name,
        customer=_find(Party, opening.customer_code, "customer"),
        fibre=fibre,
        fibre_owner=_find(Party, opening.fibre_owner_code, "fibre owner"),
        place=place,
    )


@dataclass(frozen=True)
class JobChange:
    """A job as it stands now, and the steps that were taken off their days by it."""

    job: Job
    dropped: list[DroppedStep] = field(default_factory=list)


@transaction.atomic
def change_state(*, reference: str, state: str, by: Actor, occurred_at: datetime) -> JobChange:
    """Bring a job to another state, where that may follow; to the state it is in already is harmless.

    Approving freezes its estimate. A job that is held or cancelled drops its dates: what is still to be done
    leaves the days it was planned on, unless goods are loaded for them. What the days need is told to
    inventory anew.
    """
    # Not its key: whoever holds a day and writes rows that name the job is not made to wait for it.
    job = Job.objects.select_for_update(no_key=True).filter(reference=reference).first()
    if job is None:
        raise NotFound(f"There is no job {reference!r}.")
    if job.state == state:
        return JobChange(job)
    _refuse_unless_next(job, state)
    before = job.state
    job.held_from = before if state == State.ON_HOLD else ""
    job.state = state
    job.save(update_fields=["state", "held_from"])
    if state == State.APPROVED and before == State.PLANNED:
        freeze_estimate(job=job, by=by, occurred_at=occurred_at)
    dropped = drop_dates(job) if state in (State.ON_HOLD, State.CANCELLED) else []
    write_needs_of_job(job)
    record_event(
        id=uuid.uuid4(),
        kind="job_state_changed",
        occurred_at=occurred_at,
        body={
            "job": job.reference,
            "by": by.code,
            "from": before,
            "to": state,
            "dropped": [
                {"crew": step.crew, "date": step.date.isoformat(), "step": step.title} for step in dropped
            ],
        },
    )
    return JobChange(job, dropped)


def refuse_when_over(job: Job) -> None:
    """A cancelled or closed job takes no more plans."""
    if job.state in OVER_STATES:
        raise JobIsOver(f"Job {job} is {job.get_state_display()} and takes no more plans.")


def list_next_states(job: Job) -> list[str]:
    """The states that may follow, in the order of a job's life."""
    allowed = NEXT_STATES[job.state] | ({job.held_from} if job.held_from else frozenset())
    return [state for state in State.values if state in allowed]


def _refuse_unless_next(job: Job, state: str) -> None:
    if state not in State.values:
        raise BadInput.of([Fault("state", state, f"is none of: {', '.join(State.values)}")])
    allowed = list_next_states(job)
    if state not in allowed:
        shown = ", ".join(State(name).label for name in allowed) or "nothing"
        raise StateMayNotFollow(
            f"Job {job} is {job.get_state_display()}; {shown} may follow, not {State(state).label}."
        )


def _find(model: type[Coded], code: str, what: str) -> Coded | None:
    if not code:
        return None
    found = model._default_manager.filter(code=code).first()
    if found is None:
        raise BadInput.of([Fault(what, code, "is not known here")])
    return found
