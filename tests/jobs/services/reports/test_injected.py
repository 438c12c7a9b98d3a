"""A told loss of fluid is lost in the book, whatever else the report tells, and claimed at what it cost."""

import pytest

from inventory.models import Material, Movement
from inventory.queries.verification import verify_ledger
from jobs.models import ReportedLoss
from jobs.queries.claims import find_costs
from jobs.services.reports.content import LossContent, ReportContent
from tests.factories.reports import (
    R1,
    S1,
    S2,
    ReportedDay,
    caught,
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


def moved(purpose: str) -> int:
    """What went to work under a purpose, less what came back under it."""
    rows = Movement.objects.filter(purpose=purpose).select_related("source_place")
    return sum(-row.quantity if row.source_place.kind == "span" else row.quantity for row in rows)


def loss(amount: int, cause: str = "damage_by_others", **fields: object) -> LossContent:
    values = {"material": "fluid", "liable_party": "network", "is_contained": True, **fields}
    return LossContent(cause=cause, amount=gallons(amount), **values)  # type: ignore[arg-type]


def test_loss_of_stolen_fluid_comes_off_the_truck(day: ReportedDay) -> None:
    day.world.drum("D-9", 110, cost=1100, place=day.world.vehicle)
    day.report(ReportContent(losses=(loss(10, "theft"),)))
    assert (moved("lost"), day.inside("D-1") + day.inside("D-2")) == (10 * GAL, 100 * GAL)
    (row,) = ReportedLoss.objects.all()
    value = Movement.objects.get(purpose="lost").value
    assert find_costs([row]) == {row.pk: value}
    assert value > 0


def test_loss_of_stolen_fluid_is_what_a_drum_lacks_that_was_read(day: ReportedDay) -> None:
    day.report(ReportContent(losses=(loss(10, "theft"),), readings=(left("D-2", 45),)))
    assert (day.inside("D-1"), day.inside("D-2")) == (55 * GAL, 45 * GAL)
    assert (moved("lost"), moved("counted"), moved("book_short")) == (10 * GAL, 0, 0)


@pytest.mark.parametrize("where", [{"span": S1}, {"run": R1}, {}])
def test_loss_told_after_the_draw_was_used_before(day: ReportedDay, where: dict[str, object]) -> None:
    day.report(ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(20)),)))
    drawn = Movement.objects.get(purpose="used").value
    day.report(ReportContent(losses=(loss(5, **where),)), hours=10)
    assert (moved("used"), moved("lost"), day.inside("D-1")) == (15 * GAL, 5 * GAL, 35 * GAL)
    assert day.inside("D-2") == 55 * GAL
    (row,) = ReportedLoss.objects.all()
    assert find_costs([row]) == {row.pk: drawn // 4}
    # What is lost is not lost again: of the next 20 only 15 were used there.
    day.report(ReportContent(losses=(loss(20, **where),)), hours=11)
    assert (moved("used"), moved("lost")) == (0, 25 * GAL)
    assert day.inside("D-1") + day.inside("D-2") == 85 * GAL
    assert not list(verify_ledger())


def test_loss_of_more_than_was_drawn_takes_the_rest_off_the_truck(day: ReportedDay) -> None:
    attempt = extracted(S1, source_container="D-1", injected=gallons(3))
    day.report(ReportContent(attempts=(attempt,), losses=(loss(10, span=S1),)))
    assert (moved("used"), moved("lost"), day.inside("D-1") + day.inside("D-2")) == (0, 10 * GAL, 100 * GAL)
    (row,) = ReportedLoss.objects.all()
    lost = Movement.objects.filter(purpose="lost").values_list("value", flat=True)
    assert find_costs([row]) == {row.pk: sum(lost)}


def test_loss_told_before_the_draw_arrives_is_booked_again_behind_it(day: ReportedDay) -> None:
    day.report(ReportContent(losses=(loss(5, span=S1),)), hours=10)
    assert day.inside("D-1") + day.inside("D-2") == 105 * GAL
    day.report(
        ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(20)),)), hours=8
    )
    assert day.inside("D-1") + day.inside("D-2") == 90 * GAL


def test_cost_of_a_loss_leaves_out_what_nobody_has_to_pay_for(day: ReportedDay) -> None:
    told = (loss(3, span=S1), loss(1, span=S1, liable_party=""))
    day.report(ReportContent(losses=told))
    claimed = ReportedLoss.objects.get(liable_party__isnull=False)
    total = sum(Movement.objects.filter(purpose="lost").values_list("value", flat=True))
    assert find_costs([claimed]) == {claimed.pk: total * 3 // 4}


def test_cost_of_a_loss_is_found_in_the_entry_of_a_second_fluid(day: ReportedDay) -> None:
    oil = Material.objects.create(
        code="oil",
        name="Oil",
        kind="fluid",
        stock_unit="[gal_us]",
        density_kg_per_m3=900.0,
        standard_unit_cost=4_000_000,
    )
    back = Material.objects.create(
        code="oil-recovered",
        name="Oil, recovered",
        kind="fluid",
        stock_unit="[gal_us]",
        density_kg_per_m3=900.0,
        recovered_from=oil,
        recovered_value_share=1_000_000,
    )
    # Nobody received it, so it costs what the record says a unit of it costs.
    day.small.vessel("D-3", on_truck=True, material=oil)
    day.small.vessel("C-3", on_truck=True, material=back)
    content = ReportContent(
        attempts=(
            extracted(S1, source_container="D-1", injected=gallons(20)),
            extracted(S2, source_container="D-3", injected=gallons(20)),
        ),
        caught=(caught("C-1", S1, amount=8), caught("C-3", S2, amount=10)),
        losses=(loss(2, container="C-3", material="oil-recovered", span=S2),),
    )
    report = day.report(content)
    (row,) = ReportedLoss.objects.all()
    lost = Movement.objects.get(purpose="lost")
    assert lost.entry.uuid == report.standing_ids(["oil-recovered"])["caught:oil-recovered"]
    assert find_costs([row]) == {row.pk: lost.value}
    assert lost.value > 0
    # It was lost out of what had been caught, so the book was never short of it.
    assert not Movement.objects.filter(purpose="book_short", material=back).exists()
    assert day.inside("C-3") == 8 * GAL
