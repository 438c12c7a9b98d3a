"""A job's cost sheet, reckoned by hand."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from api.wire.pictures.cost_bridge import list_stages
from inventory.models import Container, Entry, Holding, JournalBatch, Movement, Party, Place
from inventory.money import to_money_millionths
from inventory.services.accounting.bills import Bill, BilledLine
from inventory.services.accounting.invoices import record_invoice, undo_invoice
from inventory.services.conversions import Caught, recover
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.parties import make_outside_places, save_party
from inventory.services.posting import End, Flow, Posting, post
from inventory.services.receipts import ReceiptLine, receive
from jobs.models import CrewDay, EstimateLine, EstimatingPolicy, FieldReport, Job, JobEstimate, Span
from jobs.models.balance import balance_document
from jobs.queries.cost_groups import CostGroup
from jobs.queries.cost_sheet import CostLine, CostSheet, list_line_movements, make_cost_sheet
from jobs.queries.furnished_goods import Reconciliation
from jobs.queries.job_estimate import estimate_job
from jobs.queries.jobs import get_policy
from jobs.queries.statement import Amounts, StatedPart
from jobs.services.accounting import take_bill, undo_bill
from jobs.services.job_life import change_state
from tests.factories.core import sell_core
from tests.factories.inventory import at, each, feet, gal
from tests.factories.jobs import UM_PER_FOOT, make_crew, make_crew_day, make_job, make_run, make_span
from tests.factories.kits import SmallDay, make_small_day

MILLION = 1_000_000

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    small.world.drum("D-1", 55, cost=330)
    small.world.loose(small.world.projectile, each(10), cost=30)
    return small


def get_job() -> Job:
    return Job.objects.select_related("place", "customer").get(reference="J-1")


def draw_fluid(day: SmallDay, gallons: int, hours: float = 2, **fields: Any) -> Entry:
    drum = End(day.world.warehouse, Container.objects.get(label="D-1"))
    span = End(Span.objects.select_related("place").get(name="S1").place)
    line = Line(day.world.fluid, gal(gallons), drum, span, **fields)
    return draw(id=uuid4(), by=day.world.actor, occurred_at=at(hours), lines=[line])


def catch(day: SmallDay, gallons: int) -> None:
    vessel = day.vessel("C-1", material=day.world.recovered)
    span = Span.objects.select_related("place").get(name="S1").place
    caught = Caught(day.world.recovered, gal(gallons), span, End(day.world.warehouse, vessel))
    recover(id=uuid4(), by=day.world.actor, occurred_at=at(4), caught=[caught])


def expect(day: SmallDay, quantity: int, back: int, price: int) -> JobEstimate:
    """An estimate of fluid alone, in gallons and dollars."""
    estimate = JobEstimate.objects.create(job=get_job(), frozen_at=at(0), frozen_by=day.world.actor)
    EstimateLine.objects.create(
        estimate=estimate,
        material=day.world.fluid,
        owner=day.world.company,
        quantity=quantity * MILLION,
        comes_back=back * MILLION,
        unit_cost=price * MILLION,
        recovered_share=500_000,
    )
    return estimate


def costs(groups: Sequence[CostGroup[Any]]) -> list[tuple[Any, int]]:
    return [(group.name, group.cost) for group in groups]


def find_line(sheet: CostSheet, code: str) -> CostLine:
    [line] = [line for line in sheet.lines if line.material.code == code]
    return line


def test_approving_a_job_freezes_what_it_is_expected_to_take(day: SmallDay) -> None:
    change_state(reference="J-1", state="approved", by=day.world.actor, occurred_at=at(0))
    before = list(EstimateLine.objects.values_list("material__code", "quantity", "unit_cost"))
    assert {code: cost for code, _quantity, cost in before}["fluid"] == 6 * MILLION
    Span.objects.update(length_um=Span.objects.get(name="S1").length_um * 2)
    assert [line.quantity for line in estimate_job(get_job())] != [row[1] for row in before]
    assert list(EstimateLine.objects.values_list("material__code", "quantity", "unit_cost")) == before


@pytest.mark.outside_check("V[gal] = 0.0407999046 d[in]^2 L[ft]; how known: geometry, 231 in3 a gallon")
def test_the_estimate_of_fluid_is_bore_times_ratio_and_a_set_up_for_each_span(day: SmallDay) -> None:
    Span.objects.exclude(name="S1").update(is_withdrawn=True)
    Span.objects.update(length_um=400 * UM_PER_FOOT)
    size = Span.objects.get(name="S1").cable_size
    EstimatingPolicy.objects.update(injected_ratio_mean=1.25, set_up_volume_l=3.785411784)
    [line] = [line for line in estimate_job(get_job()) if line.material.code == "fluid"]
    gallons = 0.0407999046 * (size.bore_mm / 25.4) ** 2 * 400 * 1.25 + 1
    assert line.quantity / MILLION == pytest.approx(gallons, rel=1e-6)
    assert line.comes_back == pytest.approx(line.quantity * get_policy().recovered_fraction_mean, rel=1e-6)


def test_cost_sheet_says_why_fluid_cost_more_than_estimated(day: SmallDay) -> None:
    """20 gal at 5.00 with 10 back at half cost were expected: 75. 22 went at 6.00, 4 came back: 120."""
    expect(day, 20, 10, 5)
    draw_fluid(day, 22)
    catch(day, 4)
    line = find_line(make_cost_sheet(get_job()), "fluid")
    assert line.estimated_cost == 75 * MILLION
    assert line.amounts.cost == 120 * MILLION
    assert line.differences is not None
    # 5 * 2 more gallons * (1 - 0.5 * 0.5); 5 * 0.5 * (11 - 4); what is left is the price.
    assert line.differences.quantity == 7_500_000
    assert line.differences.recovery == 17_500_000
    assert line.differences.price == 20 * MILLION
    assert line.differences.total == 45 * MILLION


def test_cost_sheet_tells_what_was_expected_and_has_not_come(day: SmallDay) -> None:
    expect(day, 20, 10, 5)
    line = find_line(make_cost_sheet(get_job()), "fluid")
    assert line.amounts.drawn == 0
    assert line.differences is not None
    assert line.differences.total == -75 * MILLION


def test_cost_sheet_tells_losses_by_cause(day: SmallDay) -> None:
    draw_fluid(day, 3, purpose=Movement.Purpose.LOST, cause="spill")
    draw_fluid(day, 2, purpose=Movement.Purpose.LOST, cause="theft")
    assert find_line(make_cost_sheet(get_job()), "fluid").lost == {
        "spill": (3 * MILLION, 18 * MILLION),
        "theft": (2 * MILLION, 12 * MILLION),
    }


def test_cost_sheet_by_month_crew_and_size_adds_up_to_the_cost(day: SmallDay) -> None:
    draw_fluid(day, 5)
    draw_fluid(day, 5, hours=24 * 40)
    Span.objects.filter(name="S1").update(extracted_at=at(3))
    sheet = make_cost_sheet(get_job())
    assert costs(sheet.by_month) == [(date(2026, 3, 1), 30 * MILLION), (date(2026, 4, 1), 30 * MILLION)]
    assert costs(sheet.by_crew) == [("", 60 * MILLION)]
    [size] = sheet.by_size
    feet = Span.objects.get(name="S1").length_um / UM_PER_FOOT
    assert size.per_foot == pytest.approx(60 * MILLION / feet, abs=1)


def test_a_document_that_only_looks_like_a_report_names_no_crew(day: SmallDay) -> None:
    drum = End(day.world.warehouse, Container.objects.get(label="D-1"))
    line = Line(day.world.fluid, gal(1), drum, End(get_job().place))
    draw(id=uuid4(), by=day.world.actor, occurred_at=at(2), lines=[line], document="report:of mine")
    assert costs(make_cost_sheet(get_job()).by_crew) == [("", 6 * MILLION)]


def take_pads_and_bill(day: SmallDay, job: Job) -> tuple[Entry, Bill]:
    """Ten pads for 10.00 that the job took at once, and a bill of 16.00 for them."""
    world = day.world
    save_party(code="mill", name="Foam Mill", is_supplier=True)
    source = Place.objects.get(code="supplier:mill")
    line = ReceiptLine(world.projectile, each(10), End(world.second_warehouse), to_money_millionths("10"))
    receipt = receive(id=uuid4(), by=world.actor, occurred_at=at(1), source=source, lines=[line])
    taken = Line(world.projectile, each(10), End(world.second_warehouse), End(job.place))
    draw(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[taken])
    bill = Bill(
        supplier=Party.objects.get(code="mill"),
        number="B",
        invoice_date=date(2026, 3, 9),
        lines=[BilledLine(receipt, world.projectile, each(10), to_money_millionths("16"))],
    )
    return receipt, bill


def test_cost_sheet_shows_what_came_after_the_job_was_closed_as_known_now(day: SmallDay) -> None:
    world, job = day.world, get_job()
    _receipt, bill = take_pads_and_bill(day, job)
    over = Place.objects.filter(pk=job.place_id)
    invoice = record_invoice(id=uuid4(), by=world.actor, occurred_at=at(9), bill=bill, closed_places=over)
    sheet = make_cost_sheet(get_job())
    assert sheet.statement.cost == 10 * MILLION
    assert sheet.late == 6 * MILLION
    assert sheet.cost_as_known == 16 * MILLION
    assert JournalBatch.objects.count() == 0
    undo_invoice(invoice=invoice, by=world.actor, occurred_at=at(10), reason="Not ours.", closed_places=over)
    assert make_cost_sheet(get_job()).late == 0


def test_a_bill_undone_after_the_job_was_closed_is_shown_on_it_as_known_now(day: SmallDay) -> None:
    world, job = day.world, get_job()
    _receipt, bill = take_pads_and_bill(day, job)
    invoice = take_bill(id=uuid4(), by=world.actor, occurred_at=at(9), bill=bill)
    assert make_cost_sheet(get_job()).statement.cost == 16 * MILLION
    Job.objects.filter(pk=job.pk).update(state=Job.State.CLOSED)
    undo_bill(invoice=invoice, by=world.actor, occurred_at=at(10), reason="Not ours.")
    sheet = make_cost_sheet(get_job())
    assert (sheet.statement.cost, sheet.late, sheet.cost_as_known) == (
        16 * MILLION,
        -6 * MILLION,
        10 * MILLION,
    )


def test_list_line_movements_adds_up_to_the_line(day: SmallDay) -> None:
    draw_fluid(day, 5)
    catch(day, 2)
    rows = list_line_movements(get_job(), material="fluid", owner="own")
    assert [row.quantity for row in rows] == [5 * MILLION, 2 * MILLION]


def test_cost_sheet_asks_the_same_number_of_questions_of_a_large_job(day: SmallDay) -> None:
    draw_fluid(day, 1)
    with CaptureQueriesContext(connection) as small:
        make_cost_sheet(get_job())
    for number in range(10):
        run = make_run(get_job(), f"X{number}")
        make_span(run, f"X{number}", f"a{number}", f"b{number}")
        draw_fluid(day, 1, hours=3)
    with CaptureQueriesContext(connection) as large:
        make_cost_sheet(get_job())
    assert len(large) == len(small)


@pytest.mark.outside_check(
    "IAS 2 paragraph 14, by-product at what it fetches off the cost; how known: by hand"
)
def test_cost_sheet_takes_core_that_was_sold_off_the_cost_and_leaves_the_book(day: SmallDay) -> None:
    draw_fluid(day, 5)
    world, job, other = day.world, get_job(), make_job("J-2")
    sell_core(
        "L-1", world.actor, proceeds=40 * MILLION, jobs={job: (world.company, 30), other: (world.company, 10)}
    )
    sell_core("L-2", world.actor, proceeds=9 * MILLION, jobs={job: (world.customer, 10)})
    sheet = make_cost_sheet(job)
    assert [(row.lot, row.credited, row.owed) for row in sheet.statement.scrap] == [
        ("L-1", 30 * MILLION, 0),
        ("L-2", 0, 9 * MILLION),
    ]
    assert sheet.statement.cost == sheet.statement.book_value == 30 * MILLION
    assert sheet.statement.net_cost == sheet.cost_as_known == 0
    assert list_stages(sheet)[-1].end == sheet.cost_as_known


def report_of(day: SmallDay, crew_day: CrewDay) -> FieldReport:
    return FieldReport.objects.create(
        uuid=uuid4(), crew_day=crew_day, occurred_at=at(3), recorded_at=at(3), by=day.world.actor
    )


def charge(day: SmallDay, gallons: int, document: str) -> None:
    drum = End(day.world.warehouse, Container.objects.get(label="D-1"))
    line = Line(day.world.fluid, gal(gallons), drum, End(get_job().place))
    draw(id=uuid4(), by=day.world.actor, occurred_at=at(2), lines=[line], document=document)


def test_cost_by_crew_adds_up_with_what_no_report_brought(day: SmallDay) -> None:
    north, south = CrewDay.objects.get(crew__code="north"), make_crew_day(make_crew("south"))
    charge(day, 1, report_of(day, north).document)
    charge(day, 2, report_of(day, south).document)
    charge(day, 4, balance_document(south.pk))
    charge(day, 8, "")
    for free_text in ("balance:999999999999999999999", "balance:soon", "report:soon", "ticket:7"):
        charge(day, 1, free_text)
    sheet = make_cost_sheet(get_job())
    # 12 gal at 6.00 came without a report, 1 and 6 with the crews' own.
    assert costs(sheet.by_crew) == [("", 72 * MILLION), ("north", 6 * MILLION), ("south", 36 * MILLION)]
    assert [row.materials[0].amounts.stays for row in sheet.by_crew] == [12 * MILLION, MILLION, 6 * MILLION]
    assert sum(row.cost for row in sheet.by_crew) == sheet.statement.cost
    for row in sheet.by_crew:
        rows = list_line_movements(get_job(), material="fluid", owner="own", crew=row.name)
        assert sum(movement.value for movement in rows) == row.cost, row.name


def test_parts_months_crews_and_sizes_each_add_up_to_the_cost_and_by_material(day: SmallDay) -> None:
    """Cost of the job itself and of a withdrawn span belongs to no size, and is not left out."""
    make_span(make_run(get_job(), "W"), "W1", "w", "x")
    withdrawn = Span.objects.select_related("place").get(name="W1")
    Span.objects.filter(pk=withdrawn.pk).update(is_withdrawn=True)
    draw_fluid(day, 5)
    draw_fluid(day, 2, hours=24 * 40, purpose=Movement.Purpose.LOST, cause="spill")
    drum = End(day.world.warehouse, Container.objects.get(label="D-1"))
    line = Line(day.world.fluid, gal(3), drum, End(withdrawn.place))
    draw(id=uuid4(), by=day.world.actor, occurred_at=at(5), lines=[line])
    charge(day, 1, "")
    catch(day, 2)
    sheet = make_cost_sheet(get_job())
    cost = sheet.statement.cost
    assert cost
    # 11 gal went at 6.00, 2 came back at half of it.
    assert cost == 60 * MILLION
    for rows in (sheet.statement.parts, sheet.by_month, sheet.by_crew, sheet.by_size):
        assert sum(row.cost for row in rows) == cost
    assert sum(line.amounts.cost for line in sheet.lines) == cost
    assert [(bool(row.cable_size), row.cost) for row in sheet.by_size] == [
        (True, 36 * MILLION),
        (False, 24 * MILLION),
    ]
    for groups in (sheet.statement.parts, sheet.by_month, sheet.by_crew):
        assert add_up(groups) == {
            line.material.code: (line.amounts.quantities, line.amounts.values) for line in sheet.lines
        }


def add_up(groups: Sequence[StatedPart] | Sequence[CostGroup[Any]]) -> dict[str, Any]:
    """Quantities and values by word of each material over all groups."""
    sums: dict[str, Amounts] = defaultdict(Amounts)
    for group in groups:
        for line in group.materials:
            sums[line.material.code].add_all(line.amounts)
    return {code: (amounts.quantities, amounts.values) for code, amounts in sums.items()}


def test_furnished_goods_are_reconciled_from_what_was_delivered(day: SmallDay) -> None:
    """1000 ft came; 700 in and 50 lost here, 100 in elsewhere; 40 handed back, 5 missing at a count."""
    world, job, other = day.world, get_job(), make_job("J-2", customer=day.world.customer)
    Job.objects.filter(pk=job.pk).update(customer=world.customer)
    make_outside_places(world.customer)
    owner = Place.objects.get(code="customer:network")
    reel = Container(
        label="F-1", kind="reel", material=world.fibre, owner=world.customer, place=world.warehouse
    )
    yard = End(world.warehouse, reel)
    arrived = [ReceiptLine(world.fibre, feet(1000), yard, 0)]
    receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=owner, lines=arrived)
    here = End(job.place)
    purpose = Movement.Purpose
    lines = [
        Line(world.fibre, feet(700), yard, here, purpose=purpose.INSTALLED),
        Line(world.fibre, feet(50), yard, here, purpose=purpose.LOST, cause="damage_by_others"),
        Line(world.fibre, feet(100), yard, End(other.place), purpose=purpose.INSTALLED),
    ]
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=lines)
    missing = End(Place.objects.get(code="variance"))
    moved = (40, End(owner), purpose.RETURNED), (5, missing, purpose.COUNTED)
    flows = [
        Flow(world.fibre, feet_of * MILLION, yard, target, why, world.customer)
        for feet_of, target, why in moved
    ]
    posting = Posting(uuid4(), Entry.Kind.RETURN, at(2), world.actor, flows=tuple(flows))
    post(posting)
    [line] = make_cost_sheet(get_job()).furnished
    assert line.reconciled == Reconciliation(
        delivered=1000 * MILLION,
        with_job=750 * MILLION,
        with_other_jobs=100 * MILLION,
        returned_to_owner=40 * MILLION,
        still_held=105 * MILLION,
        otherwise=5 * MILLION,
    )
    assert line.reconciled.ties
    Holding.objects.filter(place=world.warehouse, material=world.fibre).update(quantity=104 * MILLION)
    [line] = make_cost_sheet(get_job()).furnished
    assert line.reconciled is not None
    assert not line.reconciled.ties
