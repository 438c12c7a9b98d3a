"""What keeps people safe: approved pressures, what a rule found, and what went wrong."""

from django.db import models
from django.db.models import F, Q

from inventory.models import Actor, Container, Material, Movement, Party, TaggedFitting
from jobs.models.crew import CrewDay
from jobs.models.job import AccessPoint, Job, Run, Span


class PressureLimit(models.Model):
    """The pressure that safety approved for a purpose; the last one that was not withdrawn holds.

    A row is never changed but for its withdrawal, so that a reading can be held against the limit of its
    own day. Where none stands, no limit is approved; nothing here permits anybody to pressurise anything.
    """

    class Purpose(models.TextChoices):
        EXTRACTION = "extraction", "extraction"
        AIR_CLEANING = "air_cleaning", "air cleaning"
        BLOWING = "blowing", "blowing"

    uuid = models.UUIDField(unique=True)
    purpose = models.CharField(max_length=12, choices=Purpose.choices)
    limit_kpa = models.FloatField()
    entered_value = models.CharField(max_length=40)
    entered_unit = models.CharField(max_length=10)
    # What is weakest under that pressure: which hose, which fitting.
    weakest_part = models.CharField(max_length=300)
    approved_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["purpose", "approved_at"]
        constraints = [
            models.CheckConstraint(condition=Q(limit_kpa__gt=0), name="approved_pressure_is_above_nothing"),
            models.CheckConstraint(condition=~Q(weakest_part=""), name="a_limit_names_the_weakest_part"),
            models.UniqueConstraint(
                fields=["purpose"],
                condition=Q(withdrawn_at__isnull=True),
                name="one_limit_holds_for_a_purpose",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True, withdrawn_by__isnull=True)
                | Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False),
                name="a_limit_is_withdrawn_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.purpose} {self.limit_kpa}"


class RuleFinding(models.Model):
    """A rule of the trade met what was told: a warning, or a stop for what follows.

    `uuid` is made of the report, the rule and its subject, so a report that is sent again finds nothing
    anew. It ends in one of three ways: *lifted* by a person with a reason, *settled* by a later report that
    put right the facts it stood on, or *overtaken* where the report was corrected and the rule only warned.
    A stop is never lifted by whoever caused it.
    """

    class Severity(models.TextChoices):
        WARNING = "warning", "warning"
        STOP = "stop", "stop"

    uuid = models.UUIDField(unique=True)
    rule = models.CharField(max_length=60)
    severity = models.CharField(max_length=7, choices=Severity.choices)
    # The rule's sentence with the numbers of the day, as it was read then.
    sentence = models.CharField(max_length=500)
    report = models.ForeignKey(
        "jobs.FieldReport", on_delete=models.PROTECT, null=True, related_name="findings"
    )
    crew_day = models.ForeignKey(CrewDay, on_delete=models.PROTECT, null=True, related_name="findings")
    span = models.ForeignKey(Span, on_delete=models.PROTECT, null=True, related_name="findings")
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="findings")
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="findings")
    fitting = models.ForeignKey(TaggedFitting, on_delete=models.PROTECT, null=True, related_name="findings")
    facts = models.JSONField(default=dict)
    caused_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    found_at = models.DateTimeField()
    lifted_at = models.DateTimeField(null=True)
    lifted_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    lift_reason = models.CharField(max_length=500, blank=True)
    settled_at = models.DateTimeField(null=True)
    overtaken_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["found_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True, lifted_by__isnull=True, lift_reason="")
                | (Q(lifted_at__isnull=False, lifted_by__isnull=False) & ~Q(lift_reason="")),
                name="a_finding_is_lifted_by_somebody_for_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(lifted_by__isnull=True) | Q(severity="warning") | ~Q(lifted_by=F("caused_by")),
                name="a_stop_is_not_lifted_by_whoever_caused_it",
            ),
            models.CheckConstraint(
                condition=Q(overtaken_at__isnull=True) | Q(severity="warning"),
                name="a_stop_is_not_overtaken_by_a_correction",
            ),
        ]
        indexes = [
            models.Index(
                fields=["run"],
                condition=Q(severity="stop", lifted_at__isnull=True, settled_at__isnull=True),
                name="open_stop_by_run",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rule} {self.uuid}"

    @property
    def is_open(self) -> bool:
        """Whether it still stands: neither lifted nor settled nor overtaken."""
        return self.lifted_at is None and self.settled_at is None and self.overtaken_at is None


class Incident(models.Model):
    """Something went wrong: what, when, where, how much, and who was told when.

    Amounts are millionths of the material's stock unit, an estimate with its interval. Nothing of it is
    changed but what is added by `told`, the facts that come to be known, and its closing.
    """

    class Kind(models.TextChoices):
        SPILL = "spill", "spill"
        FLUID_IN_THE_GROUND = "fluid_in_the_ground", "fluid in the ground"
        INJURY = "injury", "injury"
        BURST = "burst", "burst or sudden release"
        STUCK_PROJECTILE = "stuck_projectile", "projectile stuck"
        DAMAGE = "damage", "damage"
        THEFT = "theft", "theft"
        UNACCOUNTED = "unaccounted", "fluid unaccounted for"
        OTHER = "other", "other"

    uuid = models.UUIDField(unique=True)
    fingerprint = models.CharField(max_length=64)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    report = models.ForeignKey(
        "jobs.FieldReport", on_delete=models.PROTECT, null=True, related_name="incidents"
    )
    crew_day = models.ForeignKey(CrewDay, on_delete=models.PROTECT, null=True, related_name="incidents")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, related_name="incidents")
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="incidents")
    span = models.ForeignKey(Span, on_delete=models.PROTECT, null=True, related_name="incidents")
    access_point = models.ForeignKey(
        AccessPoint, on_delete=models.PROTECT, null=True, related_name="incidents"
    )
    material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    amount = models.BigIntegerField(null=True)
    amount_low = models.BigIntegerField(null=True)
    amount_high = models.BigIntegerField(null=True)
    # None where nobody has said yet.
    is_contained = models.BooleanField(null=True)
    # Who was told and when: a list of {"who", "at", "how"}.
    told = models.JSONField(default=list, blank=True)
    cause = models.CharField(max_length=20, choices=Movement.Cause.choices, blank=True)
    liable_party = models.ForeignKey(Party, on_delete=models.PROTECT, null=True, related_name="+")
    note = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    closing_note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["occurred_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amount__isnull=True, amount_low__isnull=True, amount_high__isnull=True)
                | Q(
                    material__isnull=False,
                    amount__isnull=False,
                    amount_low__isnull=False,
                    amount_high__isnull=False,
                    amount_low__gte=0,
                    amount_low__lte=F("amount"),
                    amount__lte=F("amount_high"),
                ),
                name="an_amount_lies_within_its_interval_and_is_of_a_material",
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True, closing_note="")
                | (Q(closed_at__isnull=False, closed_by__isnull=False) & ~Q(closing_note="")),
                name="an_incident_is_closed_by_somebody_with_a_note",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.uuid}"
