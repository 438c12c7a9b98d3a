"""Closing crew-days: what the balance makes of them, what it posts, and whom it tells."""

from datetime import date
from typing import Any
from uuid import uuid4, uuid5

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from inventory.errors import NotFound
from inventory.models import CostPool, DomainEvent, Entry, Holding, Instrument, Movement, Place
from inventory.queries.verification import verify_ledger
from inventory.services.sealing import seal_all
from jobs.models import (
    BalanceStream,
    CompanyRules,
    DayBalance,
    EstimatingPolicy,
    FluidBalance,
    Incident,
    SpanFigure,
)
from jobs.models.balance import BALANCES
from jobs.queries.fluid_figures import sum_by_run, sum_by_span, sum_of_job, sum_of_month
from jobs.services.balance.closing import NothingReported, close_crew_day
from jobs.services.reports.content import ReportContent
from jobs.services.reports.reporting import correct_report
from tests.factories.instruments import make_check, make_instrument
from tests.factories.inventory import at, held
from tests.factories.reports import (
    S1,
    S2,
    ReportedDay,
    caught,
    cleaned,
    extracted,
    gallons,
    left,
    make_reported_day,
    swept,
)

pytestmark = pytest.mark.django_db
GAL = 1_000_000


def _content(
    *, first: str = "6.3", second: str = "4.1", drum: str = "44.6", catch: str = "2.0", **more: Any
) -> ReportContent:
    """Two spans of .500, whose bores hold 5.0 and 3.3 gal, out of one drum, caught in one."""
    parts: dict[str, Any] = {
        "attempts": (
            extracted(S1, source_container="D-1", injected=gallons(first)),
            extracted(S2, source_container="D-1", injected=gallons(second)),
        ),
        "caught": (caught("C-1", S1, S2),),
        "readings": (left("D-1", drum), left("C-1", catch)),
    }
    return ReportContent(**{**parts, **more})


def _close(day: ReportedDay, *, hours: float = 12) -> DayBalance:
    return close_crew_day(
        crew_code="north", date=day.crew_day.date, by=day.world.actor, occurred_at=at(hours)
    )


def _fluid(balance: DayBalance) -> FluidBalance:
    return FluidBalance.objects.get(balance=balance)


def _in_variance(day: ReportedDay) -> int:
    variance = Place.objects.get(code="variance")
    return held(variance, day.world.fluid) + held(variance, day.world.recovered)


def test_close_crew_day_sets_the_spans_right_and_leaves_containers_as_read() -> None:
    day = make_reported_day()
    day.report(_content())
    balance = _close(day)
    assert (day.inside("D-1"), day.inside("C-1")) == (44_600_000, 2_000_000)
    figures = {row.span.name: row for row in SpanFigure.objects.select_related("span")}
    assert day.used(day.first) == figures["S1"].net == figures["S1"].booked + figures["S1"].adjusted
    assert day.used(day.second) == figures["S2"].net
    # Weighed by their uncertainties, the told amounts give way a little to bores and drums.
    assert figures["S1"].net == pytest.approx(5.02 * GAL, abs=0.02 * GAL)
    assert balance.entry_uuid == uuid5(BALANCES, f"{day.crew_day.pk}/1")
    entry = Entry.objects.get(uuid=balance.entry_uuid)
    assert entry.document == f"balance:{day.crew_day.pk}"
    ends = {(row.source_place.kind, row.target_place.kind) for row in entry.movements.all()}
    assert ends <= {("span", "variance"), ("variance", "span")}
    assert not entry.readings.exists()


def test_close_crew_day_conserves_fluid_and_value_to_the_last_millionth() -> None:
    day = make_reported_day()
    day.report(_content(catch="1.1"))
    _close(day)
    for material in (day.world.fluid, day.world.recovered):
        assert Holding.objects.filter(material=material).aggregate(total=Sum("quantity"))["total"] == 0
    assert CostPool.objects.aggregate(total=Sum("value"))["total"] == 0
    seal_all()
    assert list(verify_ledger()) == []
    # What left the drum is in the catch, at the spans, or with the differences.
    at_spans = sum(SpanFigure.objects.values_list("net", flat=True))
    assert 55 * GAL - day.inside("D-1") == day.inside("C-1") + at_spans + _in_variance(day)


