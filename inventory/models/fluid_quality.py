"""What is known of recovered fluid: how it came back, what was measured in it, what it was passed for."""

from django.db import models
from django.db.models import F, Q

from inventory.models.actor import Actor
from inventory.models.container import Container
from inventory.models.entry import Entry
from inventory.models.material import Material


class FluidPolicy(models.Model):
    """What the company allows with one recovered fluid. Without a row nothing is allowed untested.

    `most_uses` is how often fluid may have gone through a span when it is passed untested, the first
    time as fresh fluid included: 1 lets a catch of fresh fluid go in once more, and that catch no more.
    """

    material = models.OneToOneField(Material, on_delete=models.PROTECT, related_name="fluid_policy")
    may_reuse_same_day = models.BooleanField(default=False)
    most_uses = models.PositiveIntegerField(default=1)
    # How long a test speaks for the fluid; for ever where it is not said.
    test_valid_days = models.PositiveIntegerField(null=True)

    class Meta:
        verbose_name_plural = "fluid policies"

    def __str__(self) -> str:
        return str(self.material)


class FluidLimit(models.Model):
    """Between which values a property of a recovered fluid must lie to be fit for use.

    Set by the safety role. A new limit withdraws the one before it, so that a test of long ago can be read
    beside what held then. Its values are measured properties, not quantities of the book.
    """

    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="fluid_limits")
    measured = models.CharField(max_length=60)
    unit = models.CharField(max_length=20, blank=True)
    lowest = models.FloatField(null=True)
    highest = models.FloatField(null=True)
    approved_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["material", "measured", "approved_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["material", "measured"],
                condition=Q(withdrawn_at__isnull=True),
                name="one_limit_holds_for_a_property_of_a_fluid",
            ),
            models.CheckConstraint(
                condition=Q(lowest__isnull=False) | Q(highest__isnull=False), name="fluid_limit_has_an_end"
            ),
            models.CheckConstraint(
                condition=Q(lowest__isnull=True) | Q(highest__isnull=True) | Q(lowest__lte=F("highest")),
                name="fluid_limit_is_not_upside_down",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.material_id} {self.measured}"


class FluidCatch(models.Model):
    """How one entry brought fluid back into a container: caught while the core moved, or swept out later.

    Beside the immutable movement, which says how much. What was swept is wetter and dirtier and is kept
    apart; a vessel into which both went counts as swept.
    """

    class Kind(models.TextChoices):
        CAUGHT = "caught", "caught"
        SWEPT = "swept", "swept"

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="fluid_catches")
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="fluid_catches")
    kind = models.CharField(max_length=6, choices=Kind.choices)

    class Meta:
        verbose_name_plural = "fluid catches"
        constraints = [
            models.UniqueConstraint(
                fields=["entry", "container"], name="an_entry_catches_into_a_container_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.container_id} {self.kind}"


class FluidTest(models.Model):
    """A sample of a container's contents, measured. `uuid` is the client's and that of the entry made."""

    uuid = models.UUIDField(unique=True)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="fluid_tests")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="fluid_test")
    tested_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    document = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["tested_at", "pk"]

    def __str__(self) -> str:
        return f"{self.container_id} {self.tested_at:%Y-%m-%d}"


class FluidTestResult(models.Model):
    """One measured property, beside the limit that held at the time; without one nothing was approved."""

    test = models.ForeignKey(FluidTest, on_delete=models.CASCADE, related_name="results")
    measured = models.CharField(max_length=60)
    unit = models.CharField(max_length=20, blank=True)
    value = models.FloatField()
    lowest = models.FloatField(null=True)
    highest = models.FloatField(null=True)

    class Meta:
        ordering = ["test", "measured"]
        constraints = [
            models.UniqueConstraint(fields=["test", "measured"], name="a_test_measures_a_property_once")
        ]

    def __str__(self) -> str:
        return f"{self.measured} {self.value:g} {self.unit}"

    @property
    def has_limit(self) -> bool:
        return self.lowest is not None or self.highest is not None

    @property
    def is_within(self) -> bool:
        """Whether a limit was approved and the value keeps it; no limit is never within."""
        is_low = self.lowest is not None and self.value < self.lowest
        is_high = self.highest is not None and self.value > self.highest
        return self.has_limit and not is_low and not is_high


class FluidRelease(models.Model):
    """That a container's contents were passed as fit for use: on a test, or untested for the same day.

    An untested pass ends with the company's day; whatever is left is strained fluid again.
    """

    class Basis(models.TextChoices):
        TESTED = "tested", "tested"
        SAME_DAY = "same_day", "same day, untested"

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="fluid_release")
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="fluid_releases")
    basis = models.CharField(max_length=8, choices=Basis.choices)
    test = models.ForeignKey(FluidTest, on_delete=models.PROTECT, null=True, related_name="releases")
    # How often the fluid had gone through a span when it was passed.
    uses = models.PositiveIntegerField()
    released_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    ends_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["released_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(basis="tested", test__isnull=False)
                | Q(basis="same_day", test__isnull=True, ends_at__isnull=False),
                name="fluid_is_passed_on_a_test_or_until_the_day_ends",
            )
        ]

    def __str__(self) -> str:
        return f"{self.container_id} {self.basis}"
