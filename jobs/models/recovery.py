"""How much comes back, and who or what begins to differ: results that a task keeps fresh."""

from django.db import models
from django.db.models import Q

from inventory.models import Actor, Material
from jobs.models.cable import CableSize
from jobs.models.crew import Crew


class RecoveryRate(models.Model):
    """Recovered over injected of one group of spans, with its interval; made anew by every refresh.

    Amounts are cubic metres at the reference temperature, of full extractions only. The interval is null
    where the readings are too few or too wild to bound it.
    """

    class Group(models.TextChoices):
        ALL = "all", "all"
        SIZE = "size", "cable size"
        FLUID = "fluid", "fluid"
        CREW = "crew", "crew"
        MONTH = "month", "month"

    group = models.CharField(max_length=5, choices=Group.choices)
    # The group's name: the designation, code or month ("2026-03"); empty for all.
    name = models.CharField(max_length=64, blank=True)
    readings = models.PositiveIntegerField()
    spans = models.PositiveIntegerField()
    injected_m3 = models.FloatField()
    recovered_m3 = models.FloatField()
    ratio = models.FloatField()
    low = models.FloatField(null=True)
    high = models.FloatField(null=True)
    confidence = models.FloatField()
    computed_at = models.DateTimeField()

    class Meta:
        ordering = ["group", "name"]
        constraints = [
            models.UniqueConstraint(fields=["group", "name"], name="a_group_has_one_recovery_rate"),
            models.CheckConstraint(
                condition=Q(low__isnull=True, high__isnull=True)
                | Q(low__isnull=False, high__isnull=False, low__lte=models.F("high")),
                name="recovery_interval_has_two_ends_or_none",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.group} {self.name}"


class RecoveryDrift(models.Model):
    """That a crew's or a size's recovery left its control chart. Stands until somebody has looked.

    The chart begins anew behind each reading at which it left. What nobody has looked at yet goes again
    where corrected reports no longer show it; what somebody looked at stays.
    """

    class Direction(models.TextChoices):
        UP = "up", "more comes back"
        DOWN = "down", "less comes back"

    group = models.CharField(max_length=5, choices=RecoveryRate.Group.choices)
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, null=True, related_name="+")
    cable_size = models.ForeignKey(CableSize, on_delete=models.PROTECT, null=True, related_name="+")
    fluid = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    direction = models.CharField(max_length=4, choices=Direction.choices)
    # Which reading it was: its date and a name that stays the same however often it is computed.
    reading = models.CharField(max_length=80)
    happened_at = models.DateTimeField()
    statistic = models.FloatField()
    limit = models.FloatField()
    found_at = models.DateTimeField()
    looked_at = models.DateTimeField(null=True)
    looked_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    finding = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["happened_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(group="crew", crew__isnull=False, cable_size__isnull=True)
                | Q(group="size", crew__isnull=True, cable_size__isnull=False),
                name="a_crew_or_a_size_drifts",
            ),
            models.UniqueConstraint(
                fields=["crew", "reading"],
                condition=Q(crew__isnull=False),
                name="a_crew_drifts_once_at_a_reading",
            ),
            models.UniqueConstraint(
                fields=["cable_size", "reading"],
                condition=Q(cable_size__isnull=False),
                name="a_size_drifts_once_at_a_reading",
            ),
            models.CheckConstraint(
                condition=Q(looked_at__isnull=True, looked_by__isnull=True)
                | (Q(looked_at__isnull=False, looked_by__isnull=False) & ~Q(finding="")),
                name="whoever_looked_at_a_drift_says_what_was_found",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.group} {self.reading}"