def test_close_crew_day_gives_each_span_worked_as_much_of_what_is_unaccounted() -> None:
    day = make_reported_day()
    day.report(_content())
    whole = _fluid(_close(day)).unaccounted
    parts = sorted(SpanFigure.objects.values_list("unaccounted", flat=True))
    assert whole is not None
    assert whole != 0
    # However unlike their bores: to the millionth, by the number of spans.
    assert (len(parts), sum(parts)) == (2, whole)
    assert parts[1] - parts[0] <= 1


def test_close_crew_day_twice_is_the_same_closing() -> None:
    day = make_reported_day()
    day.report(_content())
    first = _close(day)
    entries = Entry.objects.count()
    again = _close(day, hours=20)
    assert (again.pk, again.closed_at) == (first.pk, first.closed_at)
    assert (DayBalance.objects.count(), Entry.objects.count()) == (1, entries)


def test_close_crew_day_takes_a_late_report_as_another_revision() -> None:
    day = make_reported_day()
    early = {
        "attempts": (extracted(S1, source_container="D-1", injected=gallons("6.3")),),
        "caught": (caught("C-1", S1),),
        "readings": (left("D-1", "48.7"), left("C-1", "1.3")),
    }
    day.report(_content(**early))
    first = _close(day)
    day.report(
        ReportContent(
            attempts=(extracted(S2, source_container="D-1", injected=gallons("4.1")),),
            caught=(caught("C-1", S2),),
            readings=(left("D-1", "44.6"), left("C-1", "2.1")),
        ),
        hours=10,
    )
    second = _close(day, hours=13)
    assert (first.revision, second.revision) == (1, 2)
    assert second.entry_uuid == uuid5(BALANCES, f"{day.crew_day.pk}/2") != first.entry_uuid
    assert Entry.objects.filter(document=second.document).count() == 2
    figures = {row.span.name: row for row in SpanFigure.objects.filter(fluid_balance__balance=second)}
    assert day.used(day.first) == figures["S1"].net
    assert day.used(day.second) == figures["S2"].net
    assert _close(day, hours=14).pk == second.pk


def test_close_crew_day_takes_back_what_a_correction_undid() -> None:
    day = make_reported_day()
    wrong = day.report(_content(first="16.3", drum="34.6"))
    first = _close(day)
    assert _fluid(first).unaccounted == pytest.approx(10 * GAL, abs=0.2 * GAL)
    correct_report(
        id=uuid4(), corrects=wrong.uuid, by=day.world.other_actor, occurred_at=at(9), content=_content()
    )
    second = _close(day, hours=13)
    assert second.revision == 2
    assert abs(_fluid(second).unaccounted or 0) < 0.2 * GAL
    figures = {row.span.name: row for row in SpanFigure.objects.filter(fluid_balance__balance=second)}
    assert day.used(day.first) == figures["S1"].net == pytest.approx(5.02 * GAL, abs=0.02 * GAL)
    assert abs(_in_variance(day)) < 0.2 * GAL


def test_close_crew_day_takes_a_late_report_of_an_earlier_hour() -> None:
    day = make_reported_day()
    second = {
        "attempts": (extracted(S2, source_container="D-1", injected=gallons("4.1")),),
        "caught": (caught("C-1", S2),),
        "readings": (left("D-1", "44.6"), left("C-1", "2.1")),
    }
    day.report(_content(**second), hours=10)
    first_closing = _close(day)
    day.report(
        ReportContent(
            attempts=(extracted(S1, source_container="D-1", injected=gallons("6.3")),),
            caught=(caught("C-1", S1),),
            readings=(left("D-1", "48.7"), left("C-1", "1.3")),
        ),
        hours=9,
    )
    # The later report is booked again behind the earlier one, so what was set right above it came out.
    assert Entry.objects.get(uuid=first_closing.entry_uuid).reversed_by is not None
    balance = _close(day, hours=13)
    figures = {row.span.name: row for row in SpanFigure.objects.filter(fluid_balance__balance=balance)}
    assert day.used(day.first) == figures["S1"].net
    assert day.used(day.second) == figures["S2"].net
    assert _fluid(balance).is_consistent
    assert abs(_in_variance(day)) < 0.2 * GAL


