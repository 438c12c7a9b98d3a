"""What will be needed, and what is promised."""

from django.db import models
from django.db.models import Q

from inventory.models.container import Container
from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place


class Requirement(models.Model):
    """So much of a material will be needed at a place on a day, and so much of it comes back.

    Written by whoever plans work, read by restocking, which does not know where it comes from:
    `reference` is the planner's own name for the cause and all it needs to replace its rows. Mean in
    millionths of the stock unit, variance in the square of the stock unit.
    """

    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="requirements")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="requirements")
    needed_date = models.DateField()
    mean = models.BigIntegerField()
    variance = models.FloatField(default=0.0)
    returned_material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    returned_mean = models.BigIntegerField(default=0)
    returned_variance = models.FloatField(default=0.0)
    returned_date = models.DateField(null=True)
    reference = models.CharField(max_length=120, db_index=True)
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(mean__gte=0, returned_mean__gte=0), name="required_amounts_are_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(variance__gte=0, returned_variance__gte=0),
                name="required_variances_are_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(returned_mean=0)
                | Q(returned_material__isnull=False, returned_date__isnull=False),
                name="what_comes_back_says_what_and_when",
            ),
        ]
        indexes = [models.Index(fields=["place", "material", "needed_date"], name="requirement_by_place")]

    def __str__(self) -> str:
        return f"{self.reference} {self.material_id}"


class Reservation(models.Model):
    """A container, or an amount of a material in a place, promised to one holder at a time.

    Ended by deletion: it is a promise about tomorrow, not a fact of the book.
    """

    holder = models.CharField(max_length=120, db_index=True)
    reference = models.CharField(max_length=120, db_index=True)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="reservations")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="reservations")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="reservations")
    quantity = models.BigIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="reserved_quantity_is_positive"),
            models.UniqueConstraint(
                fields=["container", "reference"],
                condition=Q(container__isnull=False),
                name="a_reference_reserves_a_container_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reference} {self.material_id}"
