"""The limits that the company sets for its own work."""

from django.db import models
from django.db.models import Q


class CompanyRules(models.Model):
    """What the company allows itself before somebody is told; one row, editable.

    Where a limit is empty the company has set none: nothing is compared, and what reads it says so.
    """

    # Of fluid that nobody can account for on a crew-day: an amount, a share of what was injected, or both.
    unaccounted_limit_l = models.FloatField(null=True, default=20.0)
    unaccounted_limit_share = models.FloatField(null=True, default=0.05)
    # In the company's time zone: until then a day's reports are expected.
    report_cut_off_time = models.TimeField(null=True)
    # So many standard uncertainties above what was injected the recovered may lie before it is remarked on.
    recovered_coverage_factor = models.FloatField(default=2.0)
    # The true length of cable on a reel is at or slightly above what its marks tell (common practice: 1 %).
    mark_tolerance_fraction = models.FloatField(default=0.01)

    class Meta:
        verbose_name_plural = "company rules"
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="there_is_one_set_of_company_rules"),
            models.CheckConstraint(
                condition=(Q(unaccounted_limit_l__isnull=True) | Q(unaccounted_limit_l__gte=0))
                & (
                    Q(unaccounted_limit_share__isnull=True)
                    | Q(unaccounted_limit_share__gte=0, unaccounted_limit_share__lte=1)
                ),
                name="limits_of_unaccounted_fluid_are_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(recovered_coverage_factor__gte=0, mark_tolerance_fraction__gte=0),
                name="tolerances_are_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return "company rules"
