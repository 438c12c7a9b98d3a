"""Span lists as text, and what is wrong with one."""

from datetime import UTC, datetime
from typing import Any

import pytest

from inventory.errors import BadInput, Fault
from inventory.models import DomainEvent, Place
from jobs.models import Job, Span

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
HEADER = "span,run,cable size,length,near,far"
FIRST = f"""{HEADER},slack,bends,reference,near kind
S1,R1,.500,412 ft,P1,P2,10 ft,2,D-1,pedestal
S2,R1,P500,388 ft 6 in,P2,P3,,,D-2,
S3,R2,.625,125.6 m,P3,P4,,,D-3,vault
"""


def faults_of(take: Any, text: str | bytes, **options: Any) -> list[Fault]:
    """The faults for which a list is refused, having seen that nothing was stored."""
    before = (Job.objects.count(), Span.objects.count(), Place.objects.count(), DomainEvent.objects.count())
    with pytest.raises(BadInput) as refused:
        take(text, **options)
    after = (Job.objects.count(), Span.objects.count(), Place.objects.count(), DomainEvent.objects.count())
    assert after == before
    return list(refused.value.faults)
