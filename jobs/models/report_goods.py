"""What a report tells of goods: what was caught, what is left, pieces lost or worn, waste, losses.

Amounts are whole millionths of the material's stock unit; an amount that nobody told is empty. What was
entered is kept beside as text with its unit.
"""

from django.db import models
from django.db.models import Q

from inventory.models import Container, Instrument, Material, Movement, Party
from jobs.models.job import Run, Span
from jobs.models.report import FieldReport
from jobs.models.safety import Incident


class FluidCaught(models.Model):
    """Fluid that came back into a container: caught while the core moved, or swept out of a run.

    One drum may serve several spans; nobody is asked to split it. Without an amount it is what the
    container's reading says beyond what was in it. Where nobody knows which run it was swept out of, it came
    from the spans named or those worked that day.
    """

    class Kind(models.TextChoices):
        CAUGHT = "caught", "caught"
        SWEPT = "swept", "swept"

    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, related_name="caught", db_index=False)
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=6, choices=Kind.choices)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="caught")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    spans = models.ManyToManyField(Span, related_name="caught")
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="swept")
    amount = models.BigIntegerField(null=True)
    standard_uncertainty = models.FloatField(null=True)
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)

    class Meta:
        verbose_name_plural = "fluid caught"
        ordering = ["report", "position"]
        constraints = [
            models.UniqueConstraint(fields=["report", "position"], name="catches_of_a_report_are_in_order"),
            models.CheckConstraint(
                condition=Q(amount__isnull=True) | Q(amount__gte=0), name="caught_amount_is_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.report_id}/{self.position}"


class ContainerReading(models.Model):
    """What somebody read in a container, how, and what that amounts to.

    `value` and `unit` are what was read (a weight, a depth, quarters); `amount` what it amounts to at the
    reference temperature, with its standard uncertainty, in millionths. The book equals the reading of the
    end after the report; what was read at the start tells how much of the day's difference is older.
    """

    class Method(models.TextChoices):
        WEIGHED = "weighed", "weighed"
        METERED = "metered", "metered"
        DIPPED = "dipped", "dipped"
        QUARTERS = "quarters", "by eye in quarters"
        FULL = "full", "full"
        EMPTY = "empty", "empty"

    class Moment(models.TextChoices):
        START = "start", "start of the day"
        END = "end", "end of the day"

    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, related_name="readings", db_index=False)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="field_readings")
    moment = models.CharField(max_length=5, choices=Moment.choices, default=Moment.END)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    method = models.CharField(max_length=8, choices=Method.choices)
    value = models.CharField(max_length=40, blank=True)
    unit = models.CharField(max_length=10, blank=True)
    temperature_c = models.FloatField(null=True)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, related_name="+")
    amount = models.BigIntegerField()
    standard_uncertainty = models.FloatField()

    class Meta:
        ordering = ["report", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["report", "container", "moment"],
                name="a_container_is_read_once_at_each_end_of_a_report",
            ),
            models.CheckConstraint(
                condition=Q(amount__gte=0, standard_uncertainty__gte=0),
                name="what_was_read_is_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.container_id} {self.method}"


class PieceReport(models.Model):
    """Pieces or lengths that were installed, used up, worn or lost, at a span, at a run or just that day."""

    class Fate(models.TextChoices):
        INSTALLED = "installed", "installed"
        USED = "used", "used"
        WORN = "worn", "worn"
        LOST = "lost", "lost"

    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, related_name="pieces", db_index=False)
    position = models.PositiveIntegerField()
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    quantity = models.BigIntegerField()
    fate = models.CharField(max_length=9, choices=Fate.choices)
    span = models.ForeignKey(Span, on_delete=models.PROTECT, null=True, related_name="+")
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="+")
    # Of an adapted pressure fitting.
    tag = models.CharField(max_length=40, blank=True)
    cause = models.CharField(max_length=20, choices=Movement.Cause.choices, blank=True)

    class Meta:
        ordering = ["report", "position"]
        constraints = [
            models.UniqueConstraint(fields=["report", "position"], name="pieces_of_a_report_are_in_order"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="reported_pieces_are_some"),
            models.CheckConstraint(
                condition=Q(span__isnull=True) | Q(run__isnull=True), name="pieces_are_at_a_span_or_at_a_run"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.report_id}/{self.position}"


class WasteHandover(models.Model):
    """Fluid or goods handed over as waste from a container, against a manifest.

    A crew that cannot tell the number has handed it over all the same; a rule finds that it is missing.
    """

    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, related_name="waste", db_index=False)
    position = models.PositiveIntegerField()
    manifest_number = models.CharField(max_length=100, db_index=True)
    receiver = models.CharField(max_length=200, blank=True)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="waste_handovers")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    # Empty: all that was in it.
    amount = models.BigIntegerField(null=True)
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)

    class Meta:
        ordering = ["report", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["report", "position"], name="waste_handovers_of_a_report_are_in_order"
            ),
            models.CheckConstraint(
                condition=Q(amount__isnull=True) | Q(amount__gt=0), name="waste_handed_over_is_some"
            ),
        ]

    def __str__(self) -> str:
        return self.manifest_number


class ReportedLoss(models.Model):
    """Something that was lost, with its cause and, where somebody else has to pay for it, who.

    Without an amount the loss is known to have happened but not how much it was; the book then shows it
    with what nobody can account for.
    """

    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, related_name="losses", db_index=False)
    position = models.PositiveIntegerField()
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+")
    amount = models.BigIntegerField(null=True)
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)
    cause = models.CharField(max_length=20, choices=Movement.Cause.choices)
    span = models.ForeignKey(Span, on_delete=models.PROTECT, null=True, related_name="losses")
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="losses")
    # Whether all of it was held back from the ground; None where nobody said.
    is_contained = models.BooleanField(null=True)
    liable_party = models.ForeignKey(Party, on_delete=models.PROTECT, null=True, related_name="+")
    incident = models.ForeignKey(Incident, on_delete=models.PROTECT, null=True, related_name="losses")
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        verbose_name_plural = "reported losses"
        ordering = ["report", "position"]
        constraints = [
            models.UniqueConstraint(fields=["report", "position"], name="losses_of_a_report_are_in_order"),
            models.CheckConstraint(
                condition=Q(amount__isnull=True) | Q(amount__gt=0), name="reported_loss_is_some"
            ),
            models.CheckConstraint(
                condition=Q(span__isnull=True) | Q(run__isnull=True), name="a_loss_is_at_a_span_or_at_a_run"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.report_id}/{self.position}"
