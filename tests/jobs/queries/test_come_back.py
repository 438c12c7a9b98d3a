"""What must come back of a job that is over before its work is done."""

from datetime import UTC, datetime
from uuid import uuid4

import pytest

from inventory.models import Container
from jobs.models import CrewDayStep, Job
from jobs.queries.come_back import list_goods_to_come_back
from jobs.services.kits.loading import LoadedContainer, load_kit
from tests.factories.jobs import DAY, add_step, make_job, make_run, make_span
from tests.factories.kits import make_small_day

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)

pytestmark = pytest.mark.django_db


def test_goods_that_a_day_still_takes_for_another_job_do_not_come_back() -> None:
    small = make_small_day()
    small.drum("A", 55)
    other = make_job("J-2")
    span = make_span(make_run(other, "R9", size=small.run.cable_size), "S9", "P8", "P9")
    step = add_step(small.crew_day, CrewDayStep.Kind.EXTRACT, span=span)
    load_kit(
        id=uuid4(),
        by=small.world.actor,
        occurred_at=NOON,
        crew_code="north",
        date=DAY,
        containers=[LoadedContainer(Container.objects.get(label="A"))],
        is_complete=True,
    )
    assert list_goods_to_come_back(small.job) == []
    # Once the other job stands still too, or its step is done, nobody takes the drum along any more.
    Job.objects.filter(pk=other.pk).update(state=Job.State.CANCELLED)
    assert [row.container for row in list_goods_to_come_back(small.job)] == ["A"]
    Job.objects.filter(pk=other.pk).update(state=Job.State.PLANNED)
    CrewDayStep.objects.filter(pk=step.pk).update(done_at=NOON)
    assert [row.container for row in list_goods_to_come_back(small.job)] == ["A"]
