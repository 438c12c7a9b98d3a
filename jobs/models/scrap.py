"""The core that came out: scrap metal with a value, the company's or the network owner's by contract."""

from django.db import models
from django.db.models import Q

from inventory.models import Actor, Party
from jobs.models.cable import CableSize
from jobs.models.job import Job, Span


class CoreMass(models.Model):
    """What a length of core of one cable size weighs: conductor and dielectric, in grams per metre.

    Shipped values are reckoned from nominal dimensions and say so; a company weighs a length of its own
    and puts that in their place.
    """

    cable_size = models.OneToOneField(CableSize, on_delete=models.PROTECT, related_name="core_mass")
    grams_per_m = models.FloatField()
    source = models.CharField(max_length=200)
    is_measured = models.BooleanField(default=False)

    class Meta:
        verbose_name_plural = "core masses"
        ordering = ["cable_size"]
        constraints = [models.CheckConstraint(condition=Q(grams_per_m__gt=0), name="core_weighs_something")]

    def __str__(self) -> str:
        return f"{self.cable_size} {self.grams_per_m:g} g/m"


class ScrapTerms(models.Model):
    """Whose the core of a job is, by its contract. Without a row nobody has said, and no lot is split."""

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="scrap_terms")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    document = models.CharField(max_length=200, blank=True)

    class Meta:
        verbose_name_plural = "scrap terms"

    def __str__(self) -> str:
        return f"{self.job_id} {self.owner_id}"


class ScrapLot(models.Model):
    """Core put together, of one or of several jobs: gathered, weighed, then sold or handed to its owner.

    Masses are whole grams and money whole millionths of the currency, so that the shares of its jobs add
    up to the lot exactly.
    """

    class State(models.TextChoices):
        GATHERED = "gathered", "gathered"
        WEIGHED = "weighed", "weighed"
        SOLD = "sold", "sold"

    label = models.CharField(max_length=64, unique=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.GATHERED)
    weighed_g = models.BigIntegerField(null=True)
    weighed_at = models.DateTimeField(null=True)
    weighed_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    weigh_ticket = models.CharField(max_length=100, blank=True)
    buyer = models.CharField(max_length=200, blank=True)
    sold_at = models.DateTimeField(null=True)
    sold_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    sale_document = models.CharField(max_length=200, blank=True)
    proceeds = models.BigIntegerField(null=True)

    class Meta:
        ordering = ["label"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="gathered") | Q(weighed_g__gt=0, weighed_at__isnull=False),
                name="a_lot_past_gathering_was_weighed",
            ),
            models.CheckConstraint(
                condition=(~Q(state="sold") & Q(proceeds__isnull=True))
                | Q(state="sold", proceeds__gte=0, sold_at__isnull=False),
                name="a_sold_lot_has_proceeds_and_no_other",
            ),
        ]

    def __str__(self) -> str:
        return self.label


class ScrapPart(models.Model):
    """A length of core that went into a lot, and what it should weigh by its size.

    `grams_per_m` is what the size was reckoned with then. A span may come in parts (part out, then the
    rest), so it may stand in several rows.
    """

    lot = models.ForeignKey(ScrapLot, on_delete=models.PROTECT, related_name="parts")
    uuid = models.UUIDField(unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="scrap_parts")
    span = models.ForeignKey(Span, on_delete=models.PROTECT, null=True, related_name="scrap_parts")
    cable_size = models.ForeignKey(CableSize, on_delete=models.PROTECT, related_name="+")
    length_um = models.BigIntegerField()
    entered_length = models.CharField(max_length=40)
    entered_unit = models.CharField(max_length=10)
    grams_per_m = models.FloatField()
    expected_g = models.BigIntegerField()
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["lot", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(length_um__gt=0, expected_g__gt=0), name="scrap_part_has_length_and_mass"
            )
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.job_id}"


class ScrapShare(models.Model):
    """What of a weighed lot is one job's: mass, and of a sold lot money, split by expected mass.

    Of the company's own core the proceeds are credited to the job as a by-product (IAS 2.14); of the
    network owner's they are owed to the owner and are no income of the job.
    """

    lot = models.ForeignKey(ScrapLot, on_delete=models.PROTECT, related_name="shares", db_index=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="scrap_shares")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    expected_g = models.BigIntegerField()
    weighed_g = models.BigIntegerField()
    proceeds = models.BigIntegerField(null=True)

    class Meta:
        ordering = ["lot", "job"]
        constraints = [
            models.UniqueConstraint(fields=["lot", "job"], name="a_job_has_one_share_of_a_lot"),
            models.CheckConstraint(
                condition=Q(expected_g__gt=0, weighed_g__gte=0), name="scrap_share_is_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.job_id}"
