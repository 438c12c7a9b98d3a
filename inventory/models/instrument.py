"""What is read with: scales, meters, dip sticks, gauges and thermometers, and their checks."""

from functools import reduce
from operator import or_

from django.db import models
from django.db.models import F, Q

from inventory.models.actor import Actor
from inventory.models.place import Place

UNITS_OF_KIND: dict[str, list[str]] = {
    "scale": ["kg", "g", "[lb_av]"],
    "meter": ["L", "m3", "[gal_us]", "[gal_br]"],
    "dip_stick": ["L", "[gal_us]", "[gal_br]"],
    "gauge": ["kPa", "bar", "[psi]"],
    "thermometer": ["Cel", "[degF]"],
}


class Instrument(models.Model):
    """One instrument by the tag on it, with what tells how far to trust it.

    `resolution` is the step it shows, in its unit; `accuracy_class` the largest error it may have, in percent
    of what it reads. A meter's class is an error it carries all day, so two readings of one meter err
    together; the resolution errs anew each time. Withdrawn instruments stay, because readings point at them.
    """

    class Kind(models.TextChoices):
        SCALE = "scale", "scale"
        METER = "meter", "flow meter"
        DIP_STICK = "dip_stick", "dip stick"
        GAUGE = "gauge", "pressure gauge"
        THERMOMETER = "thermometer", "thermometer"

    tag = models.CharField(max_length=64, unique=True)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    unit = models.CharField(max_length=10)
    resolution = models.FloatField(null=True)
    accuracy_class = models.FloatField(null=True)
    # The vehicle that carries it; none for one that lies in a drawer or goes from truck to truck.
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="instruments")
    is_withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["tag"]
        constraints = [
            models.CheckConstraint(condition=~Q(tag=""), name="instrument_has_a_tag"),
            models.CheckConstraint(
                condition=reduce(
                    or_, (Q(kind=kind, unit__in=units) for kind, units in UNITS_OF_KIND.items())
                ),
                name="instrument_reads_in_a_unit_of_its_kind",
            ),
            models.CheckConstraint(
                condition=Q(resolution__isnull=True) | Q(resolution__gt=0),
                name="resolution_is_positive",
            ),
            models.CheckConstraint(
                condition=Q(accuracy_class__isnull=True) | Q(accuracy_class__gt=0, accuracy_class__lt=100),
                name="accuracy_class_is_a_percentage",
            ),
        ]

    def __str__(self) -> str:
        return self.tag


class InstrumentCheck(models.Model):
    """One check of an instrument against something better: when, by whom, what it was found to read.

    `drift_fraction` is what it reads too high as it left the check, as a share of the reading; later readings
    are put right by it. None where nobody wrote it down. After `due_date` a reading is worth less. Checks add
    up and are not changed: a wrong one is followed by another.
    """

    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, related_name="checks", db_index=False
    )
    checked_date = models.DateField()
    due_date = models.DateField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    drift_fraction = models.FloatField(null=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["instrument", "checked_date"]
        constraints = [
            models.UniqueConstraint(
                fields=["instrument", "checked_date"], name="an_instrument_is_checked_once_a_day"
            ),
            models.CheckConstraint(condition=Q(due_date__gt=F("checked_date")), name="a_check_holds_a_while"),
            models.CheckConstraint(
                condition=Q(drift_fraction__isnull=True) | Q(drift_fraction__gt=-0.5, drift_fraction__lt=0.5),
                name="drift_is_less_than_half_the_reading",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.instrument_id} {self.checked_date}"
