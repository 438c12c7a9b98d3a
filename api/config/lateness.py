"""How far behind background work is, read from the tables in which it stands."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone
from kombu.exceptions import KombuError

from api.config.celery import app
from api.models import WebhookDelivery, WebhookTarget
from inventory.models import ChainHead, Seal, Unsealed

# Sealing and telling are due every five seconds; a minute means that nobody does it.
LATE_AFTER_S = 60
BROKER_PATIENCE_S = 2


@dataclass(frozen=True)
class Lateness:
    """What waits, and since when: counts, and ages in seconds of the oldest."""

    sealed_until: int
    unsealed: int
    seal_age_s: float
    feed_lag: int
    feed_age_s: float
    waiting: int
    overdue_s: float
    parked: int

    def warnings(self) -> list[str]:
        """What is late, in a word each."""
        ages = {
            "sealing_late": self.seal_age_s,
            "feed_late": self.feed_age_s,
            "webhooks_late": self.overdue_s,
        }
        return [word for word, age in ages.items() if age > LATE_AFTER_S]


def measure_lateness(*, now: datetime | None = None) -> Lateness:
    """How late sealing and telling are; a handful of queries on small tables."""
    now = now or timezone.now()
    head = ChainHead.objects.filter(pk=1).values_list("sequence", flat=True).first() or 0
    told = (
        WebhookTarget.objects.filter(is_open=True).order_by("told_until").values_list("told_until", flat=True)
    )
    told_until = told.first()
    behind = Seal.objects.none() if told_until is None else Seal.objects.filter(sequence__gt=told_until)
    waiting = WebhookDelivery.objects.filter(state=WebhookDelivery.State.WAITING)
    due_at = waiting.order_by("next_attempt_at").values_list("next_attempt_at", flat=True).first()
    return Lateness(
        sealed_until=head,
        unsealed=Unsealed.objects.count(),
        seal_age_s=_age(_oldest_unsealed(), now),
        feed_lag=0 if told_until is None else max(0, head - told_until),
        feed_age_s=_age(behind.order_by("sequence").values_list("sealed_at", flat=True).first(), now),
        waiting=waiting.count(),
        overdue_s=_age(due_at, now),
        parked=WebhookDelivery.objects.filter(state=WebhookDelivery.State.PARKED).count(),
    )


def is_broker_reached() -> bool:
    """Whether a hint could be sent now."""
    try:
        with app.connection_for_write(connect_timeout=BROKER_PATIENCE_S) as connection:
            connection.connect()
        return True
    except (OSError, KombuError):
        return False


def _oldest_unsealed() -> datetime | None:
    row = Unsealed.objects.select_related("entry", "event").order_by("pk").first()
    if row is None:
        return None
    if row.entry is not None:
        return row.entry.recorded_at
    return row.event.occurred_at if row.event is not None else None


def _age(moment: datetime | None, now: datetime) -> float:
    return 0.0 if moment is None else max(timedelta(0), now - moment).total_seconds()
