"""What becomes of a kit: what was loaded for it, and which lists the warehouse has printed."""

from django.db import models
from django.db.models import Q

from inventory.models import Actor, Container, Entry, Material, Party, Place
from jobs.models.crew import CrewDay


class KitLoad(models.Model):
    """Goods that went onto the truck for one crew-day, in one entry of the book.

    A kit is loaded in as many goes as it takes. What is still to take is never kept: it is the need less
    what is on the truck. So a plan that changes afterwards keeps what is loaded, and an entry that is
    reversed needs nothing undone here.
    """

    crew_day = models.ForeignKey(CrewDay, on_delete=models.PROTECT, related_name="loads")
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="kit_load")
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.crew_day_id} {self.entry_id}"


class KitLoadLine(models.Model):
    """One container, or one amount of a material, of a load. Quantity in millionths of the stock unit.

    An empty vessel has a container and neither material nor quantity. What the sheet had not named was
    taken for a reason; `instead_of` says for what, by label or code, as the person wrote it.
    """

    load = models.ForeignKey(KitLoad, on_delete=models.CASCADE, related_name="lines")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+")
    quantity = models.BigIntegerField()
    source_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+", db_index=False)
    instead_of = models.CharField(max_length=64, blank=True)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(material__isnull=False, quantity__gt=0)
                | Q(material__isnull=True, container__isnull=False, quantity=0),
                name="a_load_line_is_goods_or_an_empty_vessel",
            ),
            models.CheckConstraint(
                condition=Q(instead_of="") | ~Q(reason=""), name="a_substitution_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.load_id} {self.material_id or self.container_id}"


class PickListPrint(models.Model):
    """A warehouse's list for one day as it was printed, so that the next one can say what has changed.

    `lines` is a list of plain rows, each with the key by which it is compared; it is a picture of what stood
    on paper and never read as stock.
    """

    warehouse = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+", db_index=False)
    date = models.DateField()
    number = models.PositiveIntegerField()
    printed_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+", db_index=False)
    lines = models.JSONField(default=list)

    class Meta:
        ordering = ["warehouse", "date", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["warehouse", "date", "number"], name="prints_of_a_day_are_numbered"
            ),
            models.CheckConstraint(condition=Q(number__gte=1), name="prints_are_numbered_from_one"),
        ]

    def __str__(self) -> str:
        return f"{self.warehouse_id} {self.date} {self.number}"
