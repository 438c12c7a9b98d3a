"""What the company reckons with before it has learnt better."""

from django.db import models
from django.db.models import F, Q

from inventory.models import Material

# Probabilities of 1, 2, 3, ... projectiles to clean a run. Three to four clean it, the last one only shows
# that it is dry (common practice, no source): half and half.
USUAL_PASSES = (0.0, 0.0, 0.5, 0.5)


class EstimatingPolicy(models.Model):
    """The company's defaults for estimates and kits; one row, editable.

    Where the trade has no public figure these are estimates without a source: 85 to 98 % of what was
    injected comes back, read here as two standard deviations to either side of 0.915; a quarter of the
    returned volume as bypass. Shares are of what was injected, ratios of the bore volume.
    """

    injected_ratio_mean = models.FloatField(default=1.25)
    injected_ratio_sd = models.FloatField(default=0.15)
    caught_fraction_mean = models.FloatField(default=0.2)
    caught_fraction_sd = models.FloatField(default=0.08)
    recovered_fraction_mean = models.FloatField(default=0.915)
    recovered_fraction_sd = models.FloatField(default=0.0325)
    # What of the returned fluid may be injected again on the same day: none, since it is strained first.
    reusable_fraction = models.FloatField(default=0.0)
    # What of the returned fluid is fit for use again after straining and testing, for planning stock.
    fit_again_fraction = models.FloatField(default=0.9)
    set_up_volume_l = models.FloatField(default=2.0)
    quantile = models.FloatField(default=0.9)
    sets_in_use = models.PositiveIntegerField(default=1)
    fitting_loss_probability = models.FloatField(default=0.02)
    # Like `USUAL_PASSES`, which hold while this is empty.
    passes_per_run = models.JSONField(default=list, blank=True)
    # A projectile is so much wider than the bore; others within the tolerance may serve.
    projectile_oversize = models.FloatField(default=0.15)
    projectile_oversize_tolerance = models.FloatField(default=0.1)
    tail_m = models.FloatField(default=15.0)
    # For each access point where the list names no slack of its own.
    slack_m = models.FloatField(default=0.0)
    fibre_allowance_fraction = models.FloatField(default=0.02)
    # Cable over bore by area; 60 to 70 % at most (common practice).
    largest_fill_ratio = models.FloatField(default=0.7)
    catch_fill_limit = models.FloatField(default=0.95)
    fluid = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    # The company's own sentences, shown after the usual cautions.
    cautions = models.JSONField(default=list, blank=True)

    class Meta:
        verbose_name_plural = "estimating policies"
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="there_is_one_estimating_policy"),
            models.CheckConstraint(
                condition=Q(injected_ratio_mean__gte=1, injected_ratio_sd__gte=0),
                name="a_span_takes_at_least_its_bore",
            ),
            models.CheckConstraint(
                condition=Q(
                    caught_fraction_mean__gte=0,
                    caught_fraction_mean__lte=F("recovered_fraction_mean"),
                    recovered_fraction_mean__lte=1,
                    caught_fraction_sd__gte=0,
                    recovered_fraction_sd__gte=0,
                ),
                name="caught_is_part_of_recovered_and_no_more_than_all_comes_back",
            ),
            models.CheckConstraint(
                condition=Q(
                    reusable_fraction__gte=0,
                    reusable_fraction__lte=1,
                    fit_again_fraction__gte=0,
                    fit_again_fraction__lte=1,
                    fitting_loss_probability__gte=0,
                    fitting_loss_probability__lte=1,
                    largest_fill_ratio__gt=0,
                    largest_fill_ratio__lte=1,
                    catch_fill_limit__gt=0,
                    catch_fill_limit__lte=1,
                ),
                name="shares_lie_between_nothing_and_all",
            ),
            models.CheckConstraint(
                condition=Q(quantile__gt=0, quantile__lt=1), name="quantile_lies_between_never_and_always"
            ),
            models.CheckConstraint(
                condition=Q(
                    set_up_volume_l__gte=0,
                    sets_in_use__gte=1,
                    tail_m__gte=0,
                    slack_m__gte=0,
                    fibre_allowance_fraction__gte=0,
                    projectile_oversize__gte=0,
                    projectile_oversize_tolerance__gte=0,
                ),
                name="allowances_are_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return "estimating policy"

    @property
    def passes(self) -> tuple[float, ...]:
        """The probabilities of 1, 2, 3, ... projectiles to clean a run."""
        return tuple(self.passes_per_run) or USUAL_PASSES
