"""Rates follow from the reports that stand; a crew or a size that begins to differ is flagged once."""

from datetime import UTC, datetime

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from scipy import stats

from inventory.errors import BadInput
from inventory.models import Actor, Container
from jobs.models import Crew, RecoveryDrift, RecoveryRate, RefitRequest, SpanAttempt
from jobs.services.recovery import look_at_drift, refresh_recovery, refresh_where_asked
from jobs.services.reports.after import request_refits
from jobs.tasks import refresh_recovery as task
from tests.factories.field_reports import add_attempt, add_catch, make_report
from tests.factories.jobs import DAY, make_company, make_crew, make_crew_day, make_job, make_run, make_size
from tests.factories.jobs import make_span as make_span_of

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 7, 1, tzinfo=UTC)


class Yard:
    """Runs of one span each, extracted and swept by a crew, one a day."""

    def __init__(self) -> None:
        crew = make_crew()
        assert crew.vehicle is not None
        self.job = make_job()
        self.count = 0
        self.drum = Container.objects.create(
            label="C-1", kind="drum", owner=make_company(), place=crew.vehicle
        )

    def work(self, ratio: float, *, crew: str = "north", size: str = ".500", litres: float = 100) -> None:
        crew_row = Crew.objects.filter(code=crew).first() or make_crew(crew)
        name = f"R{self.count}"
        run = make_run(self.job, name, make_size(size))
        span = make_span_of(run, name, f"{name}A", f"{name}B")
        day = crew_row.days.filter(date=DAY).first() or make_crew_day(crew_row)
        report = make_report(day, days_later=self.count)
        add_attempt(report, span, litres)
        add_catch(report, self.drum, litres * ratio * 0.25, [span])
        add_catch(report, self.drum, litres * ratio * 0.75, [], run=run)
        self.count += 1


def rate(group: str, name: str = "") -> RecoveryRate:
    return RecoveryRate.objects.get(group=group, name=name)


@pytest.fixture
def yard(db: None) -> Yard:
    return Yard()


def test_refresh_recovery_sums_by_size_fluid_crew_and_month(yard: Yard) -> None:
    yard.work(0.90, litres=100)
    yard.work(0.80, litres=300)
    yard.work(0.95, litres=100, crew="south", size=".625")
    refresh_recovery(at=NOW)
    # 90 + 240 of 400, and 95 more of 100.
    assert rate("size", ".500").ratio == pytest.approx(330 / 400)
    assert rate("crew", "south").ratio == pytest.approx(0.95)
    assert rate("all").ratio == pytest.approx(425 / 500)
    assert rate("month", "2026-03").readings == 3
    assert rate("fluid", "glide-l").injected_m3 == pytest.approx(0.5)
    assert (rate("size", ".625").low, rate("size", ".625").high) == (None, None)


@pytest.mark.outside_check(
    "Student's t interval of the mean of equal amounts, by scipy.stats.ttest_1samp; "
    "how known: scipy, run here"
)
def test_refresh_recovery_gives_each_rate_its_interval(yard: Yard) -> None:
    ratios = [0.90, 0.85, 0.93, 0.88, 0.95]
    for ratio in ratios:
        yard.work(ratio)
    refresh_recovery(at=NOW)
    found = rate("size", ".500")
    expected = stats.ttest_1samp(ratios, 0.0).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), rel=1e-6)


def test_refresh_recovery_twice_is_the_same(yard: Yard) -> None:
    for ratio in (0.9, 0.8, 0.85):
        yard.work(ratio)
    refresh_recovery(at=NOW)
    before = list(RecoveryRate.objects.values_list("group", "name", "ratio"))
    refresh_recovery(at=NOW)
    assert list(RecoveryRate.objects.values_list("group", "name", "ratio")) == before


def test_refresh_recovery_flags_the_crew_that_drifts_and_not_the_other(yard: Yard) -> None:
    rng = np.random.default_rng(5)
    for _day in range(15):
        yard.work(float(rng.normal(0.90, 0.02)))
        yard.work(float(rng.normal(0.90, 0.02)), crew="south")
    refresh_recovery(at=NOW)
    assert not RecoveryDrift.objects.exists()
    for _day in range(12):
        yard.work(float(rng.normal(0.90, 0.02)))
        yard.work(float(rng.normal(0.84, 0.02)), crew="south")
    refresh_recovery(at=NOW)
    crews = RecoveryDrift.objects.filter(group="crew")
    assert set(crews.values_list("crew__code", "direction")) == {("south", "down")}
    assert all(abs(row.statistic) > row.limit for row in RecoveryDrift.objects.all())


def test_refresh_recovery_keeps_what_was_looked_at_and_forgets_what_reports_unsay(yard: Yard) -> None:
    rng = np.random.default_rng(5)
    for mean in [0.90] * 20 + [0.80] * 10:
        yard.work(float(rng.normal(mean, 0.01)))
    refresh_recovery(at=NOW)
    drifts = list(RecoveryDrift.objects.order_by("pk"))
    assert {row.group for row in drifts} == {"crew", "size"}
    refresh_recovery(at=NOW)
    assert list(RecoveryDrift.objects.order_by("pk")) == drifts
    actor = Actor.objects.get(code="lead")
    with pytest.raises(BadInput, match="say what was found"):
        look_at_drift(drift=drifts[0], by=actor, occurred_at=NOW, finding=" ")
    look_at_drift(drift=drifts[0], by=actor, occurred_at=NOW, finding="a leaking exit fitting")
    SpanAttempt.objects.update(injected=None)
    refresh_recovery(at=NOW)
    assert [row.pk for row in RecoveryDrift.objects.all()] == [drifts[0].pk]


def test_refresh_where_asked_does_what_stands_in_the_table(yard: Yard) -> None:
    yard.work(0.9)
    assert refresh_where_asked(at=NOW) is False
    request_refits(at=NOW)
    task()
    assert rate("all").readings == 1
    assert not RefitRequest.objects.filter(kind="recovery", done_at=None).exists()
    assert refresh_where_asked(at=NOW) is False


def test_refresh_recovery_asks_as_often_for_many_readings_as_for_few(yard: Yard) -> None:
    counts = []
    yard.work(0.9)
    for _time in range(2):
        with CaptureQueriesContext(connection) as captured:
            refresh_recovery(at=NOW)
        counts.append(len(captured))
        for _more in range(10):
            yard.work(0.9)
    assert counts[0] == counts[1]
