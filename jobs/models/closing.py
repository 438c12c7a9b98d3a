"""Closings of periods that workers carry out, and what each job had cost by then."""

from django.db import models
from django.db.models import Q

from inventory.models import AccountingPeriod, Actor
from jobs.models.job import Job


class PeriodClosing(models.Model):
    """A closing that somebody asked for; a worker locks the days and then states the jobs' costs.

    Whoever works on it writes until when it is theirs; if they are lost, it falls free at that moment. From
    the lock on the days are closed, whatever becomes of the rest: `period` says that they are. What can be
    refused only when it is its turn stands in `refusal`.
    """

    uuid = models.UUIDField(unique=True)
    last_date = models.DateField()
    remark = models.CharField(max_length=500, blank=True)
    asked_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    period = models.OneToOneField(
        AccountingPeriod, on_delete=models.PROTECT, null=True, related_name="closing"
    )
    is_stock_stated = models.BooleanField(default=False)
    job_count = models.PositiveIntegerField(default=0)
    jobs_done = models.PositiveIntegerField(default=0)
    # The last job whose cost was stated: jobs are taken by their keys.
    last_job = models.BigIntegerField(default=0)
    taken_until = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    refusal_code = models.CharField(max_length=60, blank=True)
    refusal = models.TextField(blank=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(refusal_code="") | Q(finished_at__isnull=False), name="a_refused_closing_is_over"
            ),
        ]
        indexes = [
            models.Index(
                fields=["id"], condition=Q(finished_at__isnull=True), name="closings_waiting_to_be_done"
            )
        ]

    def __str__(self) -> str:
        return f"until {self.last_date}"


class PeriodJobCost(models.Model):
    """What a job's places were worth in the book at the end of a closed period, and what came within it.

    In millionths of the currency. Jobs that no value has reached have no row.
    """

    period = models.ForeignKey(
        AccountingPeriod, on_delete=models.PROTECT, related_name="job_costs", db_index=False
    )
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="period_costs")
    change = models.BigIntegerField()
    cost = models.BigIntegerField()

    class Meta:
        ordering = ["period", "job"]
        constraints = [
            models.UniqueConstraint(fields=["period", "job"], name="a_period_states_a_job_once"),
        ]

    def __str__(self) -> str:
        return f"{self.period_id} {self.job_id}"