def test_close_crew_day_frees_what_is_missing_and_names_it() -> None:
    day = make_reported_day()
    day.report(_content(first="9.3", drum="41.6"))
    row = _fluid(_close(day))
    assert not row.is_consistent
    assert row.suspects[0]["name"] == "fluid missing at S1 of J-1"
    assert [each["name"] for each in row.freed] == ["fluid missing at S1 of J-1"]
    assert row.freed[0]["amount"] == pytest.approx(3.0, abs=0.3)
    assert row.unaccounted == pytest.approx(3 * GAL, abs=0.1 * GAL)
    figure = SpanFigure.objects.get(span=day.first)
    assert figure.missing == pytest.approx(3 * GAL, abs=0.3 * GAL)
    # The span is charged with what stays in it; what is missing lies with the differences.
    assert day.used(day.first) == figure.net == pytest.approx(5 * GAL, abs=0.2 * GAL)
    assert _in_variance(day) == pytest.approx(3 * GAL, abs=0.3 * GAL)


def test_close_crew_day_tells_safety_once_of_what_is_above_the_limit() -> None:
    day = make_reported_day()
    day.report(_content(first="9.3", drum="41.6"))
    balance = _close(day)
    row = _fluid(balance)
    assert row.is_above_limit
    assert row.limit == round(0.05 * row.injected)
    incident = Incident.objects.get()
    assert (incident.kind, incident.crew_day_id) == ("unaccounted", day.crew_day.pk)
    assert incident.amount_low < incident.amount == row.unaccounted < incident.amount_high  # type: ignore[operator]
    assert "3" in incident.note
    assert "the company's limit is" in incident.note
    event = DomainEvent.objects.get(kind="incident_opened")
    assert (event.body["kind"], event.body["to"]) == ("unaccounted", "safety")
    day.report(ReportContent(readings=(left("D-2", "54.9"),)), hours=10)
    _close(day, hours=13)
    assert Incident.objects.count() == 1


def test_close_crew_day_tells_nobody_of_what_cannot_be_told_from_nothing() -> None:
    day = make_reported_day()
    CompanyRules.objects.update_or_create(
        pk=1, defaults={"unaccounted_limit_l": 0.1, "unaccounted_limit_share": None}
    )
    day.report(_content(first="6.6", drum="44.2"))
    row = _fluid(_close(day))
    assert row.is_consistent
    assert row.is_above_limit
    assert not Incident.objects.exists()
    assert not DomainEvent.objects.filter(kind="incident_opened").exists()


def test_close_crew_day_without_limits_compares_nothing() -> None:
    day = make_reported_day()
    CompanyRules.objects.update_or_create(
        pk=1, defaults={"unaccounted_limit_l": None, "unaccounted_limit_share": None}
    )
    day.report(_content(first="9.3", drum="41.6"))
    row = _fluid(_close(day))
    assert (row.limit, row.is_above_limit) == (None, False)
    assert not Incident.objects.exists()


def test_close_crew_day_names_a_meter_that_reads_too_high() -> None:
    day = make_reported_day()
    make_check(make_instrument("M-1"))
    metered = {"source_container": "D-1", "meter": "M-1", "temperature_c": 15.0}
    day.report(
        _content(
            attempts=(
                extracted(S1, meter_start=gallons("0"), meter_end=gallons("8.2"), **metered),
                extracted(S2, meter_start=gallons("8.2"), meter_end=gallons("13.5"), **metered),
            )
        )
    )
    row = _fluid(_close(day))
    assert not row.is_consistent
    assert row.suspects[0]["name"] == "meter M-1"
    assert row.suspects[0]["kind"] == "shared"
    # Drum, bores and catch agree, so nothing is missing whatever the meter says.
    assert abs(row.unaccounted or 0) < 0.2 * GAL
    assert not Incident.objects.exists()
    stream = BalanceStream.objects.filter(instrument=Instrument.objects.get(tag="M-1")).first()
    assert stream is not None
    assert stream.measured == 8_200_000
    assert day.used(day.first) == pytest.approx(5 * GAL, abs=0.2 * GAL)


