"""Who works, and what they do on which day."""

from django.db import models
from django.db.models import Q

from inventory.models import Place
from jobs.models.job import Run, Span


class Crew(models.Model):
    """People who work together from one truck. Which truck and which warehouse may differ by the day."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=200)
    vehicle = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="+")
    warehouse = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code

    @property
    def holder(self) -> str:
        """The name under which inventory knows to whom something is promised."""
        return f"crew:{self.code}"


class CrewDay(models.Model):
    """What one crew does on one day of the company's calendar, from one vehicle, its kit from one place."""

    class State(models.TextChoices):
        PLANNED = "planned", "planned"
        AGREED = "agreed", "agreed"
        LOADED = "loaded", "loaded"
        OUT = "out", "out"
        SETTLED = "settled", "settled"

    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="days", db_index=False)
    date = models.DateField(db_index=True)
    vehicle = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    warehouse = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=8, choices=State.choices, default=State.PLANNED)

    class Meta:
        ordering = ["date", "crew"]
        constraints = [models.UniqueConstraint(fields=["crew", "date"], name="a_crew_has_one_plan_a_day")]

    def __str__(self) -> str:
        return f"{self.crew_id} {self.date}"

    @property
    def requirement_reference(self) -> str:
        """The name under which inventory knows what this day needs."""
        return f"crew-day:{self.pk}"


class CrewDayStep(models.Model):
    """One step in the order of work: a span is extracted, a run cleaned or blown.

    A step that is not done is planned on one day only; one that was done stays for the record.
    """

    class Kind(models.TextChoices):
        EXTRACT = "extract", "extract span"
        CLEAN = "clean", "clean run"
        BLOW = "blow", "blow run"

    crew_day = models.ForeignKey(CrewDay, on_delete=models.CASCADE, related_name="steps", db_index=False)
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=7, choices=Kind.choices)
    span = models.ForeignKey(Span, on_delete=models.PROTECT, null=True, related_name="steps")
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="steps")
    done_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["crew_day", "position"]
        constraints = [
            models.UniqueConstraint(fields=["crew_day", "position"], name="a_crew_does_one_step_at_a_time"),
            models.CheckConstraint(
                condition=Q(kind="extract", span__isnull=False, run__isnull=True)
                | Q(kind__in=["clean", "blow"], span__isnull=True, run__isnull=False),
                name="spans_are_extracted_and_runs_cleaned_and_blown",
            ),
            models.UniqueConstraint(
                fields=["span"],
                condition=Q(span__isnull=False, done_at__isnull=True),
                name="a_span_is_planned_on_one_day",
            ),
            models.UniqueConstraint(
                fields=["run", "kind"],
                condition=Q(run__isnull=False, done_at__isnull=True),
                name="a_step_on_a_run_is_planned_on_one_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.crew_day_id}/{self.position}"
