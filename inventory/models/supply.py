"""From whom goods come, on what terms, and what we make ourselves."""

from django.db import models
from django.db.models import Q

from inventory.models.material import Material
from inventory.models.party import Party


class SupplyTerms(models.Model):
    """What a supplier asks for a material and how long it takes to come.

    Amounts in millionths of the stock unit, cost in millionths of the currency per stock unit.
    `unit_cost` holds below the first price break; `line_cost` is asked once for each order line, whatever
    its quantity. The lead time is what the supplier states: what receipts teach of it is not kept here but
    worked out from them, so that it cannot disagree with them.
    """

    class Discount(models.TextChoices):
        ALL_UNITS = "all_units", "the whole quantity at the price reached"
        INCREMENTAL = "incremental", "each part at its own price"

    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="supply_terms")
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="supply_terms")
    unit_cost = models.BigIntegerField()
    lead_time_days = models.FloatField()
    lead_time_sd_days = models.FloatField(default=0.0)
    pack = models.BigIntegerField(default=1_000_000)
    minimum = models.BigIntegerField(default=0)
    discount = models.CharField(max_length=12, choices=Discount.choices, default=Discount.ALL_UNITS)
    line_cost = models.BigIntegerField(default=0)
    # How long the goods keep from the day they come; nothing where they keep, or the material says it.
    shelf_life_days = models.PositiveIntegerField(null=True)

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
            models.CheckConstraint(
                condition=Q(line_cost__gte=0), name="cost_of_an_order_line_is_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.supplier_id} {self.material_id}"


class PriceBreak(models.Model):
    """From this quantity on the price is another: rising quantities, whatever the prices do.

    That they rise is held by the service that writes all of a terms' breaks at once; here each quantity
    stands once.
    """

    terms = models.ForeignKey(SupplyTerms, on_delete=models.CASCADE, related_name="breaks")
    from_quantity = models.BigIntegerField()
    unit_cost = models.BigIntegerField()

    class Meta:
        ordering = ["terms", "from_quantity"]
        constraints = [
            models.UniqueConstraint(fields=["terms", "from_quantity"], name="a_quantity_has_one_price"),
            models.CheckConstraint(
                condition=Q(from_quantity__gt=0, unit_cost__gte=0), name="price_break_is_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.terms_id} {self.from_quantity}"


class SupplierTerms(models.Model):
    """What a supplier asks for an order as a whole, shared by its lines. Millionths of the currency."""

    supplier = models.OneToOneField(Party, on_delete=models.PROTECT, related_name="order_terms")
    order_cost = models.BigIntegerField(default=0)
    least_order_value = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(order_cost__gte=0, least_order_value__gte=0),
                name="terms_of_an_order_are_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.supplier_id}"


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
