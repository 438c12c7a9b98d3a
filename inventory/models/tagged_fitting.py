"""Pressure fittings adapted by ourselves: each is one piece with a tag, a maker, a checker and a past."""

from django.db import models
from django.db.models import F, Q

from inventory.models.actor import Actor
from inventory.models.material import Material
from inventory.models.place import Place
from inventory.models.supply import Recipe


class TaggedFitting(models.Model):
    """One adapted fitting under its tag.

    Whoever made it has not checked it. `approved_pressure_kpa` is what safety approved for this piece; where
    it is empty no pressure is approved. The fitting is counted in the book with the others of its material:
    the tag adds which piece it is, not another piece. Once withdrawn it does not come back.
    """

    class State(models.TextChoices):
        IN_SERVICE = "in_service", "in service"
        WITHDRAWN = "withdrawn", "withdrawn"

    tag = models.CharField(max_length=40, unique=True)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="tagged_fittings")
    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, null=True, related_name="+")
    # Names, since a hand in the workshop may have no name in the ledger.
    made_by = models.CharField(max_length=200)
    checked_by = models.CharField(max_length=200)
    made_date = models.DateField()
    approved_pressure_kpa = models.FloatField(null=True)
    approved_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="tagged_fittings")
    state = models.CharField(max_length=10, choices=State.choices, default=State.IN_SERVICE)
    # Held back by whoever watches over safety: in service, and not to be rigged until it is given free.
    is_held = models.BooleanField(default=False)
    # How many times it was rigged: before it was registered here and since.
    uses = models.PositiveIntegerField(default=0)
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["tag"]
        constraints = [
            models.CheckConstraint(condition=~Q(tag=""), name="tagged_fitting_has_a_tag"),
            models.CheckConstraint(
                condition=~Q(made_by="") & ~Q(checked_by="") & ~Q(made_by=F("checked_by")),
                name="a_fitting_is_checked_by_another_than_made_it",
            ),
            models.CheckConstraint(
                condition=(Q(approved_pressure_kpa__isnull=True) & Q(approved_by__isnull=True))
                | Q(approved_pressure_kpa__gt=0, approved_by__isnull=False),
                name="an_approved_pressure_of_a_fitting_has_an_approver",
            ),
            models.CheckConstraint(
                condition=Q(state="in_service", withdrawn_at__isnull=True, withdrawn_why="")
                | (Q(state="withdrawn", withdrawn_at__isnull=False) & ~Q(withdrawn_why="")),
                name="a_withdrawn_fitting_says_when_and_why",
            ),
        ]

    def __str__(self) -> str:
        return self.tag


class FittingInspection(models.Model):
    """A look at a fitting before it is rigged. One that was not passed stands until one is."""

    fitting = models.ForeignKey(TaggedFitting, on_delete=models.PROTECT, related_name="inspections")
    uuid = models.UUIDField(unique=True)
    inspected_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    is_passed = models.BooleanField()
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["fitting", "inspected_at", "pk"]

    def __str__(self) -> str:
        return f"{self.fitting_id} {self.inspected_at}"


class FittingRigging(models.Model):
    """A fitting was rigged once; `reference` is the teller's name of the occasion, so a repeat adds none."""

    fitting = models.ForeignKey(TaggedFitting, on_delete=models.PROTECT, related_name="riggings")
    rigged_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    reference = models.CharField(max_length=120)

    class Meta:
        ordering = ["fitting", "rigged_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["fitting", "reference"], name="an_occasion_rigs_a_fitting_once")
        ]

    def __str__(self) -> str:
        return f"{self.fitting_id} {self.reference}"


class TaggedFittingPolicy(models.Model):
    """Up to when the company uses a tagged fitting; one row. What is empty has no limit, and says so."""

    most_uses = models.PositiveIntegerField(null=True)
    longest_age_days = models.PositiveIntegerField(null=True)
    # For how long an inspection holds, as long as nobody has rigged the fitting since.
    inspection_holds_days = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "tagged fitting policies"
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="there_is_one_tagged_fitting_policy"),
            models.CheckConstraint(
                condition=Q(most_uses__isnull=True) | Q(most_uses__gt=0), name="a_limit_of_uses_is_positive"
            ),
        ]

    def __str__(self) -> str:
        return "tagged fitting policy"
