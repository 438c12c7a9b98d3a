"""What goods stand in: drums, totes, pails, truck tanks, reels, and lots that have no vessel."""

from math import ceil, floor

from django.db import models
from django.db.models import Q

from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place
from inventory.units import conversion_factor, get_unit

# A vessel that takes any fluid is measured in litres, whatever the fluids are counted in.
UNIT_OF_ANY_FLUID = "L"


class Container(models.Model):
    """A labelled vessel, reel or lot with one owner.

    Where a vessel or reel stands is `place`, and all it holds is there. A lot has no place of its own: it
    may lie in many. How much it holds is not kept here but in the holdings, so that it cannot disagree
    with the ledger.
    """

    class Kind(models.TextChoices):
        DRUM = "drum", "drum"
        TOTE = "tote", "tote"
        PAIL = "pail", "pail"
        TRUCK_TANK = "truck_tank", "truck tank"
        REEL = "reel", "reel"
        LOT = "lot", "lot"

    class State(models.TextChoices):
        SEALED = "sealed", "sealed"
        OPEN = "open", "open"
        CLEAN = "clean", "clean and empty"
        HELD = "held", "held back"
        GONE = "gone", "gone"

    class ContentsState(models.TextChoices):
        FRESH = "fresh", "fresh"
        CAUGHT = "caught", "caught"
        STRAINED = "strained", "strained"
        TESTED = "tested", "tested"
        FIT = "fit", "fit for use"
        SPENT = "spent", "spent"

    label = models.CharField(max_length=64, unique=True)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    # What it is meant for. A vessel without a material takes any fluid while it is empty.
    material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="containers")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="containers")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="containers")
    # The lot it was filled from, for tracing; its cost goes by the material's cost formula.
    filled_from = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="fills")
    state = models.CharField(max_length=8, choices=State.choices, default=State.SEALED)
    contents_state = models.CharField(
        max_length=8, choices=ContentsState.choices, default=ContentsState.FRESH
    )
    received_at = models.DateTimeField(null=True)
    best_before_date = models.DateField(null=True)
    # Millionths of `measure_unit`.
    capacity = models.BigIntegerField(null=True)
    heel = models.BigIntegerField(default=0)
    tare_kg = models.FloatField(null=True)
    # Length marks on a reel's jacket, millionths of `mark_unit`; the inner one may be unknown.
    outer_mark = models.BigIntegerField(null=True)
    inner_mark = models.BigIntegerField(null=True)
    mark_unit = models.CharField(max_length=10, blank=True)
    # When the stores last read the marks; the one that work has left outside since, where it took a length.
    marks_read_at = models.DateTimeField(null=True)
    work_mark = models.BigIntegerField(null=True)
    # The length that the maker or supplier states, millionths of `mark_unit`; it seldom is that of the marks.
    stated_length = models.BigIntegerField(null=True)

    class Meta:
        ordering = ["label"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(kind="lot") & Q(place__isnull=True)) | (~Q(kind="lot") & Q(place__isnull=False)),
                name="all_but_lots_stand_somewhere",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["lot", "reel"]) | Q(material__isnull=False),
                name="lots_and_reels_have_a_material",
            ),
            models.CheckConstraint(
                condition=Q(capacity__isnull=True) | Q(capacity__gt=0), name="capacity_is_positive"
            ),
            models.CheckConstraint(condition=Q(heel__gte=0), name="heel_is_not_negative"),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def measure_unit(self) -> str:
        """The unit in which capacity and heel are kept."""
        return self.material.stock_unit if self.material is not None else UNIT_OF_ANY_FLUID

    def capacity_in(self, unit: str) -> int | None:
        """How much it takes, in millionths of a unit, rounded down.

        None where nobody has measured it, or where the unit measures something else, such as pieces.
        """
        if self.capacity is None or get_unit(unit).dimension != get_unit(self.measure_unit).dimension:
            return None
        return floor(self.capacity * conversion_factor(self.measure_unit, unit))

    def capacity_for(self, material: Material) -> int | None:
        """How much of a material it takes; its own material's unit needs no look-up."""
        return self.capacity if self.material_id == material.pk else self.capacity_in(material.stock_unit)

    def heel_for(self, material: Material) -> int:
        """What of a material no pump lifts out of it, in millionths of its stock unit, rounded up."""
        if not self.heel or self.material_id == material.pk:
            return self.heel
        if get_unit(material.stock_unit).dimension != get_unit(self.measure_unit).dimension:
            return 0
        return ceil(self.heel * conversion_factor(self.measure_unit, material.stock_unit))

    @property
    def mark_outside(self) -> int | None:
        """The mark at which the reel stands: that of the last length taken, else as the stores read it."""
        return self.outer_mark if self.work_mark is None else self.work_mark

    @property
    def stands_somewhere(self) -> bool:
        """Whether it is one object in one place, unlike a lot."""
        return self.kind != self.Kind.LOT
