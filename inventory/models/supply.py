"""From whom goods come, on what terms, and what we make ourselves."""

from django.db import models
from django.db.models import Q

from inventory.models.material import Material
from inventory.models.party import Party


class SupplyTerms(models.Model):
    """What a supplier asks for a material and how long it takes to come.

    Amounts in millionths of the stock unit, cost in millionths of the currency per stock unit.
    """

    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="supply_terms")
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="supply_terms")
    unit_cost = models.BigIntegerField()
    lead_time_days = models.FloatField()
    lead_time_sd_days = models.FloatField(default=0.0)
    pack = models.BigIntegerField(default=1_000_000)
    minimum = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["material", "supplier"], name="a_supplier_has_one_set_of_terms_for_a_material"
            ),
            models.CheckConstraint(
                condition=Q(unit_cost__gte=0, minimum__gte=0, pack__gt=0), name="terms_are_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(lead_time_days__gte=0, lead_time_sd_days__gte=0),
                name="lead_time_is_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.supplier_id} {self.material_id}"


class Recipe(models.Model):
    """How one thing is made of others: a splice adapted to an exit fitting, a fluid strained or blended."""

    code = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)

    def __str__(self) -> str:
        return self.name


class RecipeLine(models.Model):
    """An amount that goes in or comes out per making, in millionths of the material's stock unit."""

    recipe = models.ForeignKey(Recipe, on_delete=models.CASCADE, related_name="lines")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    quantity = models.BigIntegerField()
    is_output = models.BooleanField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="recipe_quantity_is_positive"),
            models.UniqueConstraint(
                fields=["recipe", "material", "is_output"], name="recipe_names_a_material_once_a_side"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.recipe_id} {self.material_id}"
