"""Addresses that are told of changes, and each telling until it is done or given up."""

from django.db import models
from django.db.models import Q


class WebhookTarget(models.Model):
    """An address that is told of changes. `told_until` is the seal up to which deliveries were written.

    Its secret is derived from the service's own key and `secret_number`, so it stands nowhere.
    """

    uuid = models.UUIDField(unique=True)
    url = models.CharField(max_length=500)
    # Words with spaces between; none for every kind.
    kinds = models.CharField(max_length=1000, blank=True)
    secret_number = models.PositiveIntegerField(default=1)
    told_until = models.BigIntegerField()
    is_open = models.BooleanField(default=True)
    made_by = models.ForeignKey("inventory.Actor", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
        verbose_name = "webhook target"

    def __str__(self) -> str:
        return self.url


class WebhookDelivery(models.Model):
    """One change on its way to one target; who sends it has it in hand until `next_attempt_at`."""

    class State(models.TextChoices):
        WAITING = "waiting", "to be sent, for the first time or again"
        DELIVERED = "delivered", "taken by the other side"
        PARKED = "parked", "given up until somebody sends it again"

    target = models.ForeignKey(WebhookTarget, on_delete=models.PROTECT, related_name="deliveries")
    seal = models.ForeignKey("inventory.Seal", on_delete=models.PROTECT, related_name="deliveries")
    state = models.CharField(max_length=9, choices=State.choices, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField()
    last_status = models.PositiveSmallIntegerField(null=True)
    last_fault = models.CharField(max_length=100, blank=True)
    delivered_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "webhook deliveries"
        indexes = [
            models.Index(
                fields=["next_attempt_at"], condition=Q(state="waiting"), name="webhook_deliveries_to_send"
            )
        ]
        constraints = [
            models.UniqueConstraint(fields=["target", "seal"], name="a_target_is_told_of_a_change_once")
        ]

    def __str__(self) -> str:
        return f"{self.target_id} {self.seal_id} {self.state}"
