"""Where goods can be: on our shelves, in the work, or outside our hands."""

from django.db import models


class Place(models.Model):
    """A place of one kind for good; a database trigger refuses a change of kind.

    The kind decides what may happen: a *stock* place never holds less than nothing; a *use* place tells
    what a job, run or span took; an *outside* place is the other side of a receipt, a loss or a
    correction and may show negative amounts; a *process* place is passed through by conversions.
    """

    class Kind(models.TextChoices):
        WAREHOUSE = "warehouse", "warehouse"
        BIN = "bin", "bin"
        VEHICLE = "vehicle", "vehicle"
        SITE = "site", "site"
        TRANSIT = "transit", "in transit"
        JOB = "job", "job"
        RUN = "run", "run"
        SPAN = "span", "span"
        SUPPLIER = "supplier", "supplier"
        CUSTOMER = "customer", "customer"
        PLANT = "plant", "left in the plant"
        WASTE = "waste", "waste"
        VARIANCE = "variance", "book difference"
        PRICE_VARIANCE = "price_variance", "price variance"
        WRITE_DOWN = "write_down", "write-down"
        PROCESS = "process", "conversion"

    STOCK_KINDS = frozenset({Kind.WAREHOUSE, Kind.BIN, Kind.VEHICLE, Kind.SITE, Kind.TRANSIT})
    USE_KINDS = frozenset({Kind.JOB, Kind.RUN, Kind.SPAN})

    code = models.CharField(max_length=160, unique=True)
    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=16, choices=Kind.choices)
    parent = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="parts")
    payload_kg = models.FloatField(null=True)
    is_withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(kind="bin") | models.Q(parent__isnull=False),
                name="bin_lies_in_a_place",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_stock(self) -> bool:
        """Whether goods here are ours to hand out."""
        return self.kind in self.STOCK_KINDS

    @property
    def is_use(self) -> bool:
        """Whether goods here are charged to work."""
        return self.kind in self.USE_KINDS

    @property
    def keeps_stock(self) -> bool:
        """Whether amounts here are kept from going below nothing and are valued by lot."""
        return self.is_stock or self.is_use
