"""The chain that shows whether the book was changed afterwards."""

from django.db import models
from django.db.models import Q

from inventory.models.entry import Entry


class DomainEvent(models.Model):
    """Something other systems want to hear of that moved no goods: a kit planned, a list made."""

    uuid = models.UUIDField(unique=True)
    kind = models.CharField(max_length=40)
    occurred_at = models.DateTimeField()
    body = models.JSONField()

    class Meta:
        # The last of its kind is asked for by every phone that comes back to a signal.
        indexes = [models.Index(fields=["kind", "id"], name="event_of_a_kind")]

    def __str__(self) -> str:
        return f"{self.kind} {self.uuid}"


class Unsealed(models.Model):
    """What has been posted and waits to be sealed: written with its cause, deleted by sealing.

    Its own small table, so that sealing finds its work by reading a few rows instead of searching
    the ledger for gaps.
    """

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, null=True)
    event = models.OneToOneField(DomainEvent, on_delete=models.PROTECT, null=True)

    class Meta:
        verbose_name_plural = "unsealed"
        constraints = [
            models.CheckConstraint(
                condition=Q(entry__isnull=True, event__isnull=False)
                | Q(entry__isnull=False, event__isnull=True),
                name="unsealed_is_an_entry_or_an_event",
            )
        ]

    def __str__(self) -> str:
        return f"{self.entry_id or self.event_id}"


class Seal(models.Model):
    """One link: a hash over the previous hash and a versioned canonical form of the entry or event."""

    sequence = models.BigIntegerField(primary_key=True)
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, null=True, related_name="seal")
    event = models.OneToOneField(DomainEvent, on_delete=models.PROTECT, null=True, related_name="seal")
    form_version = models.PositiveSmallIntegerField()
    hash = models.CharField(max_length=64)
    sealed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(entry__isnull=True, event__isnull=False)
                | Q(entry__isnull=False, event__isnull=True),
                name="seal_is_of_an_entry_or_an_event",
            )
        ]

    def __str__(self) -> str:
        return str(self.sequence)


class ChainHead(models.Model):
    """The last link, in one row: the lock under which sealing happens."""

    sequence = models.BigIntegerField(default=0)
    hash = models.CharField(max_length=64, default="0" * 64)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="there_is_one_chain_head")]

    def __str__(self) -> str:
        return f"{self.sequence} {self.hash}"
