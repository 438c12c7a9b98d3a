"""Goods held back, with everything that was poured from them."""

from django.db import models
from django.db.models import Q

from inventory.models.actor import Actor
from inventory.models.container import Container
from inventory.models.entry import Entry


class Quarantine(models.Model):
    """A lot or container in doubt. While it stands, it and all that came of it are held back.

    Lifted by the safety role only, and never by who caused it. `uuid` is the client's.
    """

    uuid = models.UUIDField(unique=True)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="quarantines")
    reason = models.CharField(max_length=500)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    caused_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    lifted_at = models.DateTimeField(null=True)
    lifted_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    lift_reason = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["opened_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["container"],
                condition=Q(lifted_at__isnull=True),
                name="a_container_is_in_quarantine_once",
            ),
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True, lifted_by__isnull=True)
                | (Q(lifted_at__isnull=False, lifted_by__isnull=False) & ~Q(lift_reason="")),
                name="a_quarantine_is_lifted_by_somebody_for_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.container_id} {self.reason}"

    @property
    def is_open(self) -> bool:
        return self.lifted_at is None


class QuarantineHold(models.Model):
    """A container held back by a quarantine: the one in doubt, or one into which something of it went.

    `state_before` is what it goes back to; where another quarantine still holds it, it stays held.
    """

    quarantine = models.ForeignKey(Quarantine, on_delete=models.PROTECT, related_name="holds", db_index=False)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="quarantine_holds")
    state_before = models.CharField(max_length=8, choices=Container.State.choices)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["quarantine", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["quarantine", "container"], name="a_quarantine_holds_a_container_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.quarantine_id} {self.container_id}"
