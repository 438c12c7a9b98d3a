"""What field reports have taught, as it was reckoned, with the period and number of its readings."""

from django.db import models
from django.db.models import Q

from jobs.models.cable import CableSize


class LearntFit(models.Model):
    """One fit of one subject over all cable sizes. Fits are added, never changed; the newest of each counts.

    A fit is made again when its readings or its prior have changed, and `inputs_hash` tells whether they
    have. Ratios are to the bore as found, shares to what was injected. Without any reading there is no fit:
    then the company's estimates hold.
    """

    class Subject(models.TextChoices):
        INJECTED = "injected_ratio", "injected over bore"
        CAUGHT = "caught_fraction", "caught of what was injected"
        RECOVERED = "recovered_fraction", "recovered of what was injected"
        PASSES = "passes", "projectiles of a run"
        FITTING_LOSS = "fitting_loss", "fittings lost in a use"

    subject = models.CharField(max_length=18, choices=Subject.choices)
    made_at = models.DateTimeField()
    inputs_hash = models.CharField(max_length=64)
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    reading_count = models.PositiveIntegerField()
    # What a reading covers: spans, runs for projectiles, uses for fittings.
    covered_count = models.PositiveIntegerField()
    prior = models.JSONField()
    between_sd = models.FloatField(null=True)
    within_sd = models.FloatField(null=True)
    # Between-size variance by each of the classical estimators, beside the fit's own; empty for one size.
    between_variances = models.JSONField(default=dict)

    class Meta:
        ordering = ["subject", "-made_at", "-pk"]
        indexes = [models.Index(fields=["subject", "-made_at"], name="newest_fit_of_a_subject")]
        constraints = [
            models.CheckConstraint(condition=Q(last_at__gte=models.F("first_at")), name="fit_has_a_period"),
            models.CheckConstraint(
                condition=Q(reading_count__gte=1, covered_count__gte=1), name="fit_has_readings"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_subject_display()}, {self.covered_count} until {self.last_at:%Y-%m-%d}"


class LearntSize(models.Model):
    """What a fit says of one cable size, or of a size never seen, where there is none.

    `mean` and `sd` are those of the next span (run, use) of the size; `mean_sd` is how unsure the size's own
    mean is, which all its spans of a day share. `low` and `high` hold nine of ten. Counts keep their
    parameters in `distribution`, so that a day of several runs is reckoned from them.
    """

    fit = models.ForeignKey(LearntFit, on_delete=models.CASCADE, related_name="sizes")
    cable_size = models.ForeignKey(CableSize, on_delete=models.PROTECT, null=True, related_name="+")
    covered_count = models.PositiveIntegerField(default=0)
    mean = models.FloatField()
    sd = models.FloatField()
    mean_sd = models.FloatField(default=0.0)
    low = models.FloatField()
    high = models.FloatField()
    distribution = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fit", "cable_size"],
                condition=Q(cable_size__isnull=False),
                name="fit_speaks_once_of_a_size",
            ),
            models.UniqueConstraint(
                fields=["fit"],
                condition=Q(cable_size__isnull=True),
                name="fit_speaks_once_of_sizes_never_seen",
            ),
            models.CheckConstraint(
                condition=Q(sd__gte=0, mean_sd__gte=0, low__lte=models.F("high")),
                name="what_is_learnt_has_a_spread",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fit.get_subject_display()} of {self.cable_size or 'a size never seen'}"
