"""The same work told by two devices is booked once and found; work that only looks alike is booked."""

from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import replace

import pytest
from django.db import connection, transaction

from inventory.queries.verification import verify_ledger
from jobs.models import FieldReport, RuleFinding, Run, SpanAttempt
from jobs.services.reports.content import ReportContent
from tests.factories.instruments import make_instrument
from tests.factories.inventory import held
from tests.factories.jobs import make_crew, make_crew_day
from tests.factories.reports import (
    S1,
    S2,
    ReportedDay,
    blown,
    cleaned,
    extracted,
    ft,
    gallons,
    left,
    make_reported_day,
)
from tests.jobs.services.reports.test_correcting import correct

pytestmark = pytest.mark.django_db
GAL = 1_000_000


@pytest.fixture
def day(db: None) -> ReportedDay:
    return make_reported_day()


def metered(start: int, end: int, **fields: object) -> ReportContent:
    values = {"source_container": "D-1", "meter_start": gallons(start), "meter_end": gallons(end), **fields}
    return ReportContent(attempts=(extracted(S1, **values),))


def rules() -> set[str]:
    return set(RuleFinding.objects.values_list("rule", flat=True))


def test_post_report_of_the_same_work_by_two_devices_books_it_once(day: ReportedDay) -> None:
    make_instrument("M-1", kind="meter")
    attempt = metered(100, 112, meter="M-1").attempts
    content = ReportContent(attempts=attempt, cleanings=(cleaned(),), blowings=(blown(),))
    day.report(content)
    assert not rules() & {"meter_told_twice", "marks_told_twice", "projectiles_told_twice"}
    day.report(content, hours=9.1, by=day.world.actor)
    run = Run.objects.get()
    assert (day.used(day.first), day.inside("D-1")) == (12 * GAL, 43 * GAL)
    assert (held(run.place, day.world.fibre), day.inside("REEL-1")) == (1100 * GAL, 3900 * GAL)
    assert rules() >= {"meter_told_twice", "marks_told_twice", "projectiles_told_twice"}
    # The same numbers of the same cleaning are booked once; what the meter showed is kept.
    assert held(run.place, day.world.projectile) == 3 * GAL
    rows = list(SpanAttempt.objects.order_by("report__occurred_at").values_list("meter_end", "injected"))
    assert rows == [(112 * GAL, 12 * GAL), (112 * GAL, 0)]
    assert not list(verify_ledger())


def test_post_report_books_what_of_a_stretch_was_not_told_before(day: ReportedDay) -> None:
    day.report(ReportContent(attempts=metered(100, 112).attempts, blowings=(blown(),)))
    second = metered(108, 124).attempts
    day.report(ReportContent(attempts=second, blowings=(blown(start=4000, end=3500),)), hours=10)
    assert (day.used(day.first), day.inside("REEL-1")) == (24 * GAL, 3500 * GAL)


def test_post_report_of_what_follows_on_the_meter_and_the_reel_is_no_repeat(day: ReportedDay) -> None:
    day.report(ReportContent(attempts=metered(100, 112).attempts, blowings=(blown(),)))
    day.report(
        ReportContent(
            attempts=metered(112, 120).attempts,
            cleanings=(cleaned(),),
            blowings=(blown(start=3900, end=3500),),
        ),
        hours=10,
    )
    assert (day.used(day.first), day.inside("REEL-1")) == (20 * GAL, 3500 * GAL)
    assert not rules() & {"meter_told_twice", "marks_told_twice", "projectiles_told_twice"}


def test_post_report_of_another_span_by_a_meter_nobody_named_is_no_repeat(day: ReportedDay) -> None:
    day.report(metered(100, 112))
    told = metered(100, 112).attempts[0]
    other = extracted(S2, source_container="D-1", meter_start=told.meter_start, meter_end=told.meter_end)
    day.report(ReportContent(attempts=(other,)), hours=10)
    assert day.used(day.second) == 12 * GAL


def test_post_report_that_comes_late_takes_the_place_of_the_one_told_first(day: ReportedDay) -> None:
    content = ReportContent(attempts=metered(100, 112).attempts, blowings=(blown(),))
    day.report(content, hours=10)
    day.report(content, hours=9)
    assert list(SpanAttempt.objects.order_by("report__occurred_at").values_list("injected", flat=True)) == [
        12 * GAL,
        0,
    ]
    assert (day.used(day.first), day.inside("REEL-1")) == (12 * GAL, 3900 * GAL)


def test_correct_report_gives_the_repeat_its_amount_back(day: ReportedDay) -> None:
    content = ReportContent(attempts=metered(100, 112).attempts, blowings=(blown(),))
    first: FieldReport = day.report(content, hours=9)
    day.report(content, hours=10)
    correct(day, first, ReportContent(attempts=(extracted(S2),)))
    assert (day.used(day.first), day.inside("REEL-1")) == (12 * GAL, 3900 * GAL)
    assert SpanAttempt.objects.filter(injected=12 * GAL).count() == 2


