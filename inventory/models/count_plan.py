"""What is counted how often, the sheets that counters take along, and what they found."""

from django.db import models
from django.db.models import Q

from inventory.models.actor import Actor
from inventory.models.container import Container
from inventory.models.entry import Entry
from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place


class CountPlan(models.Model):
    """How a warehouse is counted: classes by the value of a year's use, each with its rule.

    One plan for a place, its bins with it. Which material is in which class is worked out when asked, since
    it changes with every draw.
    """

    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="count_plan")
    # How many days of use are looked back on.
    days_of_use = models.PositiveIntegerField(default=365)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(days_of_use__gte=1), name="count_plan_looks_back"),
        ]

    def __str__(self) -> str:
        return f"{self.place_id}"


class CountRule(models.Model):
    """How often a class is counted, and which difference asks for a second count.

    A difference is within limits where it is within the share of the book's quantity *or* within the value:
    a single seal is not counted twice for being a tenth of ten. `upto_share` is the cumulative share of value
    that the class reaches, in millionths; the last class reaches all.
    """

    plan = models.ForeignKey(CountPlan, on_delete=models.CASCADE, related_name="rules")
    letter = models.CharField(max_length=1)
    upto_share = models.PositiveIntegerField()
    counts_per_year = models.PositiveIntegerField()
    # Millionths of the book's quantity, and of the currency.
    limit_share = models.PositiveIntegerField()
    limit_value = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["plan", "letter"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "letter"], name="a_class_has_one_rule"),
            models.CheckConstraint(
                condition=Q(upto_share__gt=0, upto_share__lte=1_000_000, limit_share__lte=1_000_000),
                name="shares_of_a_count_rule_are_fractions",
            ),
            models.CheckConstraint(condition=Q(limit_value__gte=0), name="limit_value_is_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.plan_id} {self.letter}"


class CountSheet(models.Model):
    """What is to be counted, without what the book says of it.

    Made, counted (perhaps twice), then posted or dropped; nothing reaches the book before it is posted.
    """

    class State(models.TextChoices):
        OPEN = "open", "to be counted"
        POSTED = "posted", "posted"
        DROPPED = "dropped", "dropped"

    uuid = models.UUIDField(unique=True)
    reference = models.CharField(max_length=40, unique=True)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="count_sheets")
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=500, blank=True)
    fingerprint = models.CharField(max_length=64)
    # Hash of what it was posted with; empty until then.
    posted_fingerprint = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["place", "state"], name="count_sheet_by_place")]

    def __str__(self) -> str:
        return self.reference


class CountSheetLine(models.Model):
    """One holding to count. The limits stand as they were when the sheet was made.

    `is_found` marks what a counter came across that the sheet did not ask for.
    """

    sheet = models.ForeignKey(CountSheet, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+")
    count_class = models.CharField(max_length=1, blank=True)
    limit_share = models.PositiveIntegerField()
    limit_value = models.BigIntegerField()
    is_found = models.BooleanField(default=False)
    reason = models.CharField(max_length=500, blank=True)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, null=True, related_name="sheet_lines")

    class Meta:
        ordering = ["sheet", "position"]
        constraints = [
            models.UniqueConstraint(fields=["sheet", "position"], name="lines_of_a_sheet_differ"),
        ]

    def __str__(self) -> str:
        return f"{self.sheet_id}/{self.position}"


class LineCount(models.Model):
    """What one person found of one line at one moment, and how.

    Whoever counted last does not count the next round. `book_quantity` is what the book said of that moment
    when the count came in; nobody who still counts is shown it.
    """

    uuid = models.UUIDField(unique=True)
    line = models.ForeignKey(CountSheetLine, on_delete=models.PROTECT, related_name="counts")
    round = models.PositiveIntegerField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    counted_at = models.DateTimeField()
    quantity = models.BigIntegerField()
    book_quantity = models.BigIntegerField()
    # Standard uncertainty in millionths of the stock unit; nothing for pieces that were counted.
    standard_uncertainty = models.FloatField(default=0.0)
    method = models.CharField(max_length=12, default="counted")
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)
    note = models.CharField(max_length=500, blank=True)
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["line", "round"]
        constraints = [
            models.UniqueConstraint(fields=["line", "round"], name="a_round_counts_a_line_once"),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="line_count_is_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.line_id} {self.round}"
