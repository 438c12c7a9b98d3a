"""What the company sets for its kits, beside what it estimates."""

from django.db import models
from django.db.models import Q


class KitPolicy(models.Model):
    """The company's settings for kits; one row, editable.

    Where the trade has no public figure these are estimates without a source.
    """

    # Closing the ends of a run that waits for its fibre, and the short ends of duct left at them.
    seals_per_run = models.PositiveIntegerField(default=2)
    stub_m = models.FloatField(default=0.9144)
    # What stays in the hoses and the pump's tank at the day's end: carried along, never injected.
    hose_and_tank_l = models.FloatField(default=0.0)
    # The most that one person should lift under the best of conditions (NIOSH 94-110: 23 kg, from memory).
    lifting_limit_kg = models.FloatField(default=23.0)
    # Dielectric and centre conductor together, of the volume of the bore (an estimate, no source).
    core_density_kg_per_m3 = models.FloatField(default=400.0)
    # Whether recovered fluid that passed is taken before new.
    is_recovered_first = models.BooleanField(default=True)

    class Meta:
        verbose_name_plural = "kit policies"
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="there_is_one_kit_policy"),
            models.CheckConstraint(
                condition=Q(stub_m__gte=0, hose_and_tank_l__gte=0, core_density_kg_per_m3__gte=0),
                name="kit_allowances_are_not_negative",
            ),
            models.CheckConstraint(condition=Q(lifting_limit_kg__gt=0), name="somebody_can_lift_something"),
        ]

    def __str__(self) -> str:
        return "kit policy"
