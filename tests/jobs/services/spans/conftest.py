"""A hand that takes the text of a span list into a job."""

from pathlib import Path
from typing import Any

import pytest

from inventory.models import Actor
from jobs.models import Job
from jobs.services.job_life import JobOpening
from jobs.services.spans import SpanImport, import_spans
from tests.jobs.services.spans.span_lists import NOON


@pytest.fixture
def take(tmp_path: Path) -> Any:
    actor = Actor.objects.create(code="planner", name="Planner", kind="person")

    def take_text(text: str | bytes, *, job: str = "J-1", new: bool = True, **options: Any) -> SpanImport:
        path = tmp_path / "spans.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        opening = JobOpening() if new and not Job.objects.filter(reference=job).exists() else None
        return import_spans(
            path=path, job_reference=job, by=actor, occurred_at=NOON, opening=opening, **options
        )

    return take_text
