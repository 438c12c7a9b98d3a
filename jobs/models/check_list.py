"""What a crew takes along that no step uses up: its protection, and the gear that is nobody's stock."""

from django.db import models
from django.db.models import Q

from inventory.models import Material


class Occasion(models.TextChoices):
    """On which days a thing is taken along."""

    ALWAYS = "always", "every day"
    EXTRACT = "extract", "days with a span to extract"
    CLEAN = "clean", "days with a run to clean"
    BLOW = "blow", "days with a run to blow"
    AIR = "air", "days with a run to clean or blow"
    VAULT = "vault", "days with a vault to enter"


class CheckListItem(models.Model):
    """Gear that is looked for before leaving and not kept as stock: pump, hoses, gas tester.

    The list is the company's to edit; an item that is no longer used is withdrawn, so that an old print can
    still be read.
    """

    name = models.CharField(max_length=80, unique=True)
    detail = models.CharField(max_length=200, blank=True)
    occasion = models.CharField(max_length=8, choices=Occasion.choices, default=Occasion.ALWAYS)
    sequence = models.PositiveIntegerField(default=100)
    is_withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["sequence", "name"]
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="a_check_list_item_has_a_name")]

    def __str__(self) -> str:
        return self.name


class ProtectiveEquipment(models.Model):
    """What protects the crew on a day. With a material it is counted into the kit, else it is looked for.

    `pieces` is for the whole crew and day, whatever the number of people: a company sets it for its crews.
    """

    name = models.CharField(max_length=80, unique=True)
    occasion = models.CharField(max_length=8, choices=Occasion.choices, default=Occasion.ALWAYS)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    pieces = models.PositiveIntegerField(default=1)
    sequence = models.PositiveIntegerField(default=100)
    is_withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["sequence", "name"]
        verbose_name_plural = "protective equipment"
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="protective_equipment_has_a_name"),
            models.CheckConstraint(condition=Q(pieces__gte=1), name="protective_equipment_is_one_or_more"),
        ]

    def __str__(self) -> str:
        return self.name