def test_post_report_of_as_many_fired_from_the_same_device_is_no_repeat(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(),)))
    day.report(ReportContent(cleanings=(cleaned(),)), hours=10)
    assert not rules() & {"projectiles_told_twice", "projectiles_told_alike"}


def test_post_report_of_as_many_fired_told_otherwise_books_both_and_says_so(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(retrieved=2, stuck_at=ft(40)),)))
    day.report(ReportContent(cleanings=(cleaned(),)), hours=9.1, by=day.world.actor)
    assert held(Run.objects.get().place, day.world.projectile) == 6 * GAL
    assert rules() >= {"projectiles_told_alike", "projectile_inside"}
    assert "projectiles_told_twice" not in rules()


def test_post_report_of_a_stuck_projectile_by_two_devices_leaves_one_inside(day: ReportedDay) -> None:
    content = ReportContent(cleanings=(cleaned(retrieved=2),))
    day.report(content)
    day.report(content, hours=9.1, by=day.world.actor)
    assert RuleFinding.objects.get(rule="projectile_inside").facts["inside"] == 1
    # Torn out by the next one: nothing is left.
    day.report(ReportContent(cleanings=(cleaned(fired=1, retrieved=2),)), hours=10)
    assert RuleFinding.objects.get(rule="projectile_inside").settled_at is not None


def test_correct_report_gives_the_repeated_cleaning_its_projectiles_back(day: ReportedDay) -> None:
    content = ReportContent(cleanings=(cleaned(),))
    first = day.report(content)
    day.report(content, hours=9.1, by=day.world.actor)
    correct(day, first, ReportContent(attempts=(extracted(S2),)))
    assert held(Run.objects.get().place, day.world.projectile) == 3 * GAL


def test_post_report_books_once_what_it_tells_twice_itself(day: ReportedDay) -> None:
    attempts = metered(100, 112).attempts * 2
    content = ReportContent(attempts=attempts, cleanings=(cleaned(),) * 2, blowings=(blown(),) * 2)
    day.report(content)
    assert (day.used(day.first), day.inside("REEL-1")) == (12 * GAL, 3900 * GAL)
    # Cleaned twice with as many may well be two cleanings.
    assert held(Run.objects.get().place, day.world.projectile) == 6 * GAL
    assert rules() >= {"meter_told_twice", "marks_told_twice", "projectiles_told_alike"}


def test_post_report_of_a_meter_that_is_set_back_before_each_span_books_all(day: ReportedDay) -> None:
    first, told = metered(0, 12), metered(0, 10).attempts[0]
    second = extracted(S2, source_container="D-1", meter_start=told.meter_start, meter_end=told.meter_end)
    make_instrument("M-1", kind="meter")
    attempts = [replace(row, meter="M-1") for row in (*first.attempts, second)]
    day.report(ReportContent(attempts=tuple(attempts)))
    assert (day.used(day.first), day.used(day.second)) == (12 * GAL, 10 * GAL)
    assert "meter_set_back" in rules()
    assert "meter_told_twice" not in rules()


def test_post_report_of_the_same_meter_by_two_crews_books_it_once(day: ReportedDay) -> None:
    make_instrument("M-1", kind="meter")
    south = make_crew("south")
    make_crew_day(south, day=day.crew_day.date)
    content = ReportContent(attempts=(replace(metered(100, 112, meter="M-1").attempts[0], span=S2),))
    first = day.report(metered(100, 112, meter="M-1"))
    day.report(content, hours=10, crew_code="south")
    assert (day.used(day.first), day.used(day.second)) == (12 * GAL, 0)
    assert "meter_told_twice" in rules()
    # With the first undone the second told it alone.
    correct(day, first, ReportContent(readings=(left("D-2", 55),)))
    assert (day.used(day.first), day.used(day.second)) == (0, 12 * GAL)


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("hours", [8, 10])
def test_post_report_of_the_same_meter_by_two_crews_at_once_books_it_once(
    day: ReportedDay, hours: int
) -> None:
    make_instrument("M-1", kind="meter")
    make_crew_day(make_crew("south"), day=day.crew_day.date)
    content = ReportContent(attempts=(replace(metered(100, 112, meter="M-1").attempts[0], span=S2),))

    def tell() -> None:
        try:
            day.report(content, hours=hours, crew_code="south")
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            day.report(metered(100, 112, meter="M-1"))
            told = pool.submit(tell)
            # Long enough for it to have read all that it reads without waiting.
            wait([told], timeout=1)
            assert not told.done()
        told.result()
    assert day.used(day.first) + day.used(day.second) == 12 * GAL
    assert (day.used(day.first) == 0) == (hours == 8)


def test_post_report_of_a_span_told_all_out_by_two_devices_says_so(day: ReportedDay) -> None:
    content = ReportContent(attempts=(extracted(S1, injected=gallons(12), source_container="D-1"),))
    day.report(content)
    assert "extracted_twice" not in rules()
    day.report(content, hours=9.1, by=day.world.actor)
    assert "extracted_twice" in rules()