def test_close_crew_day_with_little_read_says_what_it_cannot_tell() -> None:
    day = make_reported_day()
    day.report(ReportContent(attempts=(extracted(S1),)))
    row = FluidBalance.objects.filter(balance=_close(day)).first()
    # Nobody said which fluid, nor read any container: there is nothing to balance.
    assert row is None
    day.report(
        ReportContent(attempts=(extracted(S2, source_container="D-1", injected=gallons("4")),)), hours=10
    )
    found = _fluid(_close(day, hours=13))
    # The drum was not read, so it is left out; of the spans only what was told and what fills them is known.
    assert found.left_out == ["D-1"]


def test_close_crew_day_follows_a_run_that_is_swept_the_same_day() -> None:
    day = make_reported_day()
    EstimatingPolicy.objects.update(recovered_fraction_sd=0.01)
    day.report(
        _content(
            caught=(caught("C-1", S1, S2), swept("C-2")),
            cleanings=(cleaned(),),
            readings=(left("D-1", "44.6"), left("C-1", "2.0"), left("C-2", "7.4")),
        )
    )
    row = _fluid(_close(day))
    assert row.is_consistent
    kinds = set(BalanceStream.objects.filter(fluid_balance=row).values_list("kind", flat=True))
    assert {"swept", "film", "bore", "injected", "caught"} <= kinds
    figures = list(SpanFigure.objects.filter(fluid_balance=row))
    assert sum(figure.swept for figure in figures) == pytest.approx(7.4 * GAL, abs=0.1 * GAL)
    # Only the film stays with the spans.
    assert sum(figure.net for figure in figures) == pytest.approx(1.0 * GAL, abs=0.3 * GAL)
    assert sum(figure.net for figure in figures) == day.used(day.first) + day.used(day.second)


def test_close_crew_day_refuses_a_day_nobody_reported() -> None:
    day = make_reported_day()
    with pytest.raises(NothingReported, match="send a report first"):
        _close(day)
    with pytest.raises(NotFound):
        close_crew_day(crew_code="north", date=date(2020, 1, 1), by=day.world.actor, occurred_at=at(12))
    assert not DayBalance.objects.exists()


def test_sums_of_span_run_job_and_month_are_those_of_the_book() -> None:
    day = make_reported_day()
    day.report(_content(first="9.3", drum="41.6"))
    _close(day)
    day.report(ReportContent(readings=(left("D-2", "54.9"),)), hours=10)
    _close(day, hours=13)
    job, fluid = day.small.job, day.world.fluid
    by_span = sum_by_span(job)
    assert by_span[day.first.pk, fluid.pk].amounts["net"] == day.used(day.first)
    assert by_span[day.second.pk, fluid.pk].amounts["net"] == day.used(day.second)
    total = day.used(day.first) + day.used(day.second)
    (of_run,) = sum_by_run(job).values()
    (of_job,), (of_month,) = sum_of_job(job), sum_of_month(day.crew_day.date)
    row = FluidBalance.objects.order_by("-balance__revision")[0]
    for found in (of_run, of_job, of_month):
        assert found.amounts["net"] == total
        assert found.unaccounted == row.unaccounted
        assert found.unaccounted_uncertainty == pytest.approx(row.unaccounted_uncertainty)
    assert sum_of_month(date(2020, 1, 1)) == []


def test_close_crew_day_leaves_every_raw_reading_where_it_was() -> None:
    day = make_reported_day()
    report = day.report(_content())
    told = list(report.attempts.order_by("position").values_list("injected", flat=True))
    read = list(report.readings.order_by("container__label").values_list("value", "amount"))
    movements = set(Movement.objects.values_list("pk", flat=True))
    _close(day)
    assert list(report.attempts.order_by("position").values_list("injected", flat=True)) == told
    assert list(report.readings.order_by("container__label").values_list("value", "amount")) == read
    assert movements <= set(Movement.objects.values_list("pk", flat=True))


def test_close_crew_day_asks_as_often_for_ten_reports_as_for_one() -> None:
    day = make_reported_day()
    counts = []
    for number in range(10):
        day.report(_content(), hours=9 + number / 10)
        if number in (0, 8, 9):
            with CaptureQueriesContext(connection) as asked:
                _close(day)
            counts.append(len(asked))
    # A closing after others looks once more for what the last one left.
    assert counts[1] == counts[2] <= counts[0] + 2
