"""What the company sets for its kits, beside what it estimates."""

from django.db import models
from django.db.models import Q

from inventory.models import Material


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
    # Whether recovered fluid that passed is taken before new.
    is_recovered_first = models.BooleanField(default=True)

    # What is bought where clean empty vessels to catch into are short, and what one of them holds; with no
    # material the sheet says what is short, and nothing is ordered. 208.2 L: ISO 20848-2, nominal.
    vessel_material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    vessel_capacity_l = models.FloatField(default=208.2)

    # An end of fibre that is shorter serves hardly any run any more (an estimate, no source).
    useful_remnant_m = models.FloatField(default=60.0)
    # What using a reel weighs when runs are allotted, in any one unit: one on the truck comes along anyway,
    # an open one is used up before a sealed one, one from another place has to be brought (estimates).
    truck_reel_cost = models.PositiveIntegerField(default=1)
    open_reel_cost = models.PositiveIntegerField(default=3)
    sealed_reel_cost = models.PositiveIntegerField(default=20)
    distant_reel_cost = models.PositiveIntegerField(default=200)

    # Fittings of which every piece carries a tag: one without is not planned, since nobody counts its uses.
    tagged_materials = models.ManyToManyField(Material, related_name="+")

    class Meta:
        verbose_name_plural = "kit policies"
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="there_is_one_kit_policy"),
            models.CheckConstraint(
                condition=Q(stub_m__gte=0, hose_and_tank_l__gte=0),
                name="kit_allowances_are_not_negative",
            ),
            models.CheckConstraint(condition=Q(vessel_capacity_l__gt=0), name="a_vessel_holds_something"),
            models.CheckConstraint(condition=Q(useful_remnant_m__gte=0), name="a_remnant_is_not_negative"),
            models.CheckConstraint(
                condition=Q(
                    truck_reel_cost__gte=1,
                    open_reel_cost__gte=1,
                    sealed_reel_cost__gte=1,
                    distant_reel_cost__gte=1,
                ),
                name="every_reel_costs_something",
            ),
            models.CheckConstraint(condition=Q(lifting_limit_kg__gt=0), name="somebody_can_lift_something"),
        ]

    def __str__(self) -> str:
        return "kit policy"
