"""What a job was expected to cost, and the cost sheets that left the house."""

from django.db import models
from django.db.models import Q

from inventory.models import Actor, Material, Party
from jobs.models.job import Job


class JobEstimate(models.Model):
    """What a job was expected to take when it was approved. Frozen: later learning does not change it.

    A job approved again gets another; the newest counts, the others stay.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="estimates")
    frozen_at = models.DateTimeField()
    frozen_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["job", "pk"]

    def __str__(self) -> str:
        return f"{self.job} {self.frozen_at:%Y-%m-%d}"


class EstimateLine(models.Model):
    """One material of an estimate: so much goes out for the job, so much of that comes back.

    Quantities in millionths of the stock unit, the price in millionths of the currency for one. What comes
    back brings `recovered_share` (millionths) of its cost; None for the price where none is known.
    """

    estimate = models.ForeignKey(JobEstimate, on_delete=models.CASCADE, related_name="lines")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    quantity = models.BigIntegerField()
    comes_back = models.BigIntegerField(default=0)
    unit_cost = models.BigIntegerField(null=True)
    recovered_share = models.BigIntegerField(default=0)
    why = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["estimate", "material", "owner"], name="an_estimate_names_a_material_once"
            ),
            models.CheckConstraint(
                condition=Q(quantity__gte=0, comes_back__gte=0), name="estimated_amounts_are_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.estimate_id} {self.material_id}"


class IssuedSheet(models.Model):
    """A cost sheet as it was handed out: its content, how far the book went, and a hash over both.

    Never changed, so that what was issued can be shown beside what is known now.
    """

    uuid = models.UUIDField(unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="issued_sheets")
    number = models.PositiveIntegerField()
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    content = models.JSONField()
    # The last link of the chain whose entries it holds, and that link's hash.
    last_sequence = models.BigIntegerField()
    last_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["job", "number"]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="sheets_of_a_job_are_numbered"),
        ]

    def __str__(self) -> str:
        return f"{self.job} {self.number}"
