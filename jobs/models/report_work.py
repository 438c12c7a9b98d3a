"""What a report tells of the work: attempts on spans, cleaning and blowing of runs, spans cut in two.

Lengths are whole micrometres, fluid whole millionths of its stock unit, pressures kPa, temperatures Celsius,
durations seconds. Only that something was done is required; whatever else is missing is unknown.
"""

from django.db import models
from django.db.models import Q

from inventory.models import Container, Instrument, Material
from jobs.models.cable import CableSize
from jobs.models.job import AccessPoint, Run, Span
from jobs.models.report import FieldReport


class SpanAttempt(models.Model):
    """One try at pushing the core out of a span. Only `all_out` makes the span extracted.

    `injected` is the best raw amount of fluid that went in, as it was metered or told; what a balance makes
    of it later is not kept here. As-found size, length and splices stand beside the design's.
    """

    class Outcome(models.TextChoices):
        ALL_OUT = "all_out", "all out"
        PART_OUT = "part_out", "part out"
        NO_MOVEMENT = "no_movement", "no movement"
        BROKEN_INSIDE = "broken_inside", "broken inside"
        CUT_BY_OTHERS = "cut_by_others", "cut by others"
        ABANDONED = "abandoned", "abandoned"

    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, related_name="attempts", db_index=False)
    position = models.PositiveIntegerField()
    span = models.ForeignKey(Span, on_delete=models.PROTECT, related_name="attempts")
    outcome = models.CharField(max_length=13, choices=Outcome.choices)
    pressure_end = models.ForeignKey(AccessPoint, on_delete=models.PROTECT, null=True, related_name="+")
    # The adapted fitting that was rigged at the pressure end.
    pressure_fitting_tag = models.CharField(max_length=40, blank=True)
    core_out_um = models.BigIntegerField(null=True)
    # The core as it came out of this span on the scale, where anybody weighed it.
    core_mass_kg = models.FloatField(null=True)
    meter = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, related_name="+")
    # Millionths of `meter_unit`; an unknown start makes the reading absent.
    meter_start = models.BigIntegerField(null=True)
    meter_end = models.BigIntegerField(null=True)
    meter_unit = models.CharField(max_length=10, blank=True)
    fluid = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    source_container = models.ForeignKey(
        Container, on_delete=models.PROTECT, null=True, related_name="attempts"
    )
    injected = models.BigIntegerField(null=True)
    injected_uncertainty = models.FloatField(null=True)
    pressure_kpa = models.FloatField(null=True)
    temperature_c = models.FloatField(null=True)
    duration_s = models.FloatField(null=True)
    was_leak_looked_for = models.BooleanField(null=True)
    as_found_size = models.ForeignKey(CableSize, on_delete=models.PROTECT, null=True, related_name="+")
    as_found_length_um = models.BigIntegerField(null=True)
    hidden_splices = models.PositiveIntegerField(null=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["report", "position"]
        constraints = [
            models.UniqueConstraint(fields=["report", "position"], name="attempts_of_a_report_are_in_order"),
            models.CheckConstraint(
                condition=Q(core_out_um__isnull=True) | Q(core_out_um__gte=0),
                name="core_came_out_or_did_not",
            ),
            models.CheckConstraint(
                condition=Q(injected__isnull=True) | Q(injected__gte=0, fluid__isnull=False),
                name="injected_fluid_is_known_and_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(as_found_length_um__isnull=True) | Q(as_found_length_um__gt=0),
                name="as_found_length_is_positive",
            ),
            models.CheckConstraint(
                condition=Q(meter_start__isnull=True, meter_end__isnull=True) | ~Q(meter_unit=""),
                name="meter_reading_has_a_unit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.report_id}/{self.position}"


class RunCleaning(models.Model):
    """Projectiles fired through a run on one day; several days of it add up.

    More may come out than was fired that day, namely what was left inside before. A run is cleaned once a
    row says it is clean.
    """

    report = models.ForeignKey(
        FieldReport, on_delete=models.PROTECT, related_name="cleanings", db_index=False
    )
    position = models.PositiveIntegerField()
    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="cleanings")
    # Empty also where something was fired of which the records know nothing; nothing is booked of it then.
    projectile = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    fired = models.PositiveIntegerField(null=True)
    retrieved = models.PositiveIntegerField(null=True)
    is_clean = models.BooleanField()
    pressure_kpa = models.FloatField(null=True)
    # Measured from the end the projectiles were fired into.
    stuck_at_um = models.BigIntegerField(null=True)
    were_both_ends_vented = models.BooleanField(null=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["report", "position"]
        constraints = [
            models.UniqueConstraint(fields=["report", "position"], name="cleanings_of_a_report_are_in_order"),
            models.CheckConstraint(
                condition=Q(stuck_at_um__isnull=True) | Q(stuck_at_um__gte=0),
                name="a_projectile_sticks_inside_the_run",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.report_id}/{self.position}"


class RunBlowing(models.Model):
    """Fibre blown into a run from a reel, by the marks on its jacket, in millionths of `mark_unit`.

    Marks are kept as they were read, in the direction they were read. The run is blown where `is_done`; a
    reel that ran short leaves it so only if somebody says so.
    """

    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, related_name="blowings", db_index=False)
    position = models.PositiveIntegerField()
    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="blowings")
    reel = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="blowings")
    mark_start = models.BigIntegerField(null=True)
    mark_end = models.BigIntegerField(null=True)
    mark_unit = models.CharField(max_length=10, blank=True)
    is_done = models.BooleanField()
    pressure_kpa = models.FloatField(null=True)
    # Measured from the end blown from.
    ran_short_at_um = models.BigIntegerField(null=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["report", "position"]
        constraints = [
            models.UniqueConstraint(fields=["report", "position"], name="blowings_of_a_report_are_in_order"),
            models.CheckConstraint(
                condition=Q(mark_start__isnull=True, mark_end__isnull=True)
                | (Q(reel__isnull=False) & ~Q(mark_unit="")),
                name="marks_are_those_of_a_reel_in_a_unit",
            ),
            models.CheckConstraint(
                condition=Q(ran_short_at_um__isnull=True) | Q(ran_short_at_um__gte=0),
                name="a_reel_runs_short_inside_the_run",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.report_id}/{self.position}"


class SpanSplit(models.Model):
    """A span cut in two at an access point that was found or dug in its middle.

    A span has one that counts; another may stand in a report that was undone.
    """

    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, related_name="splits")
    # The span as designed; what it was cut into names it in `split_from`.
    span = models.ForeignKey(Span, on_delete=models.PROTECT, related_name="splits")
    at_um = models.BigIntegerField()
    access_point = models.ForeignKey(AccessPoint, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["report", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(at_um__gt=0), name="a_span_is_cut_behind_its_near_end"),
        ]

    def __str__(self) -> str:
        return f"{self.span_id} at {self.at_um}"
