"""What a crew told of its day: the report itself, and what is to be learnt anew because of it."""

from collections.abc import Iterable
from uuid import UUID, uuid5

from django.db import models
from django.db.models import F, Q

from inventory.models import Actor
from jobs.models.crew import CrewDay


class FieldReport(models.Model):
    """One report about one crew-day, taken once under the id its sender gave it.

    A crew-day may have many, from several devices. What it tells stands in the rows that name it and is
    never changed: a correction is another report that stands in its place. `postings` counts how often its
    goods were booked, since a late report of an earlier moment has those after it booked again.
    """

    uuid = models.UUIDField(unique=True)
    crew_day = models.ForeignKey(CrewDay, on_delete=models.PROTECT, related_name="reports", db_index=False)
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=100, blank=True)
    note = models.TextField(blank=True)
    fingerprint = models.CharField(max_length=64)
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="corrected_by")
    # Its entries are reversed and it counts for nothing; the report that corrects it stands in its place.
    is_undone = models.BooleanField(default=False)
    postings = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["occurred_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | ~Q(corrects=F("id")),
                name="a_report_does_not_correct_itself",
            )
        ]
        indexes = [
            models.Index(fields=["crew_day", "occurred_at"], name="report_by_crew_day"),
            # Each report asks whether it is a late one.
            models.Index(
                fields=["occurred_at"], condition=Q(is_undone=False), name="standing_report_by_time"
            ),
        ]

    def __str__(self) -> str:
        return str(self.uuid)

    @property
    def document(self) -> str:
        """The name under which the book keeps what this report moved."""
        return f"report:{self.uuid}"

    def standing_ids(self, fluid_codes: Iterable[str]) -> dict[str, UUID]:
        """By step, the ids under which its last posting may stand: nearly all of it in one entry.

        Recovered fluids beyond the first have an entry each, by their codes.
        """
        steps = ["book", *(f"caught:{code}" for code in sorted(set(fluid_codes)))]
        return {step: self.entry_id(f"{step}:{self.postings}") for step in steps}

    def entry_id(self, step: str) -> UUID:
        """The id of an entry this report makes, the same however often it is sent."""
        return uuid5(self.uuid, step)


class RefitRequest(models.Model):
    """Something that was learnt from reports is to be learnt again, because there are new ones.

    Written with the report, so that nothing is forgotten where a message is lost. One open request of a
    kind and subject is enough, however many reports ask for it.
    """

    kind = models.CharField(max_length=40)
    subject = models.CharField(max_length=120, blank=True)
    requested_at = models.DateTimeField()
    done_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["requested_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "subject"],
                condition=Q(done_at__isnull=True),
                name="one_open_request_of_a_kind_is_enough",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject}".strip()
