"""The sizes of the old cable: what is pushed out of them and what a sheath holds."""

from django.db import models
from django.db.models import F, Q


class CableSize(models.Model):
    """A size of trunk or feeder cable by its designation, the outside diameter in inches (".500").

    The thirteen that are shipped are editable defaults, recalled nominal values, and say how sound they
    are. A company measures its own cable: the measured bore wins over the nominal one.
    """

    class Confidence(models.TextChoices):
        SOUND = "sound", "sound"
        MEDIUM = "medium", "medium"
        WEAK = "weak", "weak: measure before use"

    designation = models.CharField(max_length=8, unique=True)
    outside_diameter_mm = models.FloatField()
    wall_mm = models.FloatField()
    nominal_bore_mm = models.FloatField()
    confidence = models.CharField(max_length=6, choices=Confidence.choices)
    measured_bore_mm = models.FloatField(null=True)

    class Meta:
        ordering = ["nominal_bore_mm"]
        constraints = [
            models.CheckConstraint(
                condition=Q(designation__regex=r"^[0-9]*\.[0-9]{3}$"),
                name="designation_is_a_decimal_of_three_places",
            ),
            models.CheckConstraint(condition=Q(wall_mm__gt=0), name="sheath_has_a_wall"),
            models.CheckConstraint(
                condition=Q(nominal_bore_mm__gt=0, nominal_bore_mm__lt=F("outside_diameter_mm")),
                name="bore_is_inside_the_sheath",
            ),
            models.CheckConstraint(
                condition=Q(measured_bore_mm__isnull=True)
                | Q(measured_bore_mm__gt=0, measured_bore_mm__lt=F("outside_diameter_mm")),
                name="measured_bore_is_inside_the_sheath",
            ),
        ]

    def __str__(self) -> str:
        return self.designation

    @property
    def bore_mm(self) -> float:
        """The bore to reckon with: as measured, else nominal."""
        return self.nominal_bore_mm if self.measured_bore_mm is None else self.measured_bore_mm
