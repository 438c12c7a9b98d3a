"""Freezing what a job is expected to cost, at its approval."""

from datetime import datetime

from inventory.models import Actor, Party
from jobs.models import EstimateLine, Job, JobEstimate
from jobs.queries.job_estimate import estimate_job


def freeze_estimate(*, job: Job, by: Actor, occurred_at: datetime) -> JobEstimate:
    """Write down what the job is expected to take, at what units cost now, in the caller's transaction."""
    estimate = JobEstimate.objects.create(job=job, frozen_at=occurred_at, frozen_by=by)
    if not Party.objects.filter(is_company=True).exists():
        # Nobody's goods could be meant yet.
        return estimate
    EstimateLine.objects.bulk_create(
        EstimateLine(
            estimate=estimate,
            material=line.material,
            owner=line.owner,
            quantity=line.quantity,
            comes_back=line.comes_back,
            unit_cost=line.unit_cost,
            recovered_share=line.recovered_share,
            why=line.why,
        )
        for line in estimate_job(job)
    )
    return estimate
