"""What can be held: fluids, projectiles, fittings, duct, fibre cable and shop supplies."""

from django.db import models
from django.db.models import Q


class Material(models.Model):
    """A kind of goods, counted in one stock unit for good.

    Quantities of it are whole millionths of `stock_unit`, so the unit cannot change once it has moved; a
    database trigger refuses that. What each kind needs stands in columns of this one table and is held by
    constraints: five tables of one or two columns each would make every list a join.

    Densities and diameters may be unknown, and CHECKs let null pass on purpose: a crew can use and report
    what the stores have not measured yet. A weighing then takes a usual density, less certain; a projectile
    without its diameter is chosen for the cable size that it names and for no other; masses stand as unknown.
    """

    class Kind(models.TextChoices):
        FLUID = "fluid", "fluid"
        PROJECTILE = "projectile", "projectile"
        FITTING = "fitting", "fitting"
        DUCT = "duct", "duct"
        FIBRE = "fibre", "fibre cable"
        SUPPLY = "supply", "shop supply"

    class FittingRole(models.TextChoices):
        PRESSURE_END = "pressure_end", "pressure-end fitting"
        EXIT_END = "exit_end", "exit fitting"
        UNION = "union", "union"
        SEAL = "seal", "seal"
        BLANK = "blank", "blank to adapt"

    class CostFormula(models.TextChoices):
        FIRST_IN_FIRST_OUT = "fifo", "first in, first out"
        WEIGHTED_AVERAGE = "weighted_average", "weighted average"
        SPECIFIC = "specific", "specific"

    # Lengths on a reel are not exchanged for one another: a run takes one piece. IAS 2.23 allows the cost of
    # the very reel there, and 2.24 nowhere where one piece is as good as another.
    NOT_INTERCHANGEABLE = frozenset({Kind.FIBRE, Kind.DUCT})

    code = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    stock_unit = models.CharField(max_length=10)
    cost_formula = models.CharField(
        max_length=16, choices=CostFormula.choices, default=CostFormula.WEIGHTED_AVERAGE
    )
    # Millionths of the currency per stock unit: what a unit costs where no receipt tells.
    standard_unit_cost = models.BigIntegerField(null=True)
    mass_kg_per_unit = models.FloatField(null=True)

    density_kg_per_m3 = models.FloatField(null=True)
    density_table = models.JSONField(default=list, blank=True)
    recovered_from = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, related_name="recovered_forms"
    )
    # Which share of its cost a recovered fluid brings back, in millionths.
    recovered_value_share = models.BigIntegerField(default=0)
    shelf_life_days = models.PositiveIntegerField(null=True)

    nominal_diameter_mm = models.FloatField(null=True)
    cable_size = models.CharField(max_length=8, blank=True)
    fitting_role = models.CharField(max_length=12, choices=FittingRole.choices, blank=True)
    is_reusable = models.BooleanField(default=False)
    inside_diameter_mm = models.FloatField(null=True)
    outside_diameter_mm = models.FloatField(null=True)
    fibre_count = models.PositiveIntegerField(null=True)

    is_hazardous = models.BooleanField(default=False)
    is_withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(kind="fluid") | Q(density_kg_per_m3__gt=0, stock_unit__in=["[gal_us]", "L"]),
                name="fluid_has_density_and_is_counted_by_volume",
            ),
            models.CheckConstraint(
                condition=~Q(kind="projectile") | Q(nominal_diameter_mm__gt=0, stock_unit="1"),
                name="projectile_has_diameter_and_is_counted_in_pieces",
            ),
            models.CheckConstraint(
                condition=~Q(kind="fitting") | (~Q(fitting_role="") & Q(stock_unit="1")),
                name="fitting_has_role_and_is_counted_in_pieces",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["duct", "fibre"])
                | Q(outside_diameter_mm__gt=0, stock_unit__in=["[ft_i]", "m"]),
                name="duct_and_fibre_have_diameter_and_are_counted_by_length",
            ),
            models.CheckConstraint(
                condition=Q(recovered_from__isnull=True) | Q(kind="fluid"),
                name="only_a_fluid_is_recovered_from_another",
            ),
            models.CheckConstraint(
                condition=Q(recovered_value_share__gte=0, recovered_value_share__lte=1_000_000),
                name="recovered_value_share_is_a_fraction",
            ),
            models.CheckConstraint(
                condition=Q(standard_unit_cost__isnull=True) | Q(standard_unit_cost__gte=0),
                name="standard_unit_cost_is_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return self.name
