"""What a report leaves unsaid is assumed and said; it is not refused for what the records lack."""

from decimal import Decimal

import pytest

from inventory.models import Container, Material, Movement
from jobs.models import ContainerReading, FieldReport, RunCleaning, SpanAttempt
from jobs.services.reports.content import ReadingContent, ReportContent
from tests.factories.inventory import held
from tests.factories.reports import (
    S1,
    S2,
    ReportedDay,
    blown,
    cleaned,
    extracted,
    gallons,
    left,
    make_reported_day,
)

pytestmark = pytest.mark.django_db
GAL = 1_000_000


@pytest.fixture
def day(db: None) -> ReportedDay:
    return make_reported_day()


def test_post_report_takes_a_weighed_drum_of_a_fluid_whose_density_nobody_knows(day: ReportedDay) -> None:
    Material.objects.filter(code="fluid").update(density_kg_per_m3=None)
    weighed = ReadingContent(container="D-1", method="weighed", value=Decimal(150), unit="kg")
    day.report(ReportContent(attempts=(extracted(S1),), readings=(weighed,)))
    row = ContainerReading.objects.get()
    # About 130 kg at 1000 kg/m3 are 34 gal; the density is known to 150 of 1000, rectangular: 9 % of it.
    assert 30 * GAL < row.amount < 38 * GAL
    assert row.standard_uncertainty > 0.08 * row.amount


def test_post_report_takes_the_fluid_aboard_where_none_is_usual(day: ReportedDay) -> None:
    Material.objects.create(
        code="aaa", name="Oil", kind="fluid", stock_unit="[gal_us]", density_kg_per_m3=900.0
    )
    day.report(ReportContent(attempts=(extracted(S1, injected=gallons(12), note="Wet."),)))
    assert day.used(day.first) == 12 * GAL
    assert SpanAttempt.objects.get().note == ("Wet. [which fluid was not told, taken as Extraction fluid]")


def test_post_report_says_nothing_of_a_fluid_that_its_drum_tells(day: ReportedDay) -> None:
    attempts = (
        extracted(S1, injected=gallons(12), source_container="D-1"),
        extracted(S2, injected=gallons(1)),
    )
    day.report(ReportContent(attempts=attempts))
    assert set(SpanAttempt.objects.values_list("note", flat=True)) == {""}


def test_post_report_takes_the_kits_projectile_where_none_is_named(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(projectile="", fired=3),)))
    row = RunCleaning.objects.get()
    assert (row.projectile, row.fired) == (day.world.projectile, 3)
    assert row.note == f"[which projectile was not told, taken as {day.world.projectile}]"
    assert held(row.run.place, day.world.projectile) == 3 * GAL


def test_post_report_takes_a_reel_of_which_nothing_is_left_by_its_length(day: ReportedDay) -> None:
    rest = ReadingContent(container="REEL-1", method="metered", value=Decimal(0), unit="[ft_i]")
    day.report(ReportContent(cleanings=(cleaned(),), blowings=(blown(),), readings=(rest,)))
    assert day.inside("REEL-1") == 0
    assert Movement.objects.filter(purpose="counted").exists()


def test_post_report_keeps_a_reading_of_a_tank_that_nobody_measured_as_it_was_read(day: ReportedDay) -> None:
    day.small.drum("T-1", 100, on_truck=True, kind=Container.Kind.TRUCK_TANK, capacity=None)
    full = ReadingContent(container="T-1", method="quarters", value=Decimal(2))
    day.report(ReportContent(attempts=(extracted(S1),), readings=(full, left("D-1", 30)), note="Long day."))
    assert (day.inside("T-1"), day.used(day.first)) == (100 * GAL, 25 * GAL)
    assert FieldReport.objects.get().note == (
        "Long day. [T-1 read as quarters 2: has no capacity on record; note it, or read the amount another "
        "way]"
    )
